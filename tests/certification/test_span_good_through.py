"""The last day of the certificate that answers stands in its span, whatever it says that day."""

from datetime import UTC, date, datetime

import pytest

from certification.models import KnownRegister, KnownSpan, StandingSpan
from certification.services import events, known_registers
from certification.services.acts import Act
from tests.factories import NOW, make_certificate, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def certificate():
    """Good through 10 Jan 2028, and by an extension through 1 Apr 2028."""
    certificate = make_certificate(issued_on=date(2026, 1, 10))
    events.extend_certificate(
        certificate=certificate,
        until=date(2028, 4, 1),
        authority="QM-02",
        act=Act(actor=make_user("quality"), at=NOW, proof="password", reason="Class moved."),
    )
    return certificate


@pytest.fixture
def known_before(certificate):
    """The register of 1 May 2028 as it was known before the extension."""
    known = KnownRegister.objects.create(
        day=date(2028, 5, 1), known_at=datetime(2026, 2, 1, tzinfo=UTC)
    )
    known_registers.work_out_next(clock=lambda: NOW)
    return known


def found():
    spans = StandingSpan.objects.order_by("first_day")
    return list(spans.values_list("first_day", "standing", "good_through"))


def test_last_day_is_kept_beside_every_span(certificate):
    assert found() == [
        (date(2026, 1, 10), "certified", date(2028, 4, 1)),
        (date(2028, 1, 11), "certified", date(2028, 4, 1)),
        (date(2028, 4, 2), "expired", date(2028, 4, 1)),
    ]


def test_as_known_before_the_extension_it_is_the_one_it_was_issued_with(known_before):
    [span] = KnownSpan.objects.filter(known=known_before)

    assert (span.standing, span.good_through) == ("expired", date(2028, 1, 10))

"""The first end of a span stands in the span itself, for the lists that count and order by it."""

from datetime import date

import pytest

from certification.models import StandingSpan
from tests.factories import NOW, make_certificate, make_revision, make_scope, make_user
from training.services import facts

pytestmark = pytest.mark.django_db


@pytest.fixture
def certificate():
    """Certified from 1 March 2026 through the practice gap, then neither."""
    scope = make_scope()
    revision = make_revision(scope, vision_months=12, max_absence_months=6)
    certificate = make_certificate(scope=scope, revision=revision, issued_on=date(2026, 1, 10))
    facts.record_vision_test(
        person=certificate.person,
        tested_on=date(2026, 3, 1),
        passed=True,
        actor=make_user("quality"),
        at=NOW,
    )
    return certificate


def found():
    return list(
        StandingSpan.objects.order_by("first_day").values_list("first_day", "standing", "ends_on")
    )


def test_first_of_the_ends_is_kept_where_something_ends(certificate):
    assert found() == [
        (date(2026, 1, 10), "vision_not_current", None),
        (date(2026, 3, 1), "certified", date(2026, 7, 10)),
        (date(2026, 7, 11), "practice_lapsed", None),
        (date(2027, 3, 2), "vision_not_current", None),
        (date(2028, 1, 11), "expired", None),
    ]

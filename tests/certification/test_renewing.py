"""Which certificate a new one renews, from whose end it then runs, and what is said of it."""

from datetime import UTC, date, datetime

import pytest

from certification.presenters import period as period_said
from certification.queries import standing_on_day
from certification.services import events
from certification.services.acts import Act
from certification.services.certificates import period_if_issued
from tests.certification.restricted_before import restrict_as_before
from tests.factories import (
    NOW,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_user,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def quality():
    return make_user("quality")


@pytest.fixture
def certificate():
    """Good for 24 months, through 10 Jan 2028, with a window of 90 days from 12 Oct 2027 on."""
    scope = make_scope()
    return make_certificate(
        make_person(), scope, revision=make_revision(scope), issued_on=date(2026, 1, 10)
    )


@pytest.fixture
def restricted(certificate, quality):
    """The same, restricted from 20 Nov 2026 on."""
    events.restrict_certificates(
        person=certificate.person,
        scope=certificate.scope,
        restriction="turrets",
        act=Act(
            actor=quality,
            at=NOW,
            proof="password",
            reason="Cups were rejected twice.",
            effective_on=date(2026, 11, 20),
        ),
    )
    return certificate


def extend(certificate, until, actor):
    events.extend_certificate(
        certificate=certificate,
        until=until,
        authority="QM-02",
        act=Act(
            actor=actor,
            at=datetime(2026, 10, 1, 12, tzinfo=UTC),
            proof="password",
            reason="Class moved.",
        ),
    )


def issued(certificate, day):
    """What issuing on a day would come to: the one renewed, the last day, and what is said."""
    who_and_what = certificate.person, certificate.scope, certificate.scheme_revision
    period = period_if_issued(*who_and_what, day)
    said = period_said.said(*who_and_what, period).why.replace("\u00a0", " ")
    return period.renews, period.valid_through, said


def test_restricted_one_is_renewed_in_its_window(restricted):
    for day in (date(2027, 10, 12), date(2028, 1, 10)):
        assert issued(restricted, day)[:2] == (restricted, date(2030, 1, 10))


@pytest.mark.parametrize("day", [date(2028, 1, 11), date(2028, 10, 20), date(2028, 11, 20)])
def test_restricted_one_is_renewed_late_after_its_last_day(restricted, day):
    renews, through, said = issued(restricted, day)

    assert (renews, through) == (None, day.replace(year=day.year + 2))
    assert said.startswith(f"{restricted.number} ended on 10 Jan 2028, so it is renewed late")


def test_restricted_one_is_said_to_be_good_through_its_last_day(restricted):
    assert issued(restricted, date(2027, 10, 11))[2] == (
        f"{restricted.number} is good through 10 Jan 2028. Before its window opens on 12 Oct 2027 "
        "the new period runs from the day of issue, and the days left are lost."
    )


def test_one_restricted_in_the_former_way_is_renewed_from_the_end_of_the_other(
    certificate, quality
):
    """Its own 24 months would run through 20 Nov 2028; it was ended with the other's."""
    act = Act(quality, NOW, "password", "Cups were rejected twice.", date(2026, 11, 20))
    restrict_as_before(certificate, restriction="turrets", act=act)

    assert issued(certificate, date(2027, 12, 1))[:2] == (certificate, date(2030, 1, 10))


def test_nothing_is_renewed_past_a_revocation(restricted, quality):
    events.revoke_certificates(
        person=restricted.person,
        scope=restricted.scope,
        act=Act(
            actor=quality,
            at=NOW,
            proof="password",
            reason="Forged sign-off.",
            effective_on=date(2027, 11, 1),
        ),
    )

    renews, through, said = issued(restricted, date(2027, 11, 1))

    assert (renews, through) == (None, date(2029, 11, 1))
    assert said == f"{restricted.number} was revoked, so the new period runs from the day of issue."


@pytest.mark.parametrize("day", [date(2028, 1, 11), date(2028, 4, 1)])
def test_extension_lengthens_no_window_and_is_not_said_to_be_over(certificate, quality, day):
    extend(certificate, date(2028, 4, 1), quality)

    renews, _through, said = issued(certificate, day)

    assert renews is None
    assert (
        standing_on_day.answer(certificate.person, certificate.scope, day).standing.value
        == "certified"
    )
    assert said == (
        f"{certificate.number} is good through 1 Apr 2028 by an extension, and the window for "
        "renewing closed on 10 Jan 2028: the new period runs from the day of issue."
    )


def test_extended_one_is_renewed_late_after_its_extension(certificate, quality):
    extend(certificate, date(2028, 4, 1), quality)

    said = issued(certificate, date(2028, 4, 2))[2]

    assert said.startswith(f"{certificate.number} ended on 1 Apr 2028, so it is renewed late")


def test_extended_one_is_renewed_in_its_window_from_the_end_of_its_period(certificate, quality):
    extend(certificate, date(2028, 4, 1), quality)

    assert issued(certificate, date(2028, 1, 10))[:2] == (certificate, date(2030, 1, 10))

"""Restricting: one event on every certificate that has not ended, and nothing else."""

import json
from datetime import UTC, date, datetime, time, timedelta
from functools import partial

import pytest

from certification.exceptions import (
    CertificationError,
    MayNotCertify,
    NothingToStop,
)
from certification.models import Certificate, StandingSpan
from certification.presenters import months_ahead
from certification.queries import standing_on_day
from certification.services import events
from certification.services.acts import Act
from certification.services.certificates import period_if_issued, refuse_while_stopped
from records.models import TrailEntry
from records.queries.verification import verify_records
from tests.certification.restricted_before import restrict_as_before
from tests.factories import (
    NOW,
    TODAY,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
    write_down,
)
from training.models import PracticeRecord

pytestmark = pytest.mark.django_db

FROM = date(2026, 11, 20)
DAY = timedelta(days=1)


@pytest.fixture
def person():
    return make_person(full_name="Bruno Castellane")


@pytest.fixture
def scope():
    return make_scope(title="Terminals, operator")


@pytest.fixture
def revision(scope):
    return make_revision(scope)


@pytest.fixture
def quality():
    return make_user("quality")


@pytest.fixture
def certificate(person, scope, revision):
    """Good from 10 Jan 2026 through 10 Jan 2028."""
    return make_certificate(person, scope, revision=revision, issued_on=date(2026, 1, 10))


def act_by(actor, on=FROM, **fields):
    fields = {"reason": "Cups were rejected twice.", "at": NOW, "proof": "password", **fields}
    return Act(actor=actor, effective_on=on, **fields)


def restrict(certificate, actor, on=FROM, restriction="turrets", **fields):
    return events.restrict_certificates(
        person=certificate.person,
        scope=certificate.scope,
        restriction=restriction,
        act=act_by(actor, on, **fields),
    )


def act_on(service, certificate, actor, on=FROM):
    return service(person=certificate.person, scope=certificate.scope, act=act_by(actor, on))


def extend(certificate, until, actor):
    return events.extend_certificate(
        certificate=certificate,
        until=until,
        authority="QM-02",
        act=act_by(actor, date(2026, 10, 1)),
    )


def answer(certificate, day, known_at=None):
    found = standing_on_day.answer(certificate.person, certificate.scope, day, known_at)
    return found.standing.value, found.certificate_number, found.restriction


def test_restriction_holds_from_its_day_until_it_is_lifted(certificate, quality):
    restrict(certificate, quality)
    act_on(events.lift_restriction, certificate, quality, date(2026, 12, 24))

    said = {
        day: answer(certificate, day)
        for day in (FROM - DAY, FROM, date(2026, 12, 23), date(2026, 12, 24), date(2028, 1, 10))
    }
    assert [restriction for _standing, _number, restriction in said.values()] == [
        *("", "turrets", "turrets", "", "")
    ]
    assert {told[:2] for told in said.values()} == {("certified", certificate.number)}
    span = StandingSpan.objects.on(TODAY).get(person=certificate.person)
    assert (span.certificate, span.restriction) == (certificate, "turrets")
    assert (span.first_day, span.stands_since) == (FROM, date(2026, 1, 10))


def test_one_event_on_every_certificate_that_has_not_ended_and_nothing_else(
    certificate, person, scope, revision, quality
):
    over = make_certificate(person, scope, revision=revision, issued_on=date(2023, 1, 10))
    ahead = make_certificate(
        person, scope, revision=revision, issued_on=date(2027, 12, 1), renews=certificate
    )

    made = restrict(certificate, quality)

    assert {event.certificate for event in made} == {certificate, ahead}
    assert {(event.kind, event.effective_on, event.restriction) for event in made} == {
        ("restricted", FROM, "turrets")
    }
    assert Certificate.objects.count() == 3
    assert not over.events.exists()
    assert answer(certificate, date(2028, 6, 1)) == ("certified", ahead.number, "turrets")


def test_extending_and_then_restricting_keeps_every_period(
    certificate, person, scope, revision, quality
):
    extend(certificate, date(2029, 3, 1), quality)
    before = _periods(person, scope)

    restrict(certificate, quality)

    assert _periods(person, scope) == before
    assert answer(certificate, date(2029, 3, 1)) == ("certified", certificate.number, "turrets")
    assert answer(certificate, date(2029, 3, 2))[0] == "expired"
    assert [event.kind for event in certificate.events.order_by("pk")] == ["extended", "restricted"]
    # A renewal in the window of the period, which ended on 10 Jan 2028 before it was extended.
    period = period_if_issued(person, scope, revision, date(2027, 12, 1))
    assert (period.renews, period.valid_through) == (certificate, date(2030, 1, 10))


def _periods(person, scope):
    return {
        number: (history.period, history.last_day, history.unextended_through)
        for number, history in standing_on_day.histories_of(person, scope).items()
    }


def test_restricting_starts_no_practice_clock_again(person, scope, quality):
    """Worked on 1 Jul 2026 last, at most six months at rest: through 1 Jan 2027."""
    revision = make_revision(scope, max_absence_months=6)
    PracticeRecord.objects.create(
        person=person, scope_code=scope.code, performed_on=date(2026, 7, 1), recorded_at=NOW
    )
    certificate = make_certificate(person, scope, revision=revision, issued_on=date(2026, 6, 1))

    restrict(certificate, quality)

    assert answer(certificate, date(2027, 1, 1))[0] == "certified"
    assert answer(certificate, date(2027, 1, 2))[0] == "practice_lapsed"


@pytest.mark.parametrize("extended", [False, True])
def test_months_ahead_offer_the_renewal_window_that_the_engine_has(
    certificate, person, scope, revision, quality, extended
):
    if extended:
        extend(certificate, date(2028, 6, 1), quality)
    restrict(certificate, quality)
    filters = months_ahead.MonthsFilters(TODAY, months=24)
    ends = list(months_ahead.listed(quality, filters))
    [line] = months_ahead.lines_of(quality, filters, ends)

    assert line.opens_on == date(2027, 10, 12)
    for day, renews in ((line.opens_on - DAY, None), (line.opens_on, certificate)):
        period = period_if_issued(person, scope, revision, day)
        assert period.renews == renews
    assert period.valid_through == date(2030, 1, 10)


def test_event_is_not_known_before_it_was_recorded(certificate, quality):
    restrict(certificate, quality)

    before = datetime.combine(TODAY, time(0), UTC)
    assert answer(certificate, FROM, before) == ("certified", certificate.number, "")
    assert answer(certificate, FROM, NOW) == ("certified", certificate.number, "turrets")


def test_restriction_entered_in_error_is_removed_on_every_certificate(
    certificate, person, scope, revision, quality
):
    ahead = make_certificate(person, scope, revision=revision, issued_on=date(2027, 12, 1))
    [event, _other] = restrict(certificate, quality)

    events.void_event(event=event, act=act_by(quality, reason="Another person."))

    assert answer(certificate, FROM)[2] == ""
    assert answer(certificate, date(2028, 6, 1)) == ("certified", ahead.number, "")
    write_down()
    assert verify_records().fits


def test_lifting_entered_in_error_is_removed_and_the_restriction_holds_on(certificate, quality):
    restrict(certificate, quality)
    [event] = act_on(events.lift_restriction, certificate, quality, TODAY)

    events.void_event(event=event, act=act_by(quality, reason="Another person."))

    assert answer(certificate, TODAY)[2] == "turrets"


def test_restriction_takes_the_place_of_another_and_adds_to_the_certificates_own(
    person, scope, quality
):
    certificate = make_certificate(
        person, scope, issued_on=date(2026, 1, 10), restriction="leaded solder"
    )
    restrict(certificate, quality)
    restrict(certificate, quality, on=TODAY, restriction="AWG 20 and less")

    assert answer(certificate, TODAY - DAY)[2] == "leaded solder; turrets"
    assert answer(certificate, TODAY)[2] == "leaded solder; AWG 20 and less"

    act_on(events.lift_restriction, certificate, quality, TODAY + DAY)

    assert answer(certificate, TODAY + DAY)[2] == "leaded solder"


def test_longest_of_both_fit_into_what_lists_read(person, scope, quality):
    certificate = make_certificate(person, scope, restriction="a" * 400)

    restrict(certificate, quality, restriction="b" * 400)

    span = StandingSpan.objects.on(TODAY).get(person=person)
    assert span.restriction == f"{'a' * 400}; {'b' * 400}"


@pytest.mark.parametrize(
    "service",
    [events.suspend_certificates, events.revoke_certificates],
    ids=["suspended", "revoked"],
)
def test_what_stops_somebody_later_on_still_does(certificate, quality, service):
    act_on(service, certificate, quality, FROM + 7 * DAY)
    stopped = answer(certificate, FROM + 7 * DAY)[0]

    restrict(certificate, quality)

    assert answer(certificate, FROM)[::2] == ("certified", "turrets")
    assert answer(certificate, FROM + 7 * DAY)[0] == stopped


def test_suspended_one_can_be_restricted_and_is_suspended_since_the_day_it_was(
    certificate, quality
):
    act_on(events.suspend_certificates, certificate, quality, FROM - 9 * DAY)

    restrict(certificate, quality)
    act_on(events.reinstate_certificates, certificate, quality, TODAY)

    suspended = StandingSpan.objects.on(FROM).get(person=certificate.person)
    assert (suspended.standing, suspended.stands_since) == ("suspended", FROM - 9 * DAY)
    assert answer(certificate, TODAY)[::2] == ("certified", "turrets")


def test_restriction_that_begins_after_a_revocation_hinders_no_new_certificate(
    certificate, person, scope, quality
):
    restrict(certificate, quality, on=TODAY + 30 * DAY)
    act_on(events.revoke_certificates, certificate, quality, TODAY - DAY)

    refuse_while_stopped(person, scope, TODAY)

    assert answer(certificate, TODAY + 30 * DAY)[0] == "revoked"


@pytest.mark.parametrize("on", [date(2028, 1, 11), date(2030, 1, 1)])
def test_refused_only_where_nothing_is_left(certificate, quality, on):
    with pytest.raises(NothingToStop, match="is left to stop"):
        restrict(certificate, quality, on=on)

    assert not certificate.events.exists()


def test_revoked_ones_are_not_restricted(certificate, quality):
    act_on(events.revoke_certificates, certificate, quality)

    with pytest.raises(NothingToStop, match="revoked"):
        restrict(certificate, quality)


@pytest.mark.parametrize(
    ("own", "says"),
    [("", "is not restricted for"), ("cups", "was issued with its restriction")],
)
def test_lifting_needs_a_restriction_by_an_event(person, scope, quality, own, says):
    certificate = make_certificate(person, scope, issued_on=date(2026, 1, 10), restriction=own)
    restrict(certificate, quality, on=TODAY)

    with pytest.raises(NothingToStop, match=says):
        act_on(events.lift_restriction, certificate, quality, TODAY - DAY)


def test_one_signature_covers_the_act_and_says_what_is_allowed(certificate, quality):
    [event] = restrict(certificate, quality)

    assert event.signature.meaning == "restricts the certificates named"
    [signed] = json.loads(event.signature.content)["events"]
    assert (signed["kind"], signed["restriction"], signed["reason"]) == (
        "restricted",
        "turrets",
        "Cups were rejected twice.",
    )
    entry = TrailEntry.objects.get(act="restriction placed")
    assert entry.about_id == certificate.number
    act_on(events.lift_restriction, certificate, quality, TODAY)
    assert TrailEntry.objects.filter(act="restriction lifted").count() == 1
    write_down()
    assert verify_records().fits


def test_extension_entered_late_brings_nothing_back_without_the_restriction(
    certificate, person, scope, revision, quality
):
    over = make_certificate(person, scope, revision=revision, issued_on=date(2024, 10, 20))
    restrict(certificate, quality)

    with pytest.raises(CertificationError, match="would be good again without that"):
        extend(over, date(2029, 5, 1), quality)

    act_on(events.lift_restriction, certificate, quality)
    extend(over, date(2029, 5, 1), quality)
    restrict(certificate, quality)
    assert answer(certificate, TODAY) == ("certified", certificate.number, "turrets")
    assert answer(certificate, date(2028, 6, 1)) == ("certified", over.number, "turrets")


@pytest.mark.parametrize("service", [events.end_certificates, events.revoke_certificates])
def test_end_removed_as_entered_in_error_brings_nothing_back_without_the_restriction(
    certificate, person, scope, revision, quality, service
):
    [error] = act_on(service, certificate, quality, date(2026, 11, 1))
    shorter = make_revision(scope, validity_months=6)
    newer = make_certificate(person, scope, revision=shorter, issued_on=date(2026, 11, 5))
    restrict(newer, quality)
    removal = act_by(quality, reason="Another person was meant.")

    with pytest.raises(CertificationError, match="would be good again without that"):
        events.void_event(event=error, act=removal)

    act_on(events.lift_restriction, newer, quality)
    events.void_event(event=error, act=removal)
    restrict(newer, quality)
    assert answer(newer, TODAY) == ("certified", newer.number, "turrets")
    assert answer(newer, date(2027, 7, 1)) == ("certified", certificate.number, "turrets")


@pytest.mark.parametrize("blank", ["restriction", "reason"])
def test_restriction_and_reason_are_asked_for(certificate, quality, blank):
    with pytest.raises(CertificationError):
        restrict(certificate, quality, **{blank: "  "})

    assert not certificate.events.exists()


@pytest.mark.parametrize("who", ["own", "instructor", "elsewhere"])
@pytest.mark.parametrize("lifts", [False, True], ids=["restrict", "lift"])
def test_nobody_but_quality_at_the_site_does(certificate, person, quality, who, lifts):
    restrict(certificate, quality)
    actor = {
        "own": lambda: make_user("quality", person=person),
        "instructor": lambda: make_user("instructor"),
        "elsewhere": lambda: make_user("quality", site=make_site("Aldergate", "AL")),
    }[who]()
    does = partial(act_on, events.lift_restriction) if lifts else restrict
    with pytest.raises(MayNotCertify):
        does(certificate, actor)

    assert certificate.events.count() == 1


# Certificates that were restricted before this was an event


def test_certificate_that_took_anothers_place_still_verifies_and_answers(certificate, quality):
    made = restrict_as_before(certificate, restriction="turrets", act=act_by(quality))

    assert answer(certificate, FROM - DAY)[1:] == (certificate.number, "")
    assert answer(certificate, date(2028, 1, 10)) == ("certified", made.number, "turrets")
    restrict(made, quality, on=TODAY, restriction="leaded solder")
    assert answer(certificate, TODAY)[2] == "turrets; leaded solder"
    write_down()
    assert verify_records().fits


def test_withdrawing_it_gives_back_what_had_made_way(certificate, quality):
    made = restrict_as_before(certificate, restriction="turrets", act=act_by(quality))
    [gave_way] = certificate.events.all()
    later = NOW + timedelta(hours=1)

    withdrawal = events.withdraw_certificate(certificate=made, act=act_by(quality, at=later))

    assert answer(certificate, date(2028, 1, 10)) == ("certified", certificate.number, "")
    removal = certificate.events.get(kind="voided")
    assert (removal.voids, removal.signature) == (gave_way, withdrawal.signature)
    assert json.loads(withdrawal.signature.content)["removes"] == [gave_way.event_id]
    write_down()
    assert verify_records().fits


def test_what_made_way_for_it_is_not_taken_back_alone(certificate, quality):
    made = restrict_as_before(certificate, restriction="turrets", act=act_by(quality))

    with pytest.raises(CertificationError, match=f"part of certificate {made.number}"):
        events.void_event(event=certificate.events.get(), act=act_by(quality))

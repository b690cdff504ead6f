"""Restricting: the same person, scope and last day, less allowed, nothing edited."""

import json
from datetime import UTC, date, datetime, time, timedelta

import pytest

from certification.exceptions import CertificationError, MayNotCertify, NothingToStop
from certification.models import Certificate, StandingSpan
from certification.queries import standing_on_day
from certification.services import events, restricting
from certification.services.acts import Act
from records.models import TrailEntry
from records.queries.verification import verify_records
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


def restrict(certificate, actor, on=FROM, **fields):
    restriction = fields.pop("restriction", "turrets")
    fields = {"reason": "Cups were rejected twice.", "at": NOW, "proof": "password", **fields}
    return restricting.restrict_certificate(
        person=certificate.person,
        scope=certificate.scope,
        restriction=restriction,
        act=Act(actor=actor, effective_on=on, **fields),
    )


def answer(certificate, day, known_at=None):
    found = standing_on_day.answer(certificate.person, certificate.scope, day, known_at)
    return found.standing.value, found.certificate_number, found.restriction


def test_restriction_holds_from_its_day_and_not_before(certificate, quality):
    made = restrict(certificate, quality)

    assert answer(certificate, FROM - timedelta(days=1)) == ("certified", certificate.number, "")
    assert answer(certificate, FROM) == ("certified", made.number, "turrets")
    span = StandingSpan.objects.on(TODAY).get(person=certificate.person)
    assert (span.certificate, span.restriction) == (made, "turrets")


def test_restriction_moves_no_last_day(certificate, quality):
    made = restrict(certificate, quality)

    assert answer(certificate, date(2028, 1, 10)) == ("certified", made.number, "turrets")
    assert answer(certificate, date(2028, 1, 11))[0] == "expired"
    assert made.valid_through == date(2028, 1, 10)
    assert [(one.kind, one.effective_on) for one in made.events.all()] == [
        ("ended", date(2028, 1, 10))
    ]


def test_restriction_keeps_an_extended_last_day(certificate, quality):
    long_ago = datetime(2026, 1, 10, 12, tzinfo=UTC)
    events.extend_certificate(
        certificate=certificate,
        until=date(2029, 3, 1),
        authority="QM-02",
        act=Act(actor=quality, at=long_ago, proof="password", reason="Class moved."),
    )

    made = restrict(certificate, quality)

    assert answer(certificate, date(2029, 3, 1)) == ("certified", made.number, "turrets")
    assert answer(certificate, date(2029, 3, 2))[0] == "expired"
    [event] = made.events.all()
    assert (event.kind, event.until, event.authority) == ("extended", date(2029, 3, 1), "QM-02")


def test_restriction_soon_after_renewing_keeps_the_renewed_end(
    certificate, person, scope, revision, quality
):
    renewed = make_certificate(
        person, scope, revision=revision, issued_on=date(2027, 11, 1), renews=certificate
    )
    assert answer(renewed, date(2030, 1, 10))[:2] == ("certified", renewed.number)

    made = restrict(renewed, quality, on=date(2027, 12, 1))

    assert made.renews == certificate
    assert answer(renewed, date(2030, 1, 10)) == ("certified", made.number, "turrets")
    assert answer(renewed, date(2030, 1, 11))[0] == "expired"
    assert not made.events.exists()


def test_what_was_not_recorded_yet_does_not_restrict_as_known_before(certificate, quality):
    made = restrict(certificate, quality)

    before = datetime.combine(TODAY, time(0), UTC)
    assert answer(certificate, FROM, before) == ("certified", certificate.number, "")
    assert answer(certificate, FROM, NOW) == ("certified", made.number, "turrets")


def test_restriction_entered_in_error_is_withdrawn_and_leaves_what_was(certificate, quality):
    made = restrict(certificate, quality)

    events.withdraw_certificate(
        certificate=made, act=Act(actor=quality, at=NOW, proof="password", reason="Another person.")
    )

    assert answer(certificate, FROM) == ("certified", certificate.number, "")
    assert Certificate.objects.count() == 2


def test_suspending_afterwards_stops_both(certificate, quality):
    restrict(certificate, quality)

    events.suspend_certificates(
        person=certificate.person,
        scope=certificate.scope,
        act=Act(actor=quality, at=NOW, proof="password", reason="Rejects.", effective_on=TODAY),
    )

    assert answer(certificate, TODAY)[0] == "suspended"


def test_lapse_of_the_restricted_one_leaves_nothing_to_stand_in(person, scope, quality):
    revision = make_revision(scope, max_absence_months=6)
    PracticeRecord.objects.create(
        person=person, scope_code=scope.code, performed_on=date(2026, 7, 1), recorded_at=NOW
    )
    certificate = make_certificate(person, scope, revision=revision, issued_on=date(2026, 6, 1))
    restrict(certificate, quality)

    assert answer(certificate, date(2027, 5, 20))[0] == "certified"
    assert answer(certificate, date(2027, 5, 21))[0] == "practice_lapsed"


def test_one_signature_covers_what_was_restricted_and_why(certificate, quality):
    made = restrict(certificate, quality)

    assert made.signature.meaning == "restricts certification for this scope"
    signed = json.loads(made.signature.content)
    assert (signed["restricts"], signed["restriction"]) == (certificate.number, "turrets")
    assert signed["reason"] == "Cups were rejected twice."
    assert made.events.get().signature == made.signature
    entry = TrailEntry.objects.get(act="certificate restricted")
    assert entry.about_id == made.number
    write_down()
    assert verify_records().fits


def test_restriction_may_be_tightened_and_not_repeated(certificate, quality):
    restrict(certificate, quality)
    with pytest.raises(CertificationError, match="says so already"):
        restrict(certificate, quality, on=TODAY)

    tighter = restrict(certificate, quality, on=TODAY, restriction="turrets in leaded solder")

    assert answer(certificate, TODAY) == ("certified", tighter.number, "turrets in leaded solder")
    assert answer(certificate, date(2028, 1, 11))[0] == "expired"


@pytest.mark.parametrize(
    ("on", "reason"),
    [
        (date(2025, 5, 1), "nothing to restrict"),
        (date(2026, 1, 10), "begins on"),
        (date(2028, 1, 11), "nothing to restrict"),
    ],
    ids=["before it", "on its first day", "after it"],
)
def test_only_what_is_in_force_is_restricted(certificate, quality, on, reason):
    with pytest.raises(NothingToStop, match=reason):
        restrict(certificate, quality, on=on)

    assert Certificate.objects.count() == 1


def act(service, certificate, actor, on):
    return service(
        person=certificate.person,
        scope=certificate.scope,
        act=Act(actor=actor, at=NOW, proof="password", reason="Rejects.", effective_on=on),
    )


@pytest.mark.parametrize(
    ("steps", "says"),
    [
        ([(events.suspend_certificates, FROM + timedelta(days=7))], "suspended .* reinstate first"),
        (
            [(events.revoke_certificates, FROM + timedelta(days=7))],
            "revoked .* nothing to restrict",
        ),
        (
            [
                (events.suspend_certificates, FROM + timedelta(days=1)),
                (events.reinstate_certificates, FROM + timedelta(days=3)),
            ],
            "suspended .* from a later day on",
        ),
    ],
    ids=["suspended", "revoked", "suspended and reinstated"],
)
def test_what_stops_somebody_later_on_is_not_hidden_behind_a_restriction(
    certificate, quality, steps, says
):
    for service, on in steps:
        act(service, certificate, quality, on)
    stopped = answer(certificate, steps[0][1])
    with pytest.raises(NothingToStop, match=says):
        restrict(certificate, quality)

    assert answer(certificate, steps[0][1]) == stopped
    assert Certificate.objects.count() == 1


def test_restriction_after_a_suspension_that_is_over(certificate, quality):
    act(events.suspend_certificates, certificate, quality, FROM - timedelta(days=9))
    act(events.reinstate_certificates, certificate, quality, FROM)

    made = restrict(certificate, quality)

    assert answer(certificate, FROM - timedelta(days=1))[0] == "suspended"
    assert answer(certificate, FROM) == ("certified", made.number, "turrets")


def test_what_is_restricted_never_stands_in_without_the_restriction(certificate, quality):
    act(events.end_certificates, certificate, quality, date(2026, 12, 31))
    [planned] = certificate.events.all()
    made = restrict(certificate, quality)
    events.void_event(
        event=planned, act=Act(actor=quality, at=NOW, proof="password", reason="Stays.")
    )

    assert answer(certificate, date(2026, 12, 31)) == ("certified", made.number, "turrets")
    assert answer(certificate, date(2027, 1, 1))[::2] == ("expired", "turrets")
    with pytest.raises(NothingToStop, match="renewed, not extended"):
        events.extend_certificate(
            certificate=certificate,
            until=date(2029, 1, 1),
            authority="QM-02",
            act=Act(actor=quality, at=NOW, proof="password", reason="Class moved."),
        )


def test_older_one_that_was_extended_does_not_stand_in_either(
    certificate, person, scope, revision, quality
):
    events.extend_certificate(
        certificate=certificate,
        until=date(2033, 1, 1),
        authority="QM-02",
        act=Act(actor=quality, at=NOW - timedelta(days=9), proof="password", reason="Class moved."),
    )
    make_certificate(person, scope, revision=revision, issued_on=date(2026, 11, 1))

    restrict(certificate, quality)

    assert answer(certificate, date(2028, 11, 1))[::2] == ("certified", "turrets")
    assert answer(certificate, date(2028, 11, 2))[0] == "expired"


def test_withdrawing_gives_back_what_had_made_way(certificate, quality):
    made = restrict(certificate, quality)
    [gave_way] = certificate.events.all()
    assert (gave_way.kind, gave_way.effective_on) == ("ended", FROM - timedelta(days=1))
    later = NOW + timedelta(hours=1)

    withdrawal = events.withdraw_certificate(
        certificate=made,
        act=Act(actor=quality, at=later, proof="password", reason="Another person."),
    )

    assert answer(certificate, date(2028, 1, 10)) == ("certified", certificate.number, "")
    assert answer(certificate, FROM, NOW) == ("certified", made.number, "turrets")
    removal = certificate.events.get(kind="voided")
    assert (removal.voids, removal.signature) == (gave_way, withdrawal.signature)
    assert json.loads(withdrawal.signature.content)["removes"] == [gave_way.event_id]
    write_down()
    assert verify_records().fits


@pytest.mark.parametrize("whose", ["restricted", "restricting"])
def test_part_of_a_restriction_is_not_taken_back_alone(certificate, quality, whose):
    made = restrict(certificate, quality)
    event = {"restricted": certificate, "restricting": made}[whose].events.get()

    with pytest.raises(CertificationError, match=f"part of certificate {made.number}"):
        events.void_event(
            event=event, act=Act(actor=quality, at=NOW, proof="password", reason="Longer.")
        )

    assert answer(certificate, date(2028, 1, 11))[0] == "expired"


@pytest.mark.parametrize("blank", ["restriction", "reason"])
def test_restriction_and_reason_are_asked_for(certificate, quality, blank):
    with pytest.raises(CertificationError):
        restrict(certificate, quality, **{blank: "  "})


@pytest.mark.parametrize("who", ["own", "instructor", "elsewhere"])
def test_nobody_but_quality_at_the_site_restricts(certificate, person, who):
    actor = {
        "own": lambda: make_user("quality", person=person),
        "instructor": lambda: make_user("instructor"),
        "elsewhere": lambda: make_user("quality", site=make_site("Aldergate", "AL")),
    }[who]()
    with pytest.raises(MayNotCertify):
        restrict(certificate, actor)

"""Suspending, reinstating, revoking, ending, extending, and taking back what was wrong."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import IntegrityError, transaction

from certification.exceptions import CertificationError, MayNotCertify, NothingToStop
from certification.models import CertificateEvent, StandingSpan
from certification.queries import standing_on_day
from certification.services import events, standing
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


def act(service, certificate, actor, on=TODAY, **fields):
    fields = {"reason": "Rejects above the limit.", "at": NOW, "proof": "password", **fields}
    return service(
        person=certificate.person,
        scope=certificate.scope,
        act=Act(actor=actor, effective_on=on, **fields),
    )


def extend(certificate, actor, until, **fields):
    authority = fields.pop("authority", "QM-02")
    fields = {"reason": "Class moved.", "at": NOW, "proof": "password", **fields}
    return events.extend_certificate(
        certificate=certificate, until=until, authority=authority, act=Act(actor=actor, **fields)
    )


def stands(certificate, day=TODAY):
    """The standing by the engine, and by the stored span, which must agree."""
    found = standing_on_day.answer(certificate.person, certificate.scope, day).standing.value
    span = StandingSpan.objects.on(day).get(person=certificate.person, scope=certificate.scope)
    assert span.standing == found
    return found


def test_suspension_holds_from_its_day_until_reinstated(certificate, quality):
    act(events.suspend_certificates, certificate, quality, on=date(2026, 11, 20))
    act(events.reinstate_certificates, certificate, quality, on=date(2026, 11, 24))

    days = [date(2026, 11, 19), date(2026, 11, 20), date(2026, 11, 23), date(2026, 11, 24)]
    assert [stands(certificate, day) for day in days] == [
        "certified",
        "suspended",
        "suspended",
        "certified",
    ]


def test_suspension_reaches_every_certificate_that_has_not_ended(
    certificate, person, scope, revision, quality
):
    older = make_certificate(person, scope, revision=revision, issued_on=date(2025, 6, 1))
    over = make_certificate(person, scope, revision=revision, issued_on=date(2020, 6, 1))

    made = act(events.suspend_certificates, certificate, quality)

    assert [one.certificate for one in made] == sorted(
        [certificate, older], key=lambda one: one.number
    )
    assert len({one.signature_id for one in made}) == 1
    assert not over.events.exists()
    assert stands(certificate) == "suspended"


def test_event_is_numbered_signed_and_in_the_trail(certificate, quality):
    [event] = act(events.suspend_certificates, certificate, quality)

    assert event.event_id == "CA-E-00001"
    assert event.signature.meaning == "suspends the certificates named"
    entry = TrailEntry.objects.get(act="certificate suspended")
    assert (entry.about_type, entry.about_id) == (
        "certificate",
        certificate.number,
    )
    write_down()
    assert verify_records().fits


def test_lapsed_practice_is_no_end_since_work_may_still_come_in(scope, person, quality):
    revision = make_revision(scope, max_absence_months=3)
    certificate = make_certificate(person, scope, revision=revision, issued_on=date(2026, 1, 10))
    assert stands(certificate) == "practice_lapsed"

    act(events.suspend_certificates, certificate, quality)
    for month in range(2, 12):
        PracticeRecord.objects.create(
            person=person, scope_code=scope.code, performed_on=date(2026, month, 1)
        )
    standing.rebuild_spans(person, scope)

    assert stands(certificate) == "suspended"


@pytest.mark.parametrize(
    "service", [events.suspend_certificates, events.revoke_certificates, events.end_certificates]
)
def test_nothing_is_left_to_stop_after_the_last_day(service, certificate, quality):
    with pytest.raises(NothingToStop, match="ended on 10 Jan 2028"):
        act(service, certificate, quality, on=date(2028, 1, 11))

    assert not CertificateEvent.objects.exists()


def test_last_day_can_still_be_suspended_but_not_ended(certificate, quality):
    with pytest.raises(NothingToStop):
        act(events.end_certificates, certificate, quality, on=date(2028, 1, 10))

    assert act(events.suspend_certificates, certificate, quality, on=date(2028, 1, 10))


def test_person_without_a_certificate_cannot_be_suspended(person, scope, quality, revision):
    with pytest.raises(NothingToStop, match="has no certificate"):
        events.suspend_certificates(
            person=person,
            scope=scope,
            act=Act(actor=quality, at=NOW, proof="password", reason="Why.", effective_on=TODAY),
        )


def test_revocation_is_for_ever(certificate, quality):
    act(events.revoke_certificates, certificate, quality, on=date(2026, 11, 1))

    with pytest.raises(NothingToStop, match="revoked on 1 Nov 2026"):
        act(events.suspend_certificates, certificate, quality)
    with pytest.raises(NothingToStop, match="not suspended"):
        act(events.reinstate_certificates, certificate, quality)
    assert stands(certificate, date(2026, 10, 31)) == "certified"
    assert stands(certificate, date(2030, 1, 1)) == "revoked"


def test_what_had_ended_can_be_revoked_with_effect_before_its_end(person, scope, quality):
    over = make_certificate(person, scope, issued_on=date(2020, 6, 1))

    act(events.revoke_certificates, over, quality, on=date(2021, 1, 1))

    assert stands(over, date(2021, 1, 1)) == "revoked"


def test_ended_certificate_is_good_on_the_day_given_and_not_after(certificate, quality):
    act(events.end_certificates, certificate, quality, reason="Changed work.")

    assert stands(certificate) == "certified"
    assert stands(certificate, TODAY + timedelta(days=1)) == "expired"


def test_reinstating_needs_a_suspension(certificate, quality):
    with pytest.raises(NothingToStop, match="not suspended"):
        act(events.reinstate_certificates, certificate, quality)


def test_extension_moves_the_last_day(certificate, quality):
    event = extend(certificate, quality, date(2028, 3, 1))

    assert (event.until, event.authority) == (date(2028, 3, 1), "QM-02")
    assert stands(certificate, date(2028, 3, 1)) == "certified"
    assert stands(certificate, date(2028, 3, 2)) == "expired"


@pytest.mark.parametrize(
    ("fields", "error", "sentence"),
    [
        pytest.param(
            {"until": date(2028, 1, 10)}, CertificationError, "give a later day", id="no-later"
        ),
        pytest.param(
            {"until": date(2028, 3, 1), "authority": " "},
            CertificationError,
            "authority",
            id="nobody-granted-it",
        ),
        pytest.param(
            {"until": date(2028, 3, 1), "reason": ""}, CertificationError, "reason", id="no-reason"
        ),
        pytest.param(
            {"until": date(2028, 3, 1), "at": datetime(2028, 1, 11, 9, tzinfo=UTC)},
            NothingToStop,
            "renewed, not extended",
            id="over",
        ),
    ],
)
def test_extension_that_cannot_be_is_refused(certificate, quality, fields, error, sentence):
    with pytest.raises(error, match=sentence):
        extend(certificate, quality, **fields)

    assert not CertificateEvent.objects.exists()


def test_extension_recorded_late_changes_the_past_view_and_not_what_was_known(certificate, quality):
    later = datetime(2028, 1, 20, 9, tzinfo=UTC)

    extend(certificate, quality, date(2028, 3, 1), effective_on=date(2028, 1, 10), at=later)

    asked = certificate.person, certificate.scope, date(2028, 1, 11)
    assert standing_on_day.answer(*asked).standing.value == "certified"
    assert standing_on_day.answer(*asked, later - timedelta(seconds=1)).standing.value == "expired"


def test_extension_before_an_end_that_would_undo_it_is_refused(certificate, quality):
    act(events.end_certificates, certificate, quality, on=date(2027, 6, 30))

    with pytest.raises(CertificationError, match="was ended on 30 Jun 2027"):
        extend(certificate, quality, date(2028, 3, 1), effective_on=date(2027, 6, 1))
    extend(certificate, quality, date(2028, 3, 1), effective_on=date(2027, 6, 30))

    assert stands(certificate, date(2028, 3, 1)) == "certified"


def test_event_entered_in_error_is_removed_and_stays_on_record(certificate, quality):
    [event] = act(events.suspend_certificates, certificate, quality)

    [removal] = events.void_event(
        event=event, act=Act(actor=quality, at=NOW, proof="password", reason="Wrong person.")
    )

    assert stands(certificate) == "certified"
    assert (removal.kind, removal.voids) == ("voided", event)
    assert CertificateEvent.objects.filter(pk=event.pk).exists()


def test_act_is_taken_back_whole(certificate, person, scope, revision, quality):
    make_certificate(person, scope, revision=revision, issued_on=date(2025, 6, 1))
    first, _second = act(events.suspend_certificates, certificate, quality)

    removals = events.void_event(
        event=first, act=Act(actor=quality, at=NOW, proof="password", reason="Wrong person.")
    )

    assert len(removals) == 2
    assert stands(certificate) == "certified"


def test_removal_is_not_removed_and_an_event_only_once(certificate, quality):
    [event] = act(events.suspend_certificates, certificate, quality)
    fields = {"reason": "Wrong person.", "actor": quality, "at": NOW, "proof": "password"}
    [removal] = events.void_event(event=event, act=Act(**fields))

    with pytest.raises(CertificationError, match="cannot be removed"):
        events.void_event(event=removal, act=Act(**fields))
    with pytest.raises(CertificationError, match="removed already"):
        events.void_event(event=event, act=Act(**fields))


def test_withdrawn_certificate_counts_as_never_entered(certificate, quality):
    fields = {"reason": "Entered twice.", "actor": quality, "at": NOW, "proof": "password"}
    events.withdraw_certificate(certificate=certificate, act=Act(**fields))

    answer = standing_on_day.answer(certificate.person, certificate.scope, TODAY)
    assert answer.standing.value == "never_certified"
    assert not StandingSpan.objects.exists()
    before = standing_on_day.answer(
        certificate.person, certificate.scope, TODAY, NOW - timedelta(hours=1)
    )
    assert before.standing.value == "certified"
    with pytest.raises(CertificationError, match="withdrawn already"):
        events.withdraw_certificate(certificate=certificate, act=Act(**fields))
    with pytest.raises(NothingToStop):
        extend(certificate, quality, date(2028, 3, 1))


@pytest.mark.parametrize("role", ["operator", "line_lead", "instructor", "administrator"])
def test_only_quality_at_the_site_acts(role, certificate):
    with pytest.raises(MayNotCertify, match="by quality there"):
        act(events.suspend_certificates, certificate, make_user(role))
    other = make_user("quality", site=make_site("Aldergate", "AL"))
    with pytest.raises(MayNotCertify, match="by quality there"):
        act(events.revoke_certificates, certificate, other)


def test_nobody_acts_on_their_own(certificate):
    own = make_user("quality", person=certificate.person)

    with pytest.raises(MayNotCertify, match="their own"):
        act(events.reinstate_certificates, certificate, own)
    with pytest.raises(MayNotCertify, match="their own"):
        extend(certificate, own, date(2028, 3, 1))


def test_reason_is_asked_for(certificate, quality):
    with pytest.raises(CertificationError, match="reason"):
        act(events.suspend_certificates, certificate, quality, reason=" ")


def test_database_refuses_to_change_an_event(certificate, quality):
    [event] = act(events.suspend_certificates, certificate, quality)

    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        CertificateEvent.objects.filter(pk=event.pk).update(kind="reinstated")
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        event.delete()

"""Vision tests, practice and stamps: written down once, withdrawn and never changed."""

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, transaction

from people.models import Person, Stamp
from people.presenters.days import format_day
from people.services import stamps
from records.exceptions import Refusal
from records.models import TrailEntry
from tests.factories import NOW, TODAY, make_person, make_revision, make_scope, make_user
from training import ports
from training.exceptions import TrainingError
from training.models import PracticeRecord, VisionTest
from training.services import facts
from training.services.work_reports import report_work
from training.services.work_taken_in import Work, take_in_work

pytestmark = pytest.mark.django_db


@pytest.fixture
def heard(monkeypatch):
    """What listeners are told, in place of those that are wired at start."""
    calls = []
    monkeypatch.setattr(ports, "_listeners", [])
    ports.on_facts_changed(lambda person, scope_code: calls.append((person, scope_code)))
    return calls


@pytest.fixture
def quality():
    return make_user("quality")


def test_vision_test_gets_a_number_and_tells_about_every_scope(heard, quality):
    person = make_person()

    test = facts.record_vision_test(
        person=person, tested_on=TODAY, passed=True, actor=quality, at=NOW, examiner="R. Hale"
    )

    assert test.test_id == "CA-V-00001"
    assert test.recorded_at == NOW
    assert heard == [(person, None)]
    entry = TrailEntry.objects.get()
    assert (entry.act, entry.actor) == ("vision test recorded", quality)


def test_withdrawn_vision_test_no_longer_stands_and_cannot_be_withdrawn_again(heard, quality):
    test = facts.record_vision_test(
        person=make_person(), tested_on=TODAY, passed=False, actor=quality, at=NOW
    )

    facts.withdraw_vision_test(
        vision_test=test,
        reason="Entered for somebody else.",
        actor=quality,
        at=NOW,
        proof="password",
    )

    assert not VisionTest.objects.not_withdrawn().exists()
    assert len(heard) == 2
    with pytest.raises(Refusal, match="withdrawn already"):
        facts.withdraw_vision_test(
            vision_test=test, reason="Again.", actor=quality, at=NOW, proof="password"
        )


def test_withdrawal_needs_a_reason(heard, quality):
    test = facts.record_vision_test(
        person=make_person(), tested_on=TODAY, passed=True, actor=quality, at=NOW
    )

    with pytest.raises(Refusal, match="Say why"):
        facts.withdraw_vision_test(
            vision_test=test, reason="  ", actor=quality, at=NOW, proof="password"
        )

    assert VisionTest.objects.not_withdrawn().exists()


def test_day_to_come_is_refused_by_the_clock_of_the_site(heard, quality):
    with pytest.raises(Refusal, match="still to come"):
        facts.record_vision_test(
            person=make_person(),
            tested_on=TODAY + timedelta(days=1),
            passed=True,
            actor=quality,
            at=NOW,
        )

    # Half past eleven at night in Greenwich is the next day already in Madrid.
    late = NOW.replace(hour=23, minute=30)
    facts.record_vision_test(
        person=make_person(),
        tested_on=TODAY + timedelta(days=1),
        passed=True,
        actor=quality,
        at=late,
    )


def test_nobody_enters_their_own_facts(heard):
    user = make_user("quality")

    with pytest.raises(Refusal, match="Somebody else"):
        facts.record_vision_test(
            person=user.person, tested_on=TODAY, passed=True, actor=user, at=NOW
        )
    with pytest.raises(Refusal, match="Somebody else"):
        facts.record_practice(
            person=user.person, scope_code="turret", performed_on=TODAY, actor=user, at=NOW
        )

    assert not VisionTest.objects.exists()
    assert not PracticeRecord.objects.exists()


def test_practice_tells_about_its_own_scope(heard, quality):
    person = make_person()

    practice = facts.record_practice(
        person=person,
        scope_code="turret",
        performed_on=date(2026, 11, 20),
        actor=quality,
        at=NOW,
        reference="WO 118",
    )
    facts.withdraw_practice(
        practice=practice, reason="Another unit.", actor=quality, at=NOW, proof="password"
    )

    assert practice.confirmed_by == quality
    assert heard == [(person, "turret"), (person, "turret")]
    assert not PracticeRecord.objects.not_withdrawn().exists()


def test_work_before_somebody_started_is_none_of_theirs_here(heard, quality):
    person = make_person(full_name="Ines Vahl", started_on=TODAY)
    day, scope = TODAY - timedelta(days=1), make_scope()
    make_revision(scope)
    refusal = f"Ines Vahl started on {format_day(TODAY)}, after that day."
    at = {"actor": quality, "at": NOW}
    work = {"person": person, "scope_code": scope.code, "performed_on": day}
    with pytest.raises(TrainingError, match=refusal):
        facts.record_practice_once(**work, **at)
    own = {"actor": make_user(person=person), "at": NOW}
    with pytest.raises(TrainingError, match=refusal):
        report_work(**work, reference="W-1", **own)
    several = [Work(person.pk, scope.code, each) for each in (day, TODAY)]
    taken = take_in_work(works=several, people=Person.objects.all(), **at)
    assert (taken.refused, taken.recorded) == ({several[0]: refusal}, [several[1]])


def test_nothing_is_written_while_nobody_listens(monkeypatch, quality):
    monkeypatch.setattr(ports, "_listeners", [])

    with pytest.raises(Refusal, match="not written"):
        facts.record_vision_test(
            person=make_person(), tested_on=TODAY, passed=True, actor=quality, at=NOW
        )

    assert not VisionTest.objects.exists()
    assert not TrailEntry.objects.exists()


def test_database_refuses_to_change_or_delete_a_fact(heard, quality):
    test = facts.record_vision_test(
        person=make_person(), tested_on=TODAY, passed=False, actor=quality, at=NOW
    )

    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        VisionTest.objects.filter(pk=test.pk).update(passed=True)
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        test.delete()


def test_stamp_passes_on_the_day_after_it_was_returned(quality):
    first, second = make_person(), make_person()
    stamp = stamps.issue_stamp(
        person=first, mark="47", issued_on=date(2026, 1, 1), actor=quality, at=NOW
    )
    stamps.return_stamp(stamp=stamp, returned_on=date(2026, 3, 31), actor=quality, at=NOW)

    with pytest.raises(Refusal, match="give a later day"):
        stamps.issue_stamp(
            person=second, mark="47", issued_on=date(2026, 3, 31), actor=quality, at=NOW
        )
    stamps.issue_stamp(person=second, mark="47", issued_on=date(2026, 4, 1), actor=quality, at=NOW)

    assert [stamp.person for stamp in Stamp.objects.held_on(date(2026, 3, 31))] == [first]
    assert [stamp.person for stamp in Stamp.objects.held_on(date(2026, 4, 1))] == [second]


def test_stamp_in_hand_is_not_issued_to_somebody_else(quality):
    stamps.issue_stamp(
        person=make_person(full_name="Ada Holm"), mark="12", issued_on=TODAY, actor=quality, at=NOW
    )

    with pytest.raises(Refusal, match="Ada Holm has held stamp 12"):
        stamps.issue_stamp(
            person=make_person(), mark=" 12 ", issued_on=TODAY, actor=quality, at=NOW
        )

    assert TrailEntry.objects.filter(act="stamp issued").count() == 1


def test_stamp_is_not_returned_twice_or_before_it_was_issued(quality):
    stamp = stamps.issue_stamp(
        person=make_person(), mark="12", issued_on=TODAY, actor=quality, at=NOW
    )

    with pytest.raises(Refusal, match="give that day or a later one"):
        stamps.return_stamp(
            stamp=stamp, returned_on=TODAY - timedelta(days=1), actor=quality, at=NOW
        )
    stamps.return_stamp(stamp=stamp, returned_on=TODAY, actor=quality, at=NOW)
    with pytest.raises(Refusal, match="already"):
        stamps.return_stamp(stamp=stamp, returned_on=TODAY, actor=quality, at=NOW)

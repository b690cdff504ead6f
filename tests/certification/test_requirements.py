"""What a scheme asks of somebody: boards and vision, met and not met."""

from datetime import UTC, date, datetime, timedelta

import pytest

from certification.queries.requirements import (
    boards_counted,
    evidence_of,
    graded_any,
    requirements,
    unmet,
)
from records.services import trail
from tests.factories import (
    NOW,
    TODAY,
    make_board,
    make_certificate,
    make_exercise,
    make_passed_board,
    make_person,
    make_revision,
    make_scope,
    make_user,
)
from training.models import VisionTest
from training.services import facts

pytestmark = pytest.mark.django_db


@pytest.fixture
def person():
    return make_person()


@pytest.fixture
def scope():
    return make_scope()


@pytest.fixture
def exercise():
    return make_exercise(title="Turret, one wire")


def on(day):
    return datetime(day.year, day.month, day.day, 9, tzinfo=UTC)


def vision_test(person, day, *, passed=True):
    return VisionTest.objects.create(
        test_id=f"T-{person.pk}-{day}", person=person, tested_on=day, passed=passed
    )


def test_board_asked_for_and_not_there_is_said_with_what_to_do(person, scope, exercise):
    revision = make_revision(scope, exercise=exercise, boards=2)
    make_passed_board(person, exercise)

    [found] = requirements(person, scope, revision, TODAY)

    assert not found.met
    assert found.text == "Turret, one wire"
    assert found.detail == "1 of 2 boards passed in the last 12 months"
    assert found.next == "Make and pass 1 more board of this exercise."


def test_newest_boards_are_the_ones_counted(person, scope, exercise):
    revision = make_revision(scope, exercise=exercise, boards=2)
    days = [TODAY - timedelta(days=days) for days in (90, 60, 30)]
    boards = [make_passed_board(person, exercise, signed_at=on(day)) for day in days]

    [found] = requirements(person, scope, revision, TODAY)

    assert found.met
    assert [one.board for one in found.boards] == [boards[2], boards[1]]
    assert [one.judged_on for one in found.boards] == [days[2], days[1]]


@pytest.mark.parametrize(
    ("judged_on", "met"),
    [
        pytest.param(date(2025, 11, 25), True, id="last-day-that-counts"),
        pytest.param(date(2025, 11, 24), False, id="a-day-too-old"),
    ],
)
def test_board_counts_through_the_last_day_of_its_months(person, scope, exercise, judged_on, met):
    revision = make_revision(scope, exercise=exercise)
    make_passed_board(person, exercise, signed_at=on(judged_on))

    assert requirements(person, scope, revision, TODAY)[0].met is met


def test_board_of_another_purpose_person_or_exercise_does_not_count(person, scope, exercise):
    revision = make_revision(scope, exercise=exercise, published=False)
    revision.requirements.update(purposes=["qualification"])
    make_passed_board(person, exercise, purpose="practice")
    make_passed_board(make_person(), exercise, purpose="qualification")
    make_passed_board(person, make_exercise(), purpose="qualification")

    [found] = requirements(person, scope, revision, TODAY)

    assert not found.met
    assert found.next == "Make and pass 1 more board of this exercise, for qualification."


def test_board_that_failed_or_is_not_judged_to_the_end_does_not_count(person, scope, exercise):
    revision = make_revision(scope, exercise=exercise)
    failed = make_passed_board(person, exercise)
    failed.outcome.passed = False
    failed.outcome.save()
    half = make_passed_board(person, exercise)
    half.outcome.complete = False
    half.outcome.save()
    make_board(person, exercise)

    assert not requirements(person, scope, revision, TODAY)[0].met


def test_correction_does_not_make_a_board_younger(person, scope, exercise):
    revision = make_revision(scope, exercise=exercise)
    board = make_passed_board(person, exercise, signed_at=on(date(2025, 6, 1)))
    first = board.gradings.get()
    correction = board.gradings.create(
        grader=first.grader, criteria_set=first.criteria_set, replaces=first, reason="Wrong joint."
    )
    signature = trail.sign(
        actor=first.grader, meaning="graded", about=board, content={"corrects": 1}, at=NOW
    )
    correction.signings.create(stage="soldered", signature=signature, signed_at=NOW, result={})
    board.outcome.decided_at = NOW
    board.outcome.save()

    assert not requirements(person, scope, revision, TODAY)[0].met


@pytest.mark.parametrize(
    ("days_ago", "passed", "met"),
    [
        pytest.param(10, True, True, id="passed"),
        pytest.param(10, False, False, id="failed"),
        pytest.param(366, True, False, id="too-old"),
        pytest.param(None, True, False, id="none"),
    ],
)
def test_vision_is_asked_for_by_its_currency_alone(person, scope, days_ago, passed, met):
    revision = make_revision(scope, vision_months=12)
    if days_ago is not None:
        vision_test(person, TODAY - timedelta(days=days_ago), passed=passed)

    vision = requirements(person, scope, revision, TODAY)[-1]

    assert vision.met is met
    assert vision.detail == ("current through 15 Nov 2027" if met else "not current")
    assert "fail" not in vision.detail + vision.next


def test_withdrawn_vision_test_does_not_count(person, scope):
    revision = make_revision(scope, vision_months=12)
    test = vision_test(person, TODAY)
    facts.withdraw_vision_test(
        vision_test=test, reason="Not theirs.", actor=make_user("quality"), at=NOW, proof="password"
    )

    assert not requirements(person, scope, revision, TODAY)[-1].met


def test_scheme_without_boards_for_the_scope_cannot_be_met(person, scope):
    [found] = requirements(person, scope, make_revision(scope), TODAY)

    assert not found.met
    assert "names no boards" in found.detail


def test_after_a_revocation_only_boards_made_since_count(person, scope, exercise):
    revision = make_revision(scope, exercise=exercise)
    certificate = make_certificate(person, scope, issued_on=date(2026, 1, 10))
    certificate.events.create(
        event_id="V1", kind="revoked", effective_on=date(2026, 10, 1), reason="Not their work."
    )
    make_passed_board(person, exercise, signed_at=on(date(2026, 10, 1)))
    assert unmet(requirements(person, scope, revision, TODAY))

    make_passed_board(person, exercise, signed_at=on(date(2026, 10, 2)))

    [found] = requirements(person, scope, revision, TODAY)
    assert found.met
    assert found.detail.endswith("judged after the revocation of 1 Oct 2026")


def test_evidence_holds_every_board_once_with_its_signatures(person, scope, exercise):
    grader = make_user("instructor")
    revision = make_revision(scope, exercise=exercise)
    board = make_passed_board(person, exercise, grader=grader)

    found = requirements(person, scope, revision, TODAY)
    evidence = evidence_of(found)

    [copied] = evidence["boards"]
    assert (copied["number"], copied["score"]) == (board.number, "100.000000")
    assert [one["by"] for one in copied["signatures"]] == [grader.get_full_name()]
    assert len(copied["signatures"][0]["sha256"]) == 64
    assert evidence["criteria_sets"] == [str(board.gradings.get().criteria_set)]
    assert [one.board for one in boards_counted(found)] == [board]
    assert graded_any(grader, found)
    assert not graded_any(make_user("instructor"), found)

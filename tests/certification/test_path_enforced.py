"""What a scheme asks of the way is held to: at the bench, in corrections, and by proposals."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.urls import reverse

from assessments.exceptions import CannotChangeBoard, CannotMakeBoards
from assessments.models import Board, BoardOutcome, Joint, Rework
from assessments.services import board_corrections, boards
from assessments.services.tool_work import decide_on_work
from certification.models import SchemeRequirement
from certification.presenters.path_picture import path_shown
from certification.queries.requirements import candidate, requirements, requirements_of_one
from tests.assessments.together import at_once
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
    make_session,
    make_tool,
    make_user,
    unprotected,
    write_down,
)
from training.models import Attendance
from training.services.tools import record_calibration

pytestmark = pytest.mark.django_db


def ago(days):
    return TODAY - timedelta(days=days)


def at(days):
    day = ago(days)
    return datetime(day.year, day.month, day.day, 9, tzinfo=UTC)


@pytest.fixture
def person():
    return make_person()


@pytest.fixture
def instructor(person):
    return make_user("instructor", site=person.site)


@pytest.fixture
def exercise():
    return make_exercise(title="Solder cups")


@pytest.fixture
def scope():
    return make_scope()


def scheme(scope, exercise, *, published=200, first=None, course="", **fields):
    """A scheme in force for long, with what it asks of the way."""
    revision = make_revision(scope, exercise=exercise, published=False, **fields)
    asked = revision.requirements.get()
    asked.after_course = course
    if first is not None:
        asked.after_exercise = first.code
        SchemeRequirement.objects.create(revision=revision, scope=scope, exercise_code=first.code)
    asked.save()
    revision.published_at = at(published)
    revision.save(update_fields=["published_at"])
    return revision


def hand_out(person, exercise, instructor, **fields):
    [board] = boards.make_boards(
        **{
            "exercise": exercise,
            "people": [person],
            "purpose": Board.Purpose.QUALIFICATION,
            "site": person.site,
            "handed_out_on": TODAY,
            "actor": instructor,
            "at": NOW,
            **fields,
        }
    )
    return board


def failed(person, exercise, days, **fields):
    board = make_passed_board(
        person,
        exercise,
        signed_at=at(days),
        **{"purpose": "qualification", "handed_out_on": ago(days + 1), **fields},
    )
    BoardOutcome.objects.filter(board=board).update(passed=False)
    return board


def passed(person, exercise, days, **fields):
    return make_passed_board(
        person,
        exercise,
        signed_at=at(days),
        **{"purpose": "qualification", "handed_out_on": ago(days), **fields},
    )


def attend(person, exercise, days):
    """A class of two days that teaches the exercise, attended on both."""
    session = make_session(
        people=(person,), starts_on=ago(days + 1), ends_on=ago(days), weekdays=(1, 2, 3, 4, 5, 6, 7)
    )
    session.course_revision.lessons.create(order=1, title="Cups", minutes=30, exercise=exercise)
    enrolment = session.enrolments.get()
    for held in session.days.all():
        Attendance.objects.create(enrolment=enrolment, day=held.day, present=True)
    return session


def test_a_board_is_refused_until_the_waiting_time_is_over(person, instructor, exercise, scope):
    scheme(scope, exercise, wait_days=7)
    failed(person, exercise, 6)
    with pytest.raises(CannotMakeBoards) as refusal:
        hand_out(person, exercise, instructor)
    assert str(refusal.value) == (
        f"{person.full_name}: An attempt at Solder cups failed: the next board is handed out on "
        "26 Nov 2026 or later. Hand out a board for practice, or leave them out."
    )
    assert Board.objects.filter(person=person).count() == 1
    hand_out(person, exercise, instructor, purpose=Board.Purpose.PRACTICE)
    tomorrow = {"handed_out_on": TODAY + timedelta(days=1)}
    assert hand_out(person, exercise, instructor, **tomorrow).purpose == "qualification"


def test_a_day_to_come_does_not_shorten_the_waiting(person, instructor, exercise, scope):
    revision = scheme(scope, exercise, wait_days=7)
    failed(person, exercise, 3)
    # Handed out for a day after the waiting, and yet made and judged today.
    passed(person, exercise, 0, handed_out_on=TODAY + timedelta(days=4))
    [cups] = requirements(person, scope, revision, TODAY)
    assert (cups.met, cups.boards) == (False, ())


def test_attempts_are_used_up_until_somebody_was_trained_again(person, instructor, exercise, scope):
    scheme(scope, exercise, attempts=2, retraining_boards=1)
    failed(person, exercise, 40)
    mistaken = failed(person, exercise, 30)
    Board.objects.filter(pk=mistaken.pk).update(cancelled_at=NOW)
    earlier = make_exercise(code=exercise.code, revision=2, title="Solder cups, new")
    assert hand_out(person, earlier, instructor).number
    Board.objects.filter(person=person, exercise=earlier).update(cancelled_at=NOW)
    failed(person, earlier, 20)
    # The class in which they failed: its last day is no training after it.
    attend(person, exercise, 19)
    with pytest.raises(CannotMakeBoards, match="2 attempts at Solder cups failed: first a class"):
        hand_out(person, exercise, instructor)
    attend(person, exercise, 10)
    assert hand_out(person, exercise, instructor).number


def test_a_board_that_was_sent_back_is_no_failed_attempt_yet(person, instructor, exercise, scope):
    revision = scheme(scope, exercise, wait_days=30)
    board = failed(person, exercise, 3)
    again = Joint.objects.create(board=board, position=exercise.positions.first(), make=2)
    Rework.objects.create(joint=again, sent_by=instructor)
    one = candidate(person, scope, revision, TODAY)
    way = path_shown(one, requirements_of_one(one), is_proposed=False)
    assert way.sentence == f"Make board {board.number} of Solder cups, then hand it in."
    assert hand_out(person, exercise, instructor).number


@pytest.mark.parametrize("how_far", ["judged, sent back", "critical at a stage", "half judged"])
def test_a_rejected_board_is_a_failed_attempt_also_once_it_is_disposed_of(
    person, instructor, exercise, scope, how_far
):
    scheme(scope, exercise, wait_days=30)
    board = failed(person, exercise, 3)
    if how_far == "judged, sent back":
        again = Joint.objects.create(board=board, position=exercise.positions.first(), make=2)
        Rework.objects.create(joint=again, sent_by=instructor)
    else:
        BoardOutcome.objects.filter(board=board).update(
            complete=False, passed=None, decided_at=None,
            critical_rejections=how_far == "critical at a stage",
        )  # fmt: skip
    boards.dispose(board=board, how="Scrapped.", actor=instructor, at=NOW)
    if how_far == "half judged":  # It might have passed.
        assert hand_out(person, exercise, instructor).number
    else:
        with pytest.raises(CannotMakeBoards, match="An attempt at Solder cups failed"):
            hand_out(person, exercise, instructor)


def test_a_course_is_attended_whole_before_its_exercise(person, instructor, exercise, scope):
    session = attend(person, make_exercise(), 3)
    course = session.course_revision.course
    scheme(scope, exercise, course=course.code)
    last_day = Attendance.objects.filter(day=ago(3))
    last_day.update(present=False)
    with pytest.raises(CannotMakeBoards, match=f"after the course {course.title}, which was not"):
        hand_out(person, exercise, instructor)
    last_day.update(present=True)
    assert hand_out(person, exercise, instructor).number


def test_what_came_before_its_turn_does_not_count_for_the_certificate(person, exercise, scope):
    wire = make_exercise(title="Strip and tin")
    revision = scheme(scope, exercise, first=wire)
    passed(person, exercise, 20)
    passed(person, wire, 10)

    def asked():
        cups, _wire = requirements(person, scope, revision, TODAY)
        return cups

    assert (asked().met, asked().boards) == (False, ())
    assert asked().detail == (
        "0 of 1 board passed in the last 12 months; 1 more was handed out before its turn and "
        "does not count"
    )
    later = passed(person, exercise, 5)
    assert [one.board for one in asked().boards] == [later]
    # A scheme that was published after the board was handed out does not ask it of that one.
    newer = scheme(make_scope(), exercise, first=wire, published=19)
    cups, _wire = requirements(person, newer.scopes.get(), newer, TODAY)
    assert "turn" not in cups.detail


def test_a_new_revision_does_not_put_in_order_what_the_one_before_asked(person, exercise, scope):
    wire = make_exercise(title="Strip and tin")
    first = scheme(scope, exercise, first=wire, published=200)
    # Handed out for another scope, whose scheme asks for no order.
    early = passed(person, exercise, 20)
    passed(person, wire, 10)
    following = scheme(
        scope, exercise, first=wire, published=5, scheme=first.scheme, revision=2, name="Second"
    )

    def counting():
        cups, _wire = requirements(person, scope, following, TODAY)
        return [one.board for one in cups.boards]

    assert counting() == []
    # Before the first revision that asks for it was published nobody asked for an order.
    Board.objects.filter(pk=early.pk).update(handed_out_on=ago(201))
    assert counting() == [early]


def test_a_board_to_be_made_or_judged_again_because_of_a_tool_does_not_count(
    person, instructor, exercise, scope
):
    revision = scheme(scope, exercise, wait_days=7)
    board = passed(person, exercise, 5)
    iron = make_tool()
    board.tools.add(iron)
    calibration = record_calibration(
        tool=iron, calibrated_on=TODAY, valid_through=TODAY, passed=True, passed_as_found=False,
        actor=instructor, at=NOW,
    )  # fmt: skip

    def decide(decision, after):
        [made] = decide_on_work(
            calibration=calibration, boards={board.number: after}, decision=decision, reason="So.",
            actor=instructor, at=NOW,
        )  # fmt: skip
        return made.pk

    def counting():
        one = candidate(person, scope, revision, TODAY)
        [cups] = requirements_of_one(one)
        way = path_shown(one, [cups], is_proposed=False)
        return [each.board for each in cups.boards], cups.detail, way.sentence

    assert counting()[0] == [board]
    first = decide("make_again", 0)
    assert counting() == (
        [],
        "0 of 1 board passed in the last 12 months; 1 more is to be made or judged again because "
        "of a tool and does not count",
        "Make and pass a board of Solder cups.",
    )
    second = decide("judge_again", first)
    assert counting()[0] == []
    assert hand_out(person, exercise, instructor).number  # Passed still, so nothing failed.
    decide("stands", second)
    assert counting()[0] == [board]


def test_what_is_missing_says_what_comes_first(person, exercise, scope):
    wire = make_exercise(title="Strip and tin")
    revision = scheme(scope, exercise, first=wire)
    cups, _wire = requirements(person, scope, revision, TODAY)
    assert cups.next == (
        "Make and pass 1 more board of this exercise. Solder cups comes after Strip and tin, which "
        "is not passed yet."
    )


def test_one_of_two_schemes_that_lets_somebody_begin_is_enough(person, instructor, exercise, scope):
    scheme(scope, exercise, attempts=1)
    failed(person, exercise, 20)
    with pytest.raises(CannotMakeBoards, match="1 attempt at Solder cups failed"):
        hand_out(person, exercise, instructor)
    scheme(make_scope(), exercise)
    assert hand_out(person, exercise, instructor).number


def test_a_certificate_begins_the_count_anew(person, instructor, exercise, scope):
    revision = scheme(scope, exercise, attempts=1)
    failed(person, exercise, 20)
    make_certificate(person, scope, revision=revision, issued_on=ago(10))
    assert hand_out(person, exercise, instructor, purpose="requalification").number


def test_nobody_gets_round_it_by_correcting_what_a_board_was_for(
    person, instructor, exercise, scope
):
    scheme(scope, exercise, attempts=1)
    board = make_board(person, exercise, purpose="practice", handed_out_on=TODAY)
    other = make_board(person, exercise, purpose="practice", handed_out_on=TODAY)

    def correct(*corrected):
        board_corrections.correct_purpose(
            boards=corrected, purpose="qualification", reason="So.", actor=instructor, at=NOW
        )

    with pytest.raises(CannotChangeBoard, match=f"{board.number} of Solder cups may be the last"):
        correct(board, other)
    board.refresh_from_db()
    assert board.purpose == "practice"
    correct(board)
    with pytest.raises(CannotChangeBoard, match=f"So board {other.number} stays as it is"):
        correct(other)


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_the_last_attempt_is_handed_out_once(person, instructor, exercise, scope):
    scheme(scope, exercise, attempts=1)
    write_down()
    done = at_once(
        lambda: hand_out(person, exercise, instructor),
        lambda: hand_out(person, exercise, instructor),
    )
    assert Board.objects.filter(person=person).count() == 1
    assert [type(one) for one in done if isinstance(one, Exception)] == [CannotMakeBoards]


def test_the_way_is_shown_stop_by_stop_with_what_counts_next(client, person, exercise):
    wire, hook, lap = (make_exercise(title=title) for title in ("Wire", "Hooks", "Laps"))
    scope = make_scope(title="Terminals, operator")
    revision = scheme(scope, exercise, first=wire, wait_days=7, attempts=2, vision_months=12)
    for other in (hook, lap):
        with unprotected():
            SchemeRequirement.objects.create(
                revision=revision, scope=scope, exercise_code=other.code
            )
    passed(person, wire, 30)
    failed(person, exercise, 3)
    failed(person, lap, 20)
    failed(person, lap, 10)
    one = candidate(person, scope, revision, TODAY)
    way = path_shown(one, requirements_of_one(one), is_proposed=False)
    assert ([(stop.title, stop.look, stop.word) for stop in way.stops], way.sentence) == (
        [
            ("Wire", "done", "met"),
            ("Solder cups", "wait", "waiting until 29\N{NO-BREAK SPACE}Nov\N{NO-BREAK SPACE}2026"),
            ("Hooks", "now", "next"),
            ("Laps", "again", "training first"),
            ("Vision test, not older than 12 months", "now", "missing"),
            ("Certificate", "to-do", "not yet"),
        ],
        "Make and pass a board of Hooks.",
    )
    client.force_login(make_user("instructor", site=person.site))
    page = client.get(
        reverse("certification:requirements", args=[person.employee_number, scope.code])
    )
    assert "The way to the certificate" in page.content.decode()
    part = client.get(reverse("certification:person_standing", args=[person.employee_number]))
    assert "The way to Terminals, operator" in " ".join(part.content.decode().split())
    client.force_login(make_user(person=person))
    [shown] = client.get("/my-card/").context["card"].paths
    assert (shown.scope, shown.met, shown.asked) == (scope, 1, 5)

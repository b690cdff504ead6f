"""A rejected joint sent back, made again and inspected again; what counts, and what is refused."""

import json
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from assessments import ports
from assessments.domain.scoring import JointState
from assessments.exceptions import (
    AlreadySigned,
    AssessmentError,
    CannotChangeBoard,
    MayNotGrade,
)
from assessments.models import Board, Grading, Joint, Rework
from assessments.queries import board_results
from assessments.queries.board_for_grader import BoardForGrader, boards_for_grader
from assessments.services import boards, judgements
from assessments.services import grading as services
from assessments.services import rework as reworking
from records.models import TrailEntry
from tests import factories
from tests.assessments.several import (
    begin,
    fresh,
    joint,
    judge,
    make_criteria,
    outcome_of,
    read,
    sign,
)
from tests.factories import NOW

LATER = NOW + timedelta(hours=2)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("everybody_has_standing")]


@pytest.fixture
def criteria():
    return make_criteria()


@pytest.fixture
def instructor():
    return factories.make_user("instructor")


@pytest.fixture
def other():
    return factories.make_user("instructor")


@pytest.fixture
def board(criteria):
    return make_board(1)


def make_board(allowed, graders=1, **fields):
    exercise = factories.make_exercise(
        stages=("formed", "soldered"), rework_allowed=allowed, graders=graders, **fields
    )
    return factories.make_board(exercise=exercise)


def send_back(board, name, codes, actor, make=1, **more):
    return reworking.send_back(
        board=fresh(board),
        joint=joint(board, name, make),
        codes=codes,
        actor=actor,
        at=LATER,
        **more,
    )


def test_a_reworked_joint_is_inspected_again_and_its_last_make_counts(board, instructor):
    first = read(board, instructor, ("E02", "S-1"))
    assert outcome_of(board)[:2] == (True, False)
    rework = send_back(board, "E02", ["S-1"], instructor, reason="More heat.")
    assert str(rework.joint) == "E02, rework 1"
    assert outcome_of(board) == (False, None, None)
    found = fresh(board)
    assert found.is_sent_back
    assert found in Board.objects.at_the_bench()
    assert found not in Board.objects.waiting()

    boards.hand_in(board=found, actor=instructor, at=LATER)
    assert fresh(board) in Board.objects.waiting()
    again = begin(board, instructor, LATER)
    assert (again.kind, again != first) == ("rework", True)
    judge(again, at=LATER)
    assert {one.joint.make for one in again.judgements.all()} == {2}
    assert not again.judgements.filter(joint__isnull=True).exists()
    sign(again, at=LATER)
    assert outcome_of(board) == (True, True, Decimal(100))

    reading = board_results.read_board(fresh(board))
    assert [str(one.joint) for one in reading.joints] == ["E01", "E02, rework 1", "E03"]
    assert [str(one.joint) for one in reading.earlier] == ["E02"]
    assert [one.criterion.code for one in reading.earlier[0].rejections] == ["S-1"]
    assert [one.state_for_statistics for one in reading.first_makes] == [
        JointState.ACCEPTED,
        JointState.REJECTED,
        JointState.ACCEPTED,
    ]
    assert first.judgements.filter(joint__make=1).count() == 3 * 3


def test_a_second_make_that_is_rejected_fails_the_board(board, instructor, other):
    read(board, instructor, ("E02", "S-1"))
    send_back(board, "E02", ["S-1"], other)
    read(board, other, ("E02", "F-1"), at=LATER)
    complete, passed, score = outcome_of(board)
    assert (complete, passed) == (True, False)
    assert score == Decimal(280) / 3 // Decimal("0.000001") * Decimal("0.000001")
    with pytest.raises(CannotChangeBoard, match="as often as the exercise allows"):
        send_back(board, "E02", ["F-1"], instructor, make=2)


def test_a_joint_is_reworked_as_often_as_the_exercise_allows(criteria, instructor):
    board = make_board(2)
    read(board, instructor, ("E02", "S-1"))
    for make in (1, 2):
        send_back(board, "E02", ["S-1"], instructor, make=make)
        read(board, instructor, *[("E02", "S-1")] if make == 1 else [], at=LATER)
    assert outcome_of(board)[:2] == (True, True)
    reading = board_results.read_board(fresh(board))
    assert [str(one.joint) for one in reading.earlier] == ["E02", "E02, rework 1"]


def test_what_was_rejected_when_formed_is_made_again_before_it_is_soldered(board, instructor):
    first = read(board, instructor, ("E02", "F-1"), stages=["formed"])
    send_back(board, "E02", ["F-1"], instructor)
    again = begin(board, instructor, LATER)
    assert again.kind == "rework"
    judge(again, stages=["formed"])
    with pytest.raises(AlreadySigned, match="not reworked"):
        judge_one(again, joint(board, "E01"), "F-1")
    sign(again, stages=["formed"])
    on = begin(board, instructor, LATER)
    assert on == first
    judge(on, stages=["soldered"])
    sign(on, stages=["soldered"])
    assert outcome_of(board)[:2] == (True, True)
    reading = board_results.read_board(fresh(board))
    assert reading.first_makes[1].state_for_statistics == JointState.REJECTED
    assert reading.first_makes[1].result.state == JointState.OPEN


def judge_one(grading, place, code, outcome="accept"):
    return judgements.judge(
        grading=grading,
        criterion=grading.criteria_set.criteria.get(code=code),
        joint=place,
        outcome=outcome,
        seen=judgements.Circumstances(),
        at=LATER,
    )


def test_a_correction_reads_the_makes_that_it_corrects(board, instructor, other):
    first = read(board, instructor, ("E02", "S-1"))
    send_back(board, "E02", ["S-1"], instructor)
    read(board, instructor, at=LATER)
    correction = services.correct_grading(grading=first, grader=other, reason="E01 too.", at=LATER)
    assert begin(board, other, LATER) == correction
    read_makes = board_results.joints_read(correction, "soldered")
    assert [str(one) for one in read_makes] == ["E01", "E02", "E03"]
    judge_one(correction, joint(board, "E01"), "S-1", "reject")
    sign(correction, at=LATER)
    assert outcome_of(board)[:2] == (True, False)
    reading = board_results.read_board(fresh(board))
    assert {str(one.joint) for one in reading.joints if one.rejections} == {"E01"}


def test_the_inspection_of_rework_is_corrected_like_any_grading(board, instructor, other):
    read(board, instructor, ("E02", "S-1"))
    send_back(board, "E02", ["S-1"], instructor)
    again = read(board, instructor, at=LATER)
    correction = services.correct_grading(
        grading=again, grader=other, reason="Overlooked.", at=LATER
    )
    assert correction.kind == "rework"
    assert [str(one) for one in board_results.joints_read(correction, "formed")] == [
        "E02, rework 1"
    ]
    judge_one(correction, joint(board, "E02", 2), "S-1", "reject")
    sign(correction, at=LATER)
    assert outcome_of(board)[:2] == (True, False)


def test_the_rework_belongs_to_whoever_signs_first(board, instructor, other):
    read(board, instructor, ("E02", "S-1"))
    send_back(board, "E02", ["S-1"], instructor)
    mine, theirs = begin(board, instructor, LATER), begin(board, other, LATER)
    judge(mine)
    judge(theirs)
    sign(mine, at=LATER)
    with pytest.raises(AlreadySigned, match="left to judge"):
        sign(theirs, at=LATER)
    with pytest.raises(AlreadySigned):
        begin(board, other, LATER)


@pytest.mark.parametrize(
    ("name", "codes", "says"),
    [
        pytest.param("E01", ["S-1"], "not rejected", id="an accepted joint"),
        pytest.param("E03", ["S-3"], "not rejected", id="a joint with remarks only"),
        pytest.param("E02", ["F-1"], "Choose what", id="what was not rejected"),
        pytest.param("E02", ["S-1", "F-1"], "Choose what", id="not rejected beside rejected"),
        pytest.param("E02", [], "Choose what", id="no reason"),
    ],
)
def test_only_what_is_rejected_is_sent_back_and_for_that(board, instructor, name, codes, says):
    read(board, instructor, ("E02", "S-1"), ("E03", "S-3"))
    with pytest.raises(CannotChangeBoard, match=says):
        send_back(board, name, codes, instructor)
    assert not Rework.objects.exists()
    assert not Joint.objects.filter(make=2).exists()


def test_nothing_is_sent_back_where_the_exercise_allows_no_rework(criteria, instructor):
    board = make_board(0)
    read(board, instructor, ("E02", "S-1"))
    with pytest.raises(CannotChangeBoard, match="allows no rework"):
        send_back(board, "E02", ["S-1"], instructor)


def test_a_joint_is_sent_back_for_every_code_that_is_named_once(board, instructor):
    read(board, instructor, ("E02", "F-1"), ("E02", "S-1"), ("E02", "S-3"))
    with pytest.raises(CannotChangeBoard, match="Choose what"):
        send_back(board, "E02", iter(["S-3", "S-9"]), instructor)
    rework = send_back(board, "E02", (code for code in ["S-3", "F-1", "S-3"]), instructor)
    assert rework.codes == ["F-1", "S-3"]


def test_a_joint_is_not_sent_back_twice(board, instructor):
    read(board, instructor, ("E02", "S-1"))
    send_back(board, "E02", ["S-1"], instructor)
    with pytest.raises(CannotChangeBoard, match="sent back already"):
        send_back(board, "E02", ["S-1"], instructor)
    with pytest.raises(CannotChangeBoard, match="not rejected"):
        send_back(board, "E02", ["S-1"], instructor, make=2)


def test_a_rejection_that_is_not_signed_sends_nothing_back(board, instructor):
    judge(begin(board, instructor), [("E02", "S-1")])
    with pytest.raises(CannotChangeBoard, match="under a signature"):
        send_back(board, "E02", ["S-1"], instructor)


def test_spare_joints_are_not_sent_back(criteria, instructor):
    board = make_board(1, spare=1)
    read(board, instructor, ("E03", "S-1"))
    with pytest.raises(CannotChangeBoard, match="does not count"):
        send_back(board, "E03", ["S-1"], instructor)


def test_nobody_sends_back_on_their_own_board_or_without_standing(board, instructor):
    read(board, instructor, ("E02", "S-1"))
    with pytest.raises(MayNotGrade, match="your own board"):
        send_back(board, "E02", ["S-1"], factories.make_user("instructor", person=board.person))
    ports.register_may_grade(lambda user, joint_types, day: "Your certificate has ended.")
    with pytest.raises(MayNotGrade, match="has ended"):
        send_back(board, "E02", ["S-1"], instructor)


def test_a_piece_that_is_gone_is_not_reworked(board, instructor):
    read(board, instructor, ("E02", "S-1"))
    boards.dispose(board=fresh(board), how="scrapped", actor=instructor, at=LATER)
    with pytest.raises(CannotChangeBoard, match="piece is gone"):
        send_back(board, "E02", ["S-1"], instructor)


def test_what_rests_on_a_board_keeps_it_from_rework(board, instructor):
    read(board, instructor, ("E02", "S-1"))
    before = ports.register_rests_on(lambda board: ["certificate CA-C-00012"])
    try:
        with pytest.raises(CannotChangeBoard, match="certificate CA-C-00012"):
            send_back(board, "E02", ["S-1"], instructor)
        ports.register_rests_on(None)
        with pytest.raises(AssessmentError, match="not connected"):
            send_back(board, "E02", ["S-1"], instructor)
    finally:
        ports.register_rests_on(before)
    assert not Rework.objects.exists()


def test_two_graders_judge_what_was_reworked_each_for_themselves(criteria, instructor, other):
    board = make_board(1, graders=2)
    read(board, instructor, ("E02", "S-1"))
    with pytest.raises(CannotChangeBoard, match="once its result is there"):
        send_back(board, "E02", ["S-1"], instructor)
    read(board, other, ("E02", "S-1"))
    send_back(board, "E02", ["S-1"], instructor)
    read(board, instructor, ("E02", "F-1"), at=LATER)
    assert outcome_of(board) == (False, None, None)
    made_again = next(
        one for one in board_results.read_board(fresh(board)).joints if one.joint.make > 1
    )
    assert made_again.judgements == ()
    with pytest.raises(MayNotGrade, match="second grader"):
        begin(board, instructor, LATER)
    read(board, other, ("E02", "F-1"), at=LATER)
    assert outcome_of(board)[:2] == (True, False)


def test_a_joint_sent_back_is_in_the_trail_and_kept(board, instructor):
    read(board, instructor, ("E02", "S-1"))
    rework = send_back(board, "E02", ["S-1"], instructor, reason="More heat.")
    entry = TrailEntry.objects.get(act="joint sent back")
    content = json.loads(entry.payload.body)
    assert content["criteria"] == ["S-1"]
    assert (content["joint"], content["make"]) == ("E02", 2)
    for change in (
        lambda: Rework.objects.filter(pk=rework.pk).update(reason="Less."),
        lambda: Rework.objects.filter(pk=rework.pk).update(codes=["F-1"]),
        lambda: Rework.objects.filter(pk=rework.pk).delete(),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            change()


def test_every_kind_of_reading_has_a_name():
    assert {str(one.label) for one in Grading.Kind} >= {"inspection of reworked joints"}


def all_for_grader(board, user):
    """The board as one user has it before them, read alone and together with others."""
    found = fresh(board)
    return [BoardForGrader(found, user, own=False), *boards_for_grader([fresh(board)], user)]


def said(for_grader, stage):
    return {str(one): for_grader.state(stage, one) for one in for_grader.joints_at(stage)}


def test_what_was_not_reworked_shows_as_it_was_judged_at_a_stage_inspected_again(
    board, instructor, other
):
    read(board, instructor, ("E01", "S-1"), ("E02", "S-3"))
    send_back(board, "E01", ["S-1"], instructor)
    boards.hand_in(board=fresh(board), actor=board.made_by, at=LATER)
    for for_grader in all_for_grader(board, other):
        assert for_grader.kind == "rework"
        assert said(for_grader, "soldered") == {"E01, rework 1": "open"}
    read(board, other, at=LATER)
    for user in (instructor, other):
        for for_grader in all_for_grader(board, user):
            found = said(for_grader, "soldered")
            assert (found["E01, rework 1"], found["E02"]) == ("accepted", "accepted_with_remarks")
            assert "open" not in {*found.values(), for_grader.state("soldered", None)}


def test_whoever_judges_on_sees_what_was_reworked_and_what_was_not_at_the_stage_before(
    board, instructor, other
):
    first = begin(board, instructor)
    judge(first, {("E01", "F-1")}, stages=["formed"])
    sign(first, ["formed"])
    send_back(board, "E01", ["F-1"], instructor)
    boards.hand_in(board=fresh(board), actor=board.made_by, at=LATER)
    again = begin(board, other, LATER)
    judge(again, stages=["formed"], at=LATER)
    sign(again, ["formed"], LATER)
    for user in (instructor, other):
        for for_grader in all_for_grader(board, user):
            assert for_grader.kind == "first"
            assert set(said(for_grader, "formed").values()) == {"accepted"}
            assert set(said(for_grader, "soldered").values()) == {"open"}

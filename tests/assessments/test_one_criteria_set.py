"""A board is judged by one criteria set, also where another is published between its stages."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.urls import reverse

from assessments.exceptions import AlreadySigned
from assessments.models import Grading
from assessments.queries import board_results
from assessments.queries.board_for_grader import BoardForGrader
from assessments.services import grading as services
from assessments.services import reading_requests, rework
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
def graders():
    return [factories.make_user("instructor") for _ in range(3)]


@pytest.fixture
def earlier():
    return make_criteria()


def publish_more():
    """The next set: it asks something at both stages that the earlier did not."""
    return factories.make_criteria_set(
        {"code": "F-7", "severity": "major", "demerits": 20, "stage": "formed"},
        {"code": "S-1", "severity": "critical", "demerits": 40},
        {"code": "S-7", "severity": "major", "demerits": 20},
    )


def make_board(**fields):
    exercise = factories.make_exercise(stages=("formed", "soldered"), rework_allowed=1, **fields)
    return factories.make_board(exercise=exercise)


def sets_of(board):
    return {one.criteria_set for one in board.gradings.all()}


def test_what_is_published_between_two_stages_is_for_other_boards(graders, earlier):
    board = make_board()
    read(board, graders[0], stages=["formed"])
    later = publish_more()
    for_grader = BoardForGrader(fresh(board), graders[1], own=False)
    assert for_grader.criteria_set == earlier
    read(board, graders[1], stages=["soldered"])
    assert outcome_of(board) == (True, True, 100)
    assert sets_of(board) == {earlier}
    assert begin(make_board(), graders[1]).criteria_set == later


def test_until_a_stage_is_signed_a_reading_begins_by_the_current_set(graders, earlier):
    board = make_board()
    judge(begin(board, graders[0]), stages=["formed"])
    later = publish_more()
    assert begin(board, graders[1]).criteria_set == later
    read(board, graders[1])
    assert outcome_of(board)[0]


@pytest.mark.parametrize("stage", ["formed", "soldered"])
def test_rework_is_finished_by_the_set_that_the_board_was_read_by(graders, earlier, stage):
    board = make_board()
    code = {"formed": "F-1", "soldered": "S-1"}[stage]
    read(board, graders[0], ("E01", code), stages=["formed"])
    publish_more()
    read(board, graders[1], ("E01", code), stages=["soldered"])
    assert outcome_of(board)[0]
    rework.send_back(
        board=fresh(board), joint=joint(board, "E01"), codes=[code], actor=graders[1], at=LATER
    )
    read(board, graders[1], at=LATER)
    assert outcome_of(board) == (True, True, 100)
    assert sets_of(board) == {earlier}


def test_another_reading_asks_what_the_board_was_read_by(graders, earlier):
    board = make_board()
    trainee = factories.make_user(person=board.person)
    read(board, graders[0], stages=["formed"])
    publish_more()
    read(board, graders[1], ("E01", "S-1"), stages=["soldered"])
    reading_requests.ask_for_another_reading(
        board=fresh(board), trainee=trainee, reason="E01 is wetted.", at=LATER
    )
    read(board, graders[2], at=LATER)
    assert outcome_of(board) == (True, True, 100)
    reading = board_results.read_board(fresh(board))
    asked = {one.criterion.code for one in reading.joints[0].judgements}
    assert asked == {"F-1", "S-1", "S-3"}


def test_who_began_by_the_later_set_judges_what_is_left_by_the_one_signed_by(
    client, graders, earlier
):
    board = make_board()
    first = begin(board, graders[0])
    later = publish_more()
    mine = begin(board, graders[1])
    judge(mine, [("E01", "S-7")])
    judge(first, stages=["formed"])
    sign(first, ["formed"])
    for act in (lambda: sign(mine, ["soldered"]), lambda: judge(mine, stages=["soldered"])):
        with pytest.raises(AlreadySigned, match="another criteria set"):
            act()
    client.force_login(graders[1])
    for outcome in ("accept", "ask_photo", "ask_board"):
        answer = client.post(
            reverse("assessments:board_judge", args=[board.number]),
            {
                "stage": "soldered",
                "joint": "E01",
                "criterion": "S-7",
                "outcome": outcome,
                "how": "at_board",
                "key": uuid4(),
            },
            headers={"Accept": "application/json"},
        )
        assert "another criteria set" in answer.json()["says"], outcome
    assert BoardForGrader(fresh(board), graders[1], own=False).criteria_set == earlier
    again = read(board, graders[1], stages=["soldered"])
    assert (again != mine, again.criteria_set) == (True, earlier)
    assert outcome_of(board) == (True, True, 100)
    kept = Grading.objects.get(criteria_set=later)
    assert (kept, kept.judgements.filter(outcome="reject").count()) == (mine, 1)
    with pytest.raises(AlreadySigned):
        begin(board, graders[1])


def test_a_correction_is_judged_by_the_set_of_what_it_corrects(graders, earlier):
    board = make_board()
    signed = read(board, graders[0])
    publish_more()
    correction = services.correct_grading(
        grading=signed, grader=graders[1], reason="Blurred.", at=LATER
    )
    judge(correction, [("E01", "S-1")], at=LATER)
    sign(correction, at=LATER)
    assert correction.criteria_set == earlier
    assert outcome_of(board)[:2] == (True, False)

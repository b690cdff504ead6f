"""Of every reading the stages are signed in the order of the work: of two graders, of rework."""

import pytest

from assessments.exceptions import StageNotReady
from assessments.services import rework
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

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("everybody_has_standing")]


@pytest.fixture
def graders():
    make_criteria()
    return [factories.make_user("instructor") for _ in range(2)]


def make_board(**fields):
    return factories.make_board(
        exercise=factories.make_exercise(stages=("formed", "soldered"), **fields)
    )


def test_of_two_graders_what_the_other_signed_does_not_count(graders):
    board = make_board(graders=2)
    read(board, graders[0], stages=["formed"])
    mine = begin(board, graders[1])
    judge(mine)
    with pytest.raises(StageNotReady, match="“formed” comes first"):
        sign(mine, ["soldered"])
    sign(mine)


def test_rework_is_inspected_in_order_too(graders):
    board = make_board(rework_allowed=1)
    read(board, graders[0], ("E01", "S-1"))
    rework.send_back(
        board=fresh(board), joint=joint(board, "E01"), codes=["S-1"], actor=graders[0], at=NOW
    )
    again = begin(board, graders[1])
    judge(again)
    with pytest.raises(StageNotReady, match="“formed” comes first"):
        sign(again, ["soldered"])
    sign(again)
    assert outcome_of(board) == (True, True, 100)

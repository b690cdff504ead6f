"""Two at once on one board: what is judged is not cancelled, nor what is signed corrected."""

import pytest
from django.db import connection

from assessments.exceptions import CannotChangeBoard, HoldBoardsAlready
from assessments.models import Board, BoardCancellation, Judgement, StageSigning
from assessments.services import board_corrections, boards
from records.models import TrailEntry
from records.queries.verification import verify_records
from tests.assessments import several
from tests.assessments.together import at_once
from tests.factories import (
    NOW,
    TODAY,
    make_board,
    make_exercise,
    make_person,
    make_user,
    write_down,
)

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only"),
]

ROUNDS = 6


@pytest.fixture
def instructor():
    several.make_criteria()
    return make_user("instructor")


def waiting_board():
    board = make_board(handed_in_at=NOW)
    write_down()
    return board


def cancel(board, actor):
    return board_corrections.cancel_boards(boards=[board], reason="So.", actor=actor, at=NOW)


def test_board_is_judged_or_cancelled_and_never_both(instructor):
    for _round in range(ROUNDS):
        board = waiting_board()
        at_once(
            lambda board=board: several.judge(several.begin(board, instructor)),
            lambda board=board: cancel(board, instructor),
        )
        judged = Judgement.objects.filter(grading__board=board).exists()
        cancelled = BoardCancellation.objects.filter(board=board).exists()
        assert judged != cancelled
        assert cancelled == (Board.objects.get(pk=board.pk).cancelled_at is not None)


def test_board_is_cancelled_once(instructor):
    board = waiting_board()
    given = at_once(*[lambda: cancel(board, instructor)] * 3)
    assert sum(isinstance(one, CannotChangeBoard) for one in given) == 2
    assert verify_records().faults == []


def test_purpose_is_what_it_was_when_the_first_stage_was_signed(instructor):
    for _round in range(ROUNDS):
        board = waiting_board()
        reading = several.begin(board, instructor)
        several.judge(reading)
        refused = at_once(
            lambda reading=reading: several.sign(reading),
            lambda board=board: board_corrections.correct_purpose(
                boards=[board],
                purpose="qualification",
                reason="So.",
                actor=instructor,
                at=NOW,
            ),
        )[1]
        signed = StageSigning.objects.get(grading=reading)
        corrected = board.purpose_corrections.first()
        if isinstance(refused, CannotChangeBoard):
            assert corrected is None
        else:
            written = TrailEntry.objects.get(
                act="purpose of board corrected", about_id=str(corrected.pk)
            )
            assert written.number < signed.signature.entry.number
    assert verify_records().faults == []


def test_board_is_taken_back_or_judged_and_never_both(instructor):
    for _round in range(ROUNDS):
        board = waiting_board()
        _judged, taken_back = at_once(
            lambda board=board: several.judge(several.begin(board, instructor)),
            lambda board=board: boards.take_back_hand_in(board=board, actor=instructor, at=NOW),
        )
        assert Judgement.objects.filter(grading__board=board).exists()
        # Judging hands in what was taken back before it began.
        assert Board.objects.get(pk=board.pk).handed_in_at is not None, taken_back


def test_of_two_who_hand_out_to_one_person_at_once_one_is_told(instructor):
    person, exercise = make_person(), make_exercise()

    def hand_out():
        return boards.make_boards(
            exercise=exercise,
            people=[person],
            purpose="practice",
            site=person.site,
            handed_out_on=TODAY,
            actor=instructor,
            at=NOW,
            held=[],
        )

    given = at_once(hand_out, hand_out, hand_out)
    assert sum(isinstance(one, HoldBoardsAlready) for one in given) == 2
    assert Board.objects.count() == 1

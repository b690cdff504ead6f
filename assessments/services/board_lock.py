"""Locking a board: whoever acts on it meanwhile waits."""

from django.db.models import QuerySet

from assessments.models import Board, Grading
from assessments.queries import grading_assignment


def lock_board(board: Board) -> Board:
    """The board as it is now, locked to the end of the transaction.

    Whatever writes about a board does this first and reads afterwards what it decides on. Nothing
    is read along with it: on PostgreSQL what is joined to a row that had to be waited for is as it
    was when the waiting began, so that a signature or a request made meanwhile would be overlooked.
    """
    return Board.objects.select_for_update(no_key=True).get(pk=board.pk)


def lock_board_among(boards: QuerySet[Board], number: str) -> Board:
    """One of these boards with its exercise, which never changes, locked in the same query.

    Raises
    ------
    Board.DoesNotExist
        If none of them has that number.
    """
    locked = boards.select_related("exercise").select_for_update(of=("self",), no_key=True)
    return locked.get(number=number)


def lock_open(grading: Grading, stage: str) -> None:
    """Lock the grading's board; refuse if the stage takes no judgement of the grading.

    Whoever judges, takes back or signs locks the same row, so that a signature covers every
    judgement made before it and none made beside it.
    """
    lock_board(grading.board)
    grading_assignment.of_board(grading.board).refuse_if_closed(grading, stage)

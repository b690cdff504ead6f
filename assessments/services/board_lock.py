"""Locking a board: whoever acts on it meanwhile waits."""

from collections.abc import Collection

from django.db.models import QuerySet, prefetch_related_objects
from django.utils.translation import gettext as _

from assessments.exceptions import CannotChangeBoard
from assessments.models import Board, Grading
from assessments.queries import grading_assignment
from people.presenters.days import format_day


def lock_board(board: Board) -> Board:
    """The board as it is now, locked to the end of the transaction.

    Whatever writes about a board does this first and reads afterwards what it decides on. Nothing
    is read along with it: on PostgreSQL what is joined to a row that had to be waited for is as it
    was when the waiting began, so that a signature or a request made meanwhile would be overlooked.

    Raises
    ------
    CannotChangeBoard
        If the board was cancelled, or is kept no longer: nothing is done on it any more.
    """
    locked = Board.objects.select_for_update(no_key=True).filter(pk=board.pk).first()
    if locked is None:
        raise CannotChangeBoard(_("%(board)s is kept no longer.") % {"board": board.number})
    refuse_if_cancelled(locked)
    return locked


def lock_boards(keys: Collection[int]) -> dict[int, Board]:
    """Several boards as they are now, by key, locked in one order so that no two lists wait in a
    ring.

    Their exercises with positions and their sites are read once they are all locked, for whoever
    asks each of them many times.

    Raises
    ------
    CannotChangeBoard
        If one of them was cancelled.
    """
    boards = list(Board.objects.select_for_update(no_key=True).filter(pk__in=keys).order_by("pk"))
    for board in boards:
        refuse_if_cancelled(board)
    prefetch_related_objects(boards, "exercise__positions", "site")
    return {board.pk: board for board in boards}


def refuse_if_cancelled(board: Board) -> None:
    if board.cancelled_at is not None:
        raise CannotChangeBoard(
            _("Board %(number)s was cancelled on %(day)s. Hand out another.")
            % {"number": board.number, "day": format_day(board.site.today(board.cancelled_at))}
        )


def lock_board_among(boards: QuerySet[Board], number: str) -> Board:
    """One of these boards with its exercise, which never changes, locked in the same query.

    Raises
    ------
    Board.DoesNotExist
        If none of them has that number.
    CannotChangeBoard
        If it was cancelled.
    """
    locked = boards.select_related("exercise").select_for_update(of=("self",), no_key=True)
    board = locked.get(number=number)
    refuse_if_cancelled(board)
    return board


def lock_open(grading: Grading, stage: str) -> None:
    """Lock the grading's board; refuse if the stage takes no judgement of the grading.

    Whoever judges, takes back or signs locks the same row, so that a signature covers every
    judgement made before it and none made beside it.
    """
    lock_board(grading.board)
    grading_assignment.of_board(grading.board).refuse_if_closed(grading, stage)

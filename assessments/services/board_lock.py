"""Holding a board: whoever acts on it meanwhile waits."""

from assessments.models import Board


def hold(board: Board) -> Board:
    """The board as it is now, held to the end of the transaction.

    Nothing is read along with it. On PostgreSQL what is joined to a row that had to be waited
    for is as it was when the waiting began: a request made meanwhile would be overlooked.
    """
    return Board.objects.select_for_update(no_key=True).get(pk=board.pk)

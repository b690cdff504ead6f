"""What was done by mistake to boards put right: cancelled, or their purpose corrected."""

from collections.abc import Callable, Sequence
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from assessments import ports
from assessments.exceptions import CannotChangeBoard
from assessments.models import Board, BoardCancellation, PurposeCorrection
from assessments.queries import board_corrections, board_tools, written_down
from people.models import Role, User
from people.services.people import lock_people
from records.services import trail

from .board_lock import lock_board


@transaction.atomic
def cancel_boards(
    *, boards: Sequence[Board], reason: str, actor: User, at: datetime
) -> list[BoardCancellation]:
    """Cancel boards that were made by mistake; all of them or none.

    A board keeps its number, its row and its photographs. Nothing is done on it any more.

    Raises
    ------
    CannotChangeBoard
        If no reason is given, a board is not the actor's to cancel, or something of it was judged.
    """
    locked = _lock_all(boards, reason, actor, board_corrections.why_not_cancelled)
    cancellations = []
    for board in locked:
        cancellations.append(
            BoardCancellation.objects.create(
                board=board, reason=reason.strip(), cancelled_by=actor, recorded_at=at
            )
        )
        board.cancelled_at = at
        board.save(update_fields=["cancelled_at"])
    trail.record_many(
        actor=actor,
        act=written_down.CANCELLED,
        items=[
            (cancellation.board, written_down.cancellation_content(cancellation))
            for cancellation in cancellations
        ],
        at=at,
    )
    return cancellations


@transaction.atomic
def correct_purpose(
    *, boards: Sequence[Board], purpose: str, reason: str, actor: User, at: datetime
) -> list[PurposeCorrection]:
    """Say what boards are for after all; all of them or none.

    Raises
    ------
    CannotChangeBoard
        If no reason is given, a board is not the actor's to correct, a stage of it is signed, it
        is for that already, or a tool used does not do for that.
    """
    if purpose not in board_corrections.CORRECTED_TO:
        raise CannotChangeBoard(
            _("A production sample names its unit or work order: hand it out as one.")
        )
    # People before their boards, as by handing out: what somebody has begun is decided on.
    lock_people({board.person_id for board in boards})
    locked = _lock_all(boards, reason, actor, board_corrections.why_purpose_stays)
    corrections = []
    for board in locked:
        if board.purpose == purpose:
            raise CannotChangeBoard(
                _("Board %(number)s is for %(purpose)s already. Take its tick off.")
                % {"number": board.number, "purpose": board.get_purpose_display()}
            )
        if why := board_tools.why_purpose_needs_others(board, purpose, at):
            raise CannotChangeBoard(f"{board.number}: {why}")
        _refuse_before_its_turn(board, purpose)
        corrections.append(
            PurposeCorrection.objects.create(
                board=board,
                before=board.purpose,
                after=purpose,
                reason=reason.strip(),
                corrected_by=actor,
                recorded_at=at,
            )
        )
        board.purpose = purpose
        board.save(update_fields=["purpose"])
    trail.record_many(
        actor=actor,
        act=written_down.PURPOSE,
        items=[
            (correction, written_down.purpose_content(correction)) for correction in corrections
        ],
        at=at,
    )
    return corrections


def _refuse_before_its_turn(board: Board, purpose: str) -> None:
    """Refuse that a board was for qualification where another would not have been handed out."""
    if purpose not in Board.QUALIFYING or board.purpose in Board.QUALIFYING:
        return
    why = ports.before_qualifying(board.exercise, [board.person], board.handed_out_on, board.number)
    if why:
        raise CannotChangeBoard(
            " ".join(
                [*why.values(), _("So board %(number)s stays as it is.") % {"number": board.number}]
            )
        )


def _lock_all(
    boards: Sequence[Board], reason: str, actor: User, refusal: Callable[[Board], str]
) -> list[Board]:
    """The boards as they are now, locked in the order of their keys; refuse any that may not."""
    if not boards:
        raise CannotChangeBoard(_("Tick at least one board."))
    if not reason.strip():
        raise CannotChangeBoard(_("Say why, so that whoever reads it later understands."))
    locked = []
    for board in sorted(boards, key=lambda board: board.pk):
        current = lock_board(board)
        own = actor.person_id is not None and actor.person_id == current.person_id
        if own or not actor.has_role(Role.INSTRUCTOR, site=current.site_id):
            raise CannotChangeBoard(
                _("Board %(number)s is put right by another instructor at its site.")
                % {"number": current.number}
            )
        if why := refusal(current):
            raise CannotChangeBoard(why)
        locked.append(current)
    return locked

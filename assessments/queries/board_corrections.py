"""What may still be put right about a board, and why something may not."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, QuerySet
from django.utils.translation import gettext as _

from assessments.models import Board, Grading, Judgement, Rework, StageSigning

CORRECTED_TO = (
    Board.Purpose.PRACTICE,
    Board.Purpose.QUALIFICATION,
    Board.Purpose.REQUALIFICATION,
)
"""A production sample is handed out as one, since it names what it was taken from."""


def judgements_of(board: Board) -> QuerySet[Judgement]:
    """What graders judged of a board; how its maker judged it for themselves counts for nothing."""
    return Judgement.objects.filter(grading__board=board).exclude(grading__kind=Grading.Kind.OWN)


def is_signed(board: Board) -> bool:
    return StageSigning.objects.filter(grading__board=board).exists()


def why_not_cancelled(board: Board) -> str:
    """Empty where a board may be cancelled, else why it may not."""
    if board.cancelled_at is not None:
        return _("Board %(number)s is cancelled already.") % {"number": board.number}
    if board.disposed_at is not None:
        return _("Board %(number)s has been disposed of.") % {"number": board.number}
    if is_signed(board) or judgements_of(board).exists():
        return _(
            "Something of board %(number)s is judged, so it is not cancelled. Grade it to the end, "
            "or take the judgements back first if nothing is signed."
        ) % {"number": board.number}
    return ""


def why_purpose_stays(board: Board) -> str:
    """Empty where the purpose of a board may be corrected, else why it may not."""
    if board.cancelled_at is not None:
        return _("Board %(number)s is cancelled already.") % {"number": board.number}
    if board.purpose == Board.Purpose.PRODUCTION:
        return _("Board %(number)s is a production sample and stays one.") % {
            "number": board.number
        }
    if is_signed(board):
        return _("A stage of board %(number)s is signed, so its purpose stays as it is.") % {
            "number": board.number
        }
    return ""


def why_hand_in_stays(board: Board) -> str:
    """Empty where a board, or its rework, can be taken back from whoever is to judge it."""
    if board.disposed_at is not None:
        return _("Board %(number)s has been disposed of.") % {"number": board.number}
    reworks = Rework.objects.filter(joint__board=board)
    if reworks.exists():
        if not handed_in_again(board).exists():
            return _("Somebody has judged what was reworked on board %(number)s.") % {
                "number": board.number
            }
        return ""
    if board.handed_in_at is None:
        return _("Board %(number)s is not handed in.") % {"number": board.number}
    if Grading.objects.filter(board=board).exclude(kind=Grading.Kind.OWN).exists():
        return _("Somebody has begun to judge board %(number)s, so it stays handed in.") % {
            "number": board.number
        }
    return ""


def handed_in_again(board: Board) -> QuerySet[Rework]:
    """Rework that is handed in and that nobody has begun to judge."""
    judged = Judgement.objects.filter(joint=OuterRef("joint"))
    begun = Grading.objects.filter(
        board=board, kind=Grading.Kind.REWORK, recorded_at__gte=OuterRef("handed_in_at")
    )
    return Rework.objects.filter(
        ~Exists(judged), ~Exists(begun), joint__board=board, handed_in_at__isnull=False
    )


@dataclass(frozen=True, slots=True)
class StillToCorrect:
    """Of some boards the numbers of those that may be put right, and why others may not be."""

    cancelled: tuple[str, ...]
    purpose: tuple[str, ...]
    refusals: tuple[str, ...]


def still_to_correct(boards: Iterable[Board]) -> StillToCorrect:
    cancelled: list[str] = []
    purpose: list[str] = []
    refusals: list[str] = []
    for board in boards:
        for numbers, why in (
            (cancelled, why_not_cancelled(board)),
            (purpose, why_purpose_stays(board)),
        ):
            (refusals if why else numbers).append(why or board.number)
    return StillToCorrect(tuple(cancelled), tuple(purpose), tuple(dict.fromkeys(refusals)))

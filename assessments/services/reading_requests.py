"""A trainee's one request to have a board read again, and its answer."""

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from assessments import ports
from assessments.exceptions import CannotChangeBoard, MayNotGrade
from assessments.models import Board, BoardOutcome, Grading, ReadingRequest, StageSigning
from assessments.queries import written_down
from assessments.queries.removed_files import removed_file
from people.models import Role, SiteRole, User
from records.services import trail

from .board_lock import lock_board


def why_not_ask(board: Board, trainee: User) -> str:
    """Empty where the trainee may ask for another reading of a board now, else why not."""
    if trainee.person_id is None or trainee.person_id != board.person_id:
        return _("Only whoever made a board asks for a regrading of it.")
    request = ReadingRequest.objects.filter(board=board).first()
    if request is not None:
        return _("A regrading of %(board)s was asked for on %(day)s. It can be asked for once.") % {
            "board": board.number,
            "day": board.site.today(request.recorded_at).isoformat(),
        }
    outcome = BoardOutcome.objects.filter(board=board).first()
    if outcome is None or not outcome.complete:
        return _("%(board)s has no result yet. Ask once every stage is signed.") % {
            "board": board.number
        }
    kept = board.photos.exclude(removed_file())
    if board.disposed_at is not None and not kept.exists():
        return _("The piece is gone and no photograph of it was kept, so nobody can read it again.")
    if not _somebody_is_left(board):
        return _(
            "Everybody who judges at %(site)s has judged %(board)s. Ask your instructor to have "
            "somebody else named as one; until then your request is not used up."
        ) % {"site": board.site.name, "board": board.number}
    return ""


def _somebody_is_left(board: Board) -> bool:
    """Whether anybody at the site may read the board who neither made nor signed for it."""
    signers = StageSigning.objects.filter(grading__board=board).values("grading__grader")
    return (
        SiteRole.objects.filter(site=board.site_id, role=Role.INSTRUCTOR)
        .filter(user__in=User.objects.open_on(board.site.today()))
        .exclude(user__person=board.person_id)
        .exclude(user__in=signers)
        .exists()
    )


@transaction.atomic
def ask_for_another_reading(
    *, board: Board, trainee: User, reason: str, at: datetime
) -> ReadingRequest:
    """Ask that a board be read again by somebody who has not judged it.

    The result stands until the other reading is signed to the end. From then on that one
    counts, for better or worse; the earlier readings are kept.

    Raises
    ------
    MayNotGrade
        If the board is not the trainee's own.
    CannotChangeBoard
        If there is no result yet, it was asked for before, no reason is given, or nothing is
        left that could be read, or nobody who could read it.
    """
    board = lock_board(board)
    if why := why_not_ask(board, trainee):
        own = trainee.person_id is not None and trainee.person_id == board.person_id
        raise (CannotChangeBoard if own else MayNotGrade)(why)
    if not reason.strip():
        raise CannotChangeBoard(_("Say what you think was judged wrongly, and on which joint."))
    request = ReadingRequest.objects.create(
        board=board,
        asked_by=trainee,
        reason=reason.strip(),
        before=_as_json(BoardOutcome.objects.get(board=board)),
        recorded_at=at,
    )
    trail.record(
        actor=trainee,
        act=written_down.ASKED,
        about=request,
        payload={
            **written_down.request_content(request),
            "rests_on_it": ports.what_rests_on_as_kept(board),
        },
        at=at,
    )
    return request


def note_answer(*, grading: Grading, outcome: BoardOutcome, at: datetime) -> ReadingRequest | None:
    """Answer the request once the other reading is signed to the end; else do nothing.

    What rests on the board stays as it is and is named in the trail: whether to suspend or
    withdraw it is for quality to decide.
    """
    if grading.kind != Grading.Kind.ANOTHER:
        return None
    board = grading.board
    request = ReadingRequest.objects.filter(board=board, answered_at__isnull=True).first()
    signed = set(grading.signings.values_list("stage", flat=True))
    earlier = grading.replaces
    while earlier is not None:
        signed |= set(earlier.signings.values_list("stage", flat=True))
        earlier = earlier.replaces
    if request is None or not signed.issuperset(board.exercise.stages):
        return None
    request.grading, request.answered_at = grading, at
    request.after = _as_json(outcome)
    request.save(update_fields=["grading", "answered_at", "after"])
    trail.record(
        actor=grading.grader,
        act=written_down.ANSWERED,
        about=request,
        payload={
            **written_down.answer_content(request),
            "rests_on_it": ports.what_rests_on_as_kept(board),
        },
        at=at,
    )
    return request


def _as_json(outcome: BoardOutcome) -> dict:
    return {
        "passed": outcome.passed,
        "score": None if outcome.score is None else f"{outcome.score:.6f}",
        "rejected": outcome.joints_rejected,
    }

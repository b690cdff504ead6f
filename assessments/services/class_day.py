"""What a class's tablet does in one tap: pass a stage of a board, and take that back."""

from datetime import datetime
from decimal import Decimal
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from assessments.exceptions import AssessmentError, StageNotReady
from assessments.models import Board, Criterion, Grading, Joint, Judgement, StageSigning
from assessments.queries import board_results
from people.models import User
from training.models import Stage

from . import grading, judgements
from .board_lock import lock_open
from .judgements import Circumstances, was_done
from .undo import undo


@transaction.atomic
def pass_stage(
    *,
    board: Board,
    stage: str,
    grader: User,
    at: datetime,
    magnification: Decimal | None = None,
    key: UUID | None = None,
) -> int:
    """Accept all that is open at a stage, board in hand; return how many were accepted.

    Nothing is signed by it. Spare joints that nobody began are left alone.

    Parameters
    ----------
    magnification : Decimal, optional
        What the grader looks through.
    key : UUID, optional
        What the browser calls this act; one that was done already is not done again.

    Raises
    ------
    StageNotReady
        If a stage that comes before is open, a required joint is missing, something critical or
        measured is not judged yet, or nothing is open.
    """
    if stage not in board.exercise.stages:
        raise StageNotReady(_("This exercise does not ask for that stage."))
    reading = grading.start_grading(board=board, grader=grader, at=at)
    lock_open(reading, stage)
    done = was_done(reading, key)
    if done is not None:
        return len(done.before)
    missing = board_results.stage_summary(reading, stage).missing
    if missing:
        raise StageNotReady(
            _("These joints are asked for and missing: %(names)s.") % {"names": ", ".join(missing)}
        )
    joints, stays = _open_at(reading, stage)
    if stays:
        raise StageNotReady(
            _("%(places)s: critical or measured, so each is judged by itself. Open the stage.")
            % {"places": board_results.shortened(stays)}
        )
    if before := _open_before(reading, stage):
        raise StageNotReady(
            _("The stage “%(stage)s” comes first and is still open.") % {"stage": before.label}
        )
    count = judgements.accept_the_rest(
        grading=reading,
        stage=stage,
        joints=joints,
        seen=Circumstances(how=Judgement.How.AT_BOARD, magnification=magnification),
        at=at,
        key=key,
    )
    if not count:
        raise StageNotReady(_("Nothing is open at this stage any more."))
    return count


def _open_before(reading: Grading, stage: str) -> Stage | None:
    """The first stage before this one that is neither signed nor judged to the end."""
    board = reading.board
    signed = StageSigning.objects.filter(grading__board=board).exclude(
        grading__kind=Grading.Kind.OWN
    )
    if reading.kind != Grading.Kind.FIRST or board.exercise.graders > 1:
        signed = signed.filter(grading=reading)
    done = set(signed.values_list("stage", flat=True))
    for earlier in board.exercise.stage_list:
        if earlier.value == stage:
            return None
        if (
            earlier.value not in done
            and board_results.stage_summary(reading, earlier.value).open_places
        ):
            return earlier
    return None


def _open_at(reading: Grading, stage: str) -> tuple[list[Joint | None], list[str]]:
    """Where something may be asked at a stage, and what stays to be judged by itself."""
    judged = set(reading.judgements.filter(stage=stage).values_list("joint_id", "criterion_id"))
    begun = {joint for joint, _criterion in judged}
    places: list[Joint | None] = [
        joint
        for joint in board_results.joints_read(reading, stage)
        if joint.position.required or joint.pk in begun
    ]
    if reading.kind != Grading.Kind.REWORK:
        places.append(None)
    stays = [
        f"{joint.position.name if joint else _('whole board')} {criterion.code}"
        for joint in places
        for criterion in board_results.criteria_for(reading, stage, joint)
        if (joint and joint.pk, criterion.pk) not in judged and stays_to_be_judged(criterion)
    ]
    return places, stays


def stays_to_be_judged(criterion: Criterion) -> bool:
    """Whether a criterion is never accepted with others."""
    return not judgements.may_go_with_the_rest(criterion)


@transaction.atomic
def take_back_pass(*, board: Board, grader: User, key: UUID) -> str:
    """Take back a stage that was passed under a key, if nothing was judged since; return it.

    Raises
    ------
    AssessmentError
        If something else was done since, or the stage is signed.
    """
    reading = grading.open_grading(board, grader)
    last = None if reading is None else reading.undo_steps.filter(taken_back=False).first()
    if reading is None or last is None or last.key != key:
        raise AssessmentError(
            _("Something was judged or signed since. Open the stage to change what it says.")
        )
    step = undo(grading=reading)
    if step is None or step.pk != last.pk:
        raise AssessmentError(_("The stage is signed. To change it, correct it."))
    return step.stage

"""What a grader did last on an unsigned stage: remembered, recognised, taken back."""

from decimal import Decimal
from uuid import UUID

from django.db import transaction

from assessments.models import Grading, Judgement, UndoStep

from .judgements import hold_open


def remembered(judgement: Judgement | None, joint_id: int | None, criterion_id: int) -> dict:
    """What an undo needs to put back: the earlier judgement, or that there was none."""
    step: dict = {"joint": joint_id, "criterion": criterion_id, "was": None}
    if judgement is not None:
        step["was"] = {
            "stage": judgement.stage,
            "outcome": judgement.outcome,
            "how": judgement.how,
            "magnification": _text(judgement.magnification),
            "photo": judgement.photo_id,
            "mark_x": judgement.mark_x,
            "mark_y": judgement.mark_y,
            "measurement": judgement.measurement_id,
            "tool": judgement.tool_id,
            "value": _text(judgement.value),
            "uncertainty": _text(judgement.uncertainty),
            "note": judgement.note,
            "with_the_rest": judgement.with_the_rest,
            "judged_at": judgement.judged_at.isoformat(),
        }
    return step


def _text(value: Decimal | None) -> str | None:
    return None if value is None else str(value)


def was_done(grading: Grading, key: UUID | None) -> UndoStep | None:
    """The act of a grading that a browser sent under this key, if it arrived before."""
    return None if key is None else grading.undo_steps.filter(key=key).first()


@transaction.atomic
def undo(*, grading: Grading, key: UUID | None = None) -> UndoStep | None:
    """Take back the last act on an unsigned stage; None if there is nothing to take back.

    Parameters
    ----------
    key : UUID, optional
        What the browser calls the taking back; done once, however often it is sent.
    """
    if key is not None:
        done = grading.undo_steps.filter(taken_back_key=key).first()
        if done is not None:
            return done
    signed = grading.signings.values_list("stage", flat=True)
    step = grading.undo_steps.filter(taken_back=False).exclude(stage__in=signed).first()
    if step is None:
        return None
    hold_open(grading, step.stage)
    left = UndoStep.objects.filter(pk=step.pk, taken_back=False)
    if not left.update(taken_back=True, taken_back_key=key):
        return None  # Taken back already, from another window.
    for one in step.before:
        judgements = Judgement.objects.filter(
            grading=grading, joint=one["joint"], criterion=one["criterion"]
        )
        was = one["was"]
        if was is None:
            judgements.delete()
            continue
        rows = ("photo", "tool", "measurement")
        values = {name: was[name] for name in was if name not in rows}
        values |= {f"{row}_id": was.get(row) for row in rows}
        judgements.update(**values)
    return step

"""Taking back what a grader did last on a stage that is not signed."""

from uuid import UUID

from django.db import transaction
from django.utils import timezone

from assessments.models import CannotTell, Grading, Judgement, UndoStep
from assessments.queries import written_down
from records.services import trail

from .board_lock import lock_open


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
    lock_open(grading, step.stage)
    left = UndoStep.objects.filter(pk=step.pk, taken_back=False)
    if not left.update(taken_back=True, taken_back_key=key):
        return None  # Taken back already, from another window.
    for place in step.before:
        judgements = Judgement.objects.filter(
            grading=grading, joint=place["joint"], criterion=place["criterion"]
        )
        if place.get("cannot_tell"):
            _ask_no_more(grading, place["cannot_tell"])
        was = place["was"]
        if was is None:
            judgements.delete()
            continue
        rows = ("photo", "tool", "measurement")
        values = {name: was[name] for name in was if name not in rows}
        values |= {f"{row}_id": was.get(row) for row in rows}
        if place.get("cannot_tell"):
            Judgement.objects.create(
                grading=grading,
                joint_id=place["joint"],
                criterion_id=place["criterion"],
                **values,
            )
            continue
        judgements.update(**values)
    return step


def _ask_no_more(grading: Grading, untold: int) -> None:
    asked = CannotTell.objects.filter(pk=untold, taken_back_at__isnull=True).first()
    if asked is None:
        return
    asked.taken_back_at = timezone.now()
    asked.save(update_fields=["taken_back_at"])
    trail.record(
        actor=grading.grader,
        act=written_down.ASKED_NO_MORE,
        about=asked,
        payload={"board": grading.board.number, "grading": grading.pk},
        at=asked.taken_back_at,
    )

"""Whether what a judgement replaced is what its grader had before them."""

from typing import Any
from uuid import UUID

from assessments.models import CannotTell, Judgement, UndoStep
from people.models import User


def was_seen(grading_id: int, replaced: dict[str, Any], saw: str) -> bool:
    """Whether a page showed the judgement that an act of it replaced.

    Parameters
    ----------
    replaced : dict
        What was replaced, as `Judgement.replaced`.
    saw : str
        What the page says that it showed there: when it was judged, as the site told it, or the key
        under which the page itself sent it; empty where it showed the place open.
    """
    judged_at = replaced["judged_at"]
    if saw == judged_at:
        return True
    try:
        key = UUID(saw)
    except ValueError:
        return False
    steps = UndoStep.objects.filter(grading=grading_id, key=key).values_list("done_at", flat=True)
    return any(done_at.isoformat() == judged_at for done_at in steps)


def done_before(number: str, grader: User, key: UUID | None) -> Judgement | CannotTell | None:
    """What an act did that is sent again, with what it replaced; None where that is over.

    So whoever did not get the answer is told all the same.
    """
    steps = UndoStep.objects.filter(
        grading__board__number=number, grading__grader=grader, key=key, taken_back=False
    )
    step = steps.first() if key is not None else None
    if step is None or not step.before:
        return None
    place = step.before[0]
    row: Judgement | CannotTell | None
    if place.get("cannot_tell"):
        row = CannotTell.objects.filter(pk=place["cannot_tell"]).first()
    else:
        row = Judgement.objects.filter(
            grading=step.grading_id, joint=place["joint"], criterion=place["criterion"]
        ).first()
    if row is not None:
        row.replaced = place["was"]
    return row

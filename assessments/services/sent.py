"""A judgement that a browser sends by itself: everything it needs is read with one query.

Hands at the keyboard judge several times a second, so this way in asks as little as it can. It
gives what `grading.judge` gives; that the two agree is tested.
"""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, TypeVar
from uuid import UUID

from django.db import transaction
from django.db.models import Exists, JSONField, Model, OuterRef, QuerySet, Subquery
from django.db.models.functions import JSONObject
from django.utils.translation import gettext as _

from assessments.exceptions import AssessmentError
from assessments.models import Criterion, Grading, Joint, Judgement, Photo, UndoStep
from training.models import Position

from . import grading, refusals
from .outcomes import WHOLE_BOARD
from .refusals import Circumstances

__all__ = ["WHOLE_BOARD", "Held", "held", "judge"]


@dataclass(frozen=True, slots=True)
class Held:
    """One place of a board under one criterion, held to the end of the transaction."""

    grading: Grading
    criterion: Criterion | None
    joint: Joint | None
    photos: list[Photo]
    is_nowhere: bool
    was_done: bool
    is_first: bool


@contextmanager
def held(
    readings: QuerySet[Grading], *, place: str, code: str, stage: str, photo: str, key: UUID
) -> Iterator[Held | None]:
    """Hold the latest of these readings for a judgement; None if there is none yet.

    None as well where a joint of the board was made again: which make is meant then wants
    more looking up than this way in does.

    What the block raises undoes whatever it wrote.

    Parameters
    ----------
    readings
        Those that the user may judge in, as `access` gives them.
    place, code, stage, photo
        Names of the joint (or of the whole board), the criterion, the stage and the photograph.
    key
        What the browser calls this act.
    """
    # Without a savepoint of its own: where this is not the outermost, whatever fails in it
    # fails the whole.
    with transaction.atomic(savepoint=False):
        yield _read(readings, place, code, stage, photo, key)


def judge(held: Held, *, outcome: str, seen: Circumstances, at: datetime, key: UUID) -> Judgement:
    """Judge what is held; raise what `grading.judge` raises."""
    if held.criterion is None:
        raise AssessmentError(_("That criterion is not asked at this stage."))
    refusals.refuse_if_closed(held.grading, held.criterion.stage)
    return grading.judge_held(
        grading=held.grading,
        criterion=held.criterion,
        joint=held.joint,
        outcome=outcome,
        seen=seen,
        at=at,
        key=key,
        is_first=held.is_first,
    )


def _read(
    readings: QuerySet[Grading], place: str, code: str, stage: str, photo: str, key: UUID
) -> Held | None:
    board = OuterRef("board")
    criterion = Criterion.objects.filter(criteria_set=OuterRef("criteria_set"), code=code)
    joint = Joint.objects.filter(board=board, position__name=place).order_by("-make")
    judged = Judgement.objects.filter(grading=OuterRef("pk"), criterion__code=code)
    if place == WHOLE_BOARD:
        judged = judged.filter(joint__isnull=True)
    else:
        judged = judged.filter(joint__position__name=place)
    row = (
        refusals.with_closings(readings, stage)
        .select_for_update(of=("self",), no_key=True)
        .select_related("board__exercise")
        .annotate(
            criterion_row=_row(criterion, *CRITERION),
            joint_row=_row(joint, *JOINT),
            photo_row=_row(Photo.objects.filter(board=board, key=photo), *PHOTO),
            was_done=Exists(UndoStep.objects.filter(grading=OuterRef("pk"), key=key)),
            is_judged=Exists(judged),
            is_remade=Exists(Joint.objects.filter(board=board, make__gt=1)),
        )
        .order_by("-recorded_at", "-pk")
        .first()
    )
    if row is None or row.is_remade or row.kind not in PLAIN:
        return None
    found = _made(Criterion, row.criterion_row)
    if found is not None and found.stage != stage:
        found = None
    return Held(
        grading=row,
        criterion=found,
        joint=_joint(row.joint_row, row),
        photos=[one] if (one := _made(Photo, row.photo_row, board=row.board)) else [],
        is_nowhere=found is None or (row.joint_row is None and place != WHOLE_BOARD),
        was_done=row.was_done,
        is_first=not row.is_judged,
    )


PLAIN = (Grading.Kind.FIRST, Grading.Kind.OWN, Grading.Kind.ANOTHER)
M = TypeVar("M", bound=Model)

CRITERION = (
    "id", "code", "criteria_set_id", "stage", "of", "joint_types", "alloys", "how", "low", "high",
    "severity",
)  # fmt: skip
JOINT = ("id", "make", "board_id", "position_id", "position__name", "position__joint_type")
PHOTO = ("id", "key", "upright_width", "upright_height", "magnification")


def _row(rows: QuerySet, *names: str) -> Subquery:
    """The first of some rows, or NULL, as one JSON value."""
    values = JSONObject(**{name: name for name in names})
    return Subquery(rows.values(as_json=values)[:1], output_field=JSONField())


def _made(model: type[M], row: dict[str, Any] | None, **more: Any) -> M | None:
    """An instance with the fields that were read; what a database tells apart, told apart."""
    if row is None:
        return None
    values = dict(row)
    for name in ("low", "high", "magnification"):
        if values.get(name) is not None:
            values[name] = Decimal(str(values[name]))
    for name in ("joint_types", "alloys"):
        if isinstance(values.get(name), str):
            values[name] = json.loads(values[name])
    made = model(**values, **more)
    made._state.adding = False
    return made


def _joint(row: dict[str, Any] | None, grading: Grading) -> Joint | None:
    if row is None:
        return None
    position = Position(
        id=row["position_id"], name=row["position__name"], joint_type=row["position__joint_type"]
    )
    joint = Joint(id=row["id"], make=row["make"], board=grading.board, position=position)
    joint._state.adding = False
    return joint

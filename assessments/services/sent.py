"""A judgement that a browser sends by itself: everything it needs is read with one query.

Hands at the keyboard judge several times a second, so this way in asks as little as it can, and
has Django write its query only once. It gives what `grading.judge` gives; that the two agree is
tested.
"""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from functools import cache
from typing import Any, TypeVar
from uuid import UUID

from django.db import connection, transaction
from django.db.models import Exists, JSONField, Model, OuterRef, QuerySet, Subquery, Value
from django.db.models.functions import JSONObject
from django.utils.translation import gettext as _

from assessments.exceptions import AssessmentError
from assessments.models import (
    Board,
    Criterion,
    Grading,
    Joint,
    Judgement,
    Photo,
    UndoStep,
)
from assessments.queries.board_results import WHOLE_BOARD
from people.models import User
from training.models import Exercise, Position

from . import grading, judgements
from .judgements import Circumstances
from .written import Blanks, Written

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


Readings = Callable[..., QuerySet[Grading]]
"""Those of a user on a board with a number (own or not) that they may judge in: of `access`."""


@contextmanager
def held(
    readings: Readings,
    *,
    user: User,
    number: str,
    own: bool,
    place: str,
    code: str,
    stage: str,
    photo: str,
    key: UUID,
) -> Iterator[Held | None]:
    """Hold the latest of the user's readings for a judgement; None if there is none yet.

    None as well where a joint of the board was made again: which make is meant then wants
    more looking up than this way in does.

    What the block raises undoes whatever it wrote.

    Parameters
    ----------
    number, place, code, stage, photo
        Names of the board, the joint (or the whole board), the criterion, the stage and the
        photograph.
    key
        What the browser calls this act.
    """
    # Without a savepoint of its own: where this is not the outermost, whatever fails in it
    # fails the whole.
    with transaction.atomic(savepoint=False):
        values = {
            "user": user.pk,
            "number": number,
            "place": place,
            "code": code,
            "stage": stage,
            "photo": photo,
            "key": key,
        }
        written = _written(connection.alias, readings, own, place == WHOLE_BOARD)
        rows = written.ask(person=user.person_id or 0, **values)
        row = next(rows, None)
        yield None if row is None else _held(row, place, stage)


def judge(held: Held, *, outcome: str, seen: Circumstances, at: datetime, key: UUID) -> Judgement:
    """Judge what is held; raise what `grading.judge` raises."""
    if held.criterion is None:
        raise AssessmentError(_("That criterion is not asked at this stage."))
    judgements.refuse_if_closed(held.grading, held.criterion.stage)
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


@cache
def _written(alias: str, readings: Readings, own: bool, of_board: bool) -> Written:
    """The query that reads everything, written down for one database."""
    blanks = Blanks()
    user = User(pk=blanks.number("user"), person_id=blanks.number("person"))
    code, stage = blanks.text("code"), blanks.text("stage")
    board = OuterRef("board")
    criterion = Criterion.objects.filter(criteria_set=OuterRef("criteria_set"), code=code)
    judged = Judgement.objects.filter(grading=OuterRef("pk"), criterion__code=code)
    if of_board:
        judged = judged.filter(joint__isnull=True)
        joint: Subquery | Value = Value(None, output_field=JSONField())
    else:
        at = {"position__name": blanks.text("place")}
        judged = judged.filter(**{f"joint__{name}": value for name, value in at.items()})
        joint = _row(Joint.objects.filter(board=board, **at).order_by("-make"), *JOINT)
    photo = Photo.objects.filter(board=board, key=blanks.text("photo"))
    step = UndoStep.objects.filter(grading=OuterRef("pk"), key=blanks.uuid("key"))
    return Written.of(
        judgements.with_closings(readings(user, blanks.text("number"), own=own), stage)
        .select_for_update(of=("self",), no_key=True)
        .annotate(
            criterion_row=_row(criterion.order_by(), *CRITERION),
            joint_row=joint,
            photo_row=_row(photo.order_by(), *PHOTO),
            was_done=Exists(step),
            is_judged=Exists(judged),
            is_remade=Exists(Joint.objects.filter(board=board, make__gt=1)),
        )
        .order_by("-recorded_at", "-pk")
        .values(
            *GRADING,
            *(f"board__{name}" for name in BOARD),
            *(f"board__exercise__{name}" for name in EXERCISE),
            *CLOSINGS,
            *FOUND,
        )[:1],
        blanks,
    )


def _held(row: dict[str, Any], place: str, stage: str) -> Held | None:
    if row["is_remade"] or row["kind"] not in PLAIN:
        return None
    board = _loaded(Board, row, "board__")
    board.exercise = _loaded(Exercise, row, "board__exercise__")
    reading = _loaded(Grading, row)
    reading.board = board
    for name in CLOSINGS:
        setattr(reading, name, row[name])
    found = _made(Criterion, row["criterion_row"])
    if found is not None and found.stage != stage:
        found = None
    return Held(
        grading=reading,
        criterion=found,
        joint=_joint(row["joint_row"], board),
        photos=[one] if (one := _made(Photo, row["photo_row"], board=board)) else [],
        is_nowhere=found is None or (row["joint_row"] is None and place != WHOLE_BOARD),
        was_done=row["was_done"],
        is_first=not row["is_judged"],
    )


PLAIN = (Grading.Kind.FIRST, Grading.Kind.OWN, Grading.Kind.ANOTHER)
M = TypeVar("M", bound=Model)

# What is read of each; of the reading and its board the rest is read when somebody asks for it.
GRADING = ("id", "board_id", "grader_id", "kind", "criteria_set_id", "replaces_id")
BOARD = ("id", "number", "person_id", "exercise_id", "site_id", "alloy")
EXERCISE = ("id", "stages", "graders", "rework_allowed")
CLOSINGS = (
    "replaced", "signed", "signed_by_somebody", "over", "settled_set", "seats_taken", "seats",
)  # fmt: skip
FOUND = ("criterion_row", "joint_row", "photo_row", "was_done", "is_judged", "is_remade")
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


def _loaded(model: type[M], row: dict[str, Any], prefix: str = "") -> M:
    """An instance with the columns that begin so; what is not among them is read when asked for."""
    names = [one.attname for one in model._meta.concrete_fields if f"{prefix}{one.attname}" in row]
    values = [row[f"{prefix}{name}"] for name in names]
    return model.from_db(connection.alias, names, values)


def _joint(row: dict[str, Any] | None, board: Board) -> Joint | None:
    if row is None:
        return None
    position = Position(
        id=row["position_id"], name=row["position__name"], joint_type=row["position__joint_type"]
    )
    joint = Joint(id=row["id"], make=row["make"], board=board, position=position)
    joint._state.adding = False
    return joint

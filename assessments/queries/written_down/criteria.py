"""What the trail says of criteria sets, their drawings, and which exercise goes by which."""

import hashlib
from collections.abc import Sequence
from typing import Any

from django.db.models import Max, Q

from assessments.models import CriteriaSet, Criterion, CriterionDrawing, ExerciseCriteria
from records.domain.kinds import kind_of
from records.models import TrailEntry
from records.queries import rebuilding
from records.queries.rebuilding import Content, KeptTable, Part, Written

from .rows import register_rows

PUBLISHED = "criteria set published"
SET_RETIRED = "criteria set retired"
DRAWN = "drawing added"
CHOSEN = "criteria set chosen for an exercise"


def published_content(criteria_set: CriteriaSet) -> dict[str, Any]:
    """A set as it was published, with every criterion in full; its rows are read for it."""
    return {
        "set": criteria_set.title,
        "revision": criteria_set.revision,
        "summary": criteria_set.summary,
        "published_at": criteria_set.published_at,
        "published_by": criteria_set.published_by_id,
        "criteria": [criterion_content(criterion) for criterion in criteria_set.criteria.all()],
    } | _said_of_set(criteria_set)


def _said_of_set(criteria_set: CriteriaSet) -> dict[str, Any]:
    """What sets have come to say since the first were published: only what this one does say."""
    said = {
        "document": criteria_set.document,
        "product_class": criteria_set.product_class,
        "begun_from": criteria_set.begun_from_id,
        "dropped": criteria_set.dropped,
        "publishing_reason": criteria_set.publishing_reason,
    }
    return {name: value for name, value in said.items() if value} | (
        {} if criteria_set.by_default else {"by_default": False}
    )


FIRST_CRITERION_FIELDS = (
    "code",
    "order",
    "stage",
    "of",
    "joint_types",
    "alloys",
    "how",
    "quantity",
    "low",
    "high",
    "unit",
    "severity",
    "demerits",
    "accept_drawing",
    "reject_drawing",
    "texts",
    "document",
    "clause",
    "source_note",
    "confirmed_at",
    "confirmed_by_id",
)
"""What entries say of every criterion; of fields that came later they say what is not empty.

So that sets which were published before a field came are still what was written down of them.
"""


def criterion_content(criterion: Criterion) -> dict[str, Any]:
    content = {
        field.attname: getattr(criterion, field.attname)
        for field in Criterion._meta.concrete_fields
        if field.attname not in ("id", "criteria_set_id")
    }
    return {
        name: value
        for name, value in content.items()
        if name in FIRST_CRITERION_FIELDS or value not in (None, "", [])
    }


def drawing_content(drawing: CriterionDrawing) -> dict[str, Any]:
    return {
        "sha256": hashlib.sha256(bytes(drawing.data)).hexdigest(),
        "named": drawing.sha256,
        "kind": str(drawing.kind),
        "title": drawing.title,
        "added_by": drawing.added_by_id,
        "recorded_at": drawing.recorded_at,
    }


def exercise_criteria_content(choice: ExerciseCriteria) -> dict[str, Any]:
    return {"exercise": choice.exercise_code, "set": choice.title}


def _sets(written: Sequence[Written]) -> dict[int, Content]:
    """Sets as they were published; one that retired at another instant than the trail says so."""
    rows = rebuilding.rows_by_number(CriteriaSet.objects.prefetch_related("criteria"), written)
    retired = rebuilding.instants(CriteriaSet, written, SET_RETIRED)
    return {
        number: published_content(row) | rebuilding.unlike("retired_at", row, retired)
        for number, row in rows.items()
    }


def _choices(written: Sequence[Written]) -> dict[int, Content]:
    """Which set an exercise goes by, and who chose it, is compared with the last entry."""
    rows = rebuilding.rows_by_number(ExerciseCriteria.objects.all(), written)
    last = dict(
        TrailEntry.objects.filter(
            about_type=kind_of(ExerciseCriteria.__name__),
            about_id__in={entry.about_id for entry in written},
            act=CHOSEN,
        )
        .order_by()
        .values_list("about_id")
        .annotate(Max("number"))
    )
    rebuilt: dict[int, dict[str, Any]] = {}
    for entry in written:
        if (choice := rows.get(entry.number)) is None:
            continue
        if last[entry.about_id] != entry.number:
            rebuilt[entry.number] = {"exercise": choice.exercise_code}
            continue
        rebuilt[entry.number] = exercise_criteria_content(choice)
        if choice.chosen_by_id != entry.actor_id:
            rebuilt[entry.number] |= {"chosen_by": choice.chosen_by_id}
    return dict(rebuilt)


def register() -> None:
    """Have published sets, drawings and choices compared with what was written down of them."""
    rebuilding.register_entries(
        [PUBLISHED],
        CriteriaSet._meta.db_table,
        _sets,
        criteria=Part(Criterion._meta.db_table, ("code",)),
    )
    rebuilding.register_table(
        KeptTable(
            CriteriaSet,
            "criteria-set",
            acts=(PUBLISHED,),
            where=Q(published_at__isnull=False),
            content_of=published_content,
        )
    )
    register_rows(CriterionDrawing, "criterion-drawing", DRAWN, drawing_content)
    rebuilding.register_entries([CHOSEN], ExerciseCriteria._meta.db_table, _choices)
    rebuilding.register_table(
        KeptTable(
            ExerciseCriteria,
            "exercise-criteria",
            acts=(CHOSEN,),
            content_of=exercise_criteria_content,
        )
    )

"""What would be signed of a stage, or of a third person's decisions, before anybody signs it."""

from collections.abc import Iterable
from typing import Any

from django.db.models import Prefetch

from assessments.models import Board, Grading, Judgement, Photo, StageSigning

from . import board_results
from .effective_judgements import Disagreement

PHOTOS_SHOWN = Prefetch(
    "photos",
    Photo.objects.select_related("joint__position", "added_by__person").order_by("order", "id"),
)
"""A board's photographs, as pages tell of them that sign its stages."""


def judgements_covered(grading: Grading, stage: str) -> list[Judgement]:
    """The judgements that a signature of the stage would cover, as it would be signed now."""
    given = board_results.judgements_to_sign(grading=grading, stage=stage)
    return list(given.exclude(pk__in=board_results.judgements_left(grading, stage)))


def stage_to_sign(
    grading: Grading, stage: str, summary: board_results.StageSummary, judgements: list[Judgement]
) -> dict[str, Any]:
    """What a signature of the stage would cover, but for its instant."""
    signing = StageSigning(grading=grading, stage=stage, result=summary.as_json())
    return not_signed_yet(board_results.signed_content(signing, judgements))


def not_signed_yet(content: dict[str, Any]) -> dict[str, Any]:
    """The content of a stage's signature without what only signing brings."""
    return content | {"signed_at": None}


def decided_between(disagreements: Iterable[Disagreement]) -> list[dict[str, Any]]:
    """Both readings of each place, as whoever decides signs that they stood before them."""
    return [
        {
            "joint": each.first.joint.position.name if each.first.joint else None,
            "make": each.first.joint.make if each.first.joint else None,
            "criterion": each.first.criterion.code,
            "readings": [
                {"by": row.grading.grader_id, "outcome": row.outcome, "note": row.note}
                for row in (each.first, each.second)
            ],
        }
        for each in disagreements
    ]


def decisions_to_sign(board: Board, disagreements: Iterable[Disagreement]) -> dict[str, Any]:
    """What stands before whoever decides; their own decisions come with the signature."""
    return {"board": board.number, "decided_between": decided_between(disagreements)}

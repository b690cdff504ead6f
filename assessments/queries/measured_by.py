"""What the measured criteria of a board were judged by, and which of them by eye."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import prefetch_related_objects

from assessments.domain.measured_by import MeasuredBy, by_kind, measured_by
from assessments.models import Board, Criterion, Grading, Joint, Judgement, Measurement

from .board_results import WHOLE_BOARD, JudgedBoard, judgements_left, read_boards
from .effective_judgements import Makes
from .measured_places import is_by_former_scale, measurements_used


@dataclass(frozen=True, slots=True)
class MeasuredTally:
    """How many measured criteria were judged by what.

    ``by_eye`` and ``unsaid`` name the places, as ``E02 W1``; the former by its reason.
    """

    counts: Mapping[MeasuredBy, int]
    by_eye: Mapping[str, tuple[str, ...]]
    unsaid: tuple[str, ...] = ()

    @property
    def total(self) -> int:
        return sum(self.counts.values())

    def as_json(self) -> dict[str, Any]:
        return {
            "counts": {kind.value: count for kind, count in self.counts.items()},
            "by_eye": {reason: list(places) for reason, places in self.by_eye.items()},
            "unsaid": list(self.unsaid),
        }

    @classmethod
    def from_json(cls, kept: Mapping[str, Any]) -> "MeasuredTally":
        return cls(
            {MeasuredBy(kind): count for kind, count in kept.get("counts", {}).items()},
            {reason: tuple(places) for reason, places in kept.get("by_eye", {}).items()},
            tuple(kept.get("unsaid", ())),
        )


def kind_of(judgement: Judgement) -> MeasuredBy:
    """What a judgement under a measured criterion rests on."""
    return measured_by(
        how=judgement.how,
        outcome=judgement.outcome,
        has_value=judgement.value is not None,
        reason=judgement.by_eye_because,
        is_decision=judgement.grading.kind == Grading.Kind.DECISION,
    )


def place_of(joint: Joint | None, criterion: Criterion) -> str:
    """``E02 W1``."""
    return f"{joint.position.name if joint else WHOLE_BOARD} {criterion.code}"


def tally_of(reading: JudgedBoard) -> MeasuredTally:
    """Count what the measured ones among the judgements of a board rest on, as its result counts.

    Spare joints and makes that do not count are left out.
    """
    parts = [*reading.joints, *([reading.board] if reading.board else [])]
    measured = [
        (judgement, kind_of(judgement), place_of(part.joint, judgement.criterion))
        for part in parts
        for judgement in part.judgements
        if judgement.criterion.is_measured
    ]
    places = by_kind((kind, place) for _judgement, kind, place in measured)
    by_eye: dict[str, list[str]] = {}
    for judgement, kind, place in measured:
        if kind == MeasuredBy.BY_EYE:
            by_eye.setdefault(judgement.by_eye_because, []).append(place)
    return MeasuredTally(
        {kind: len(names) for kind, names in places.items()},
        {reason: tuple(names) for reason, names in by_eye.items()},
        tuple(places.get(MeasuredBy.UNSAID, ())),
    )


def tallies_of(boards: Iterable[Board]) -> dict[int, MeasuredTally]:
    """What `tally_of` counts on each of many boards, by key, in a few queries for all of them."""
    boards = list(boards)
    prefetch_related_objects(boards, "exercise__positions")
    return {key: tally_of(reading) for key, reading in read_boards(boards).items()}


def measured_judgements(grading: Grading, stage: str) -> list[Judgement]:
    """The judgements of a stage under measured criteria, place by place."""
    return list(
        grading.judgements.filter(stage=stage, criterion__how="measured")
        .select_related("joint__position", "criterion")
        .order_by("joint__position__order", "criterion__order")
    )


def unsaid_before_signing(judged: Iterable[Judgement], grading: Grading, stage: str) -> list[str]:
    """Places of a stage that are measured and were judged by a word alone.

    What a correction takes over from a signed grading stands as it was signed there.

    Parameters
    ----------
    judged : iterable of Judgement
        As `measured_judgements` gives them.
    """
    unsaid = [
        row
        for row in judged
        if row.value is None
        and not row.by_eye_because
        and row.outcome != Judgement.Outcome.NOT_APPLICABLE
    ]
    return _places_not_taken_over(unsaid, grading, stage)


def by_former_scale_before_signing(
    judged: Iterable[Judgement], grading: Grading, stage: str, makes: Makes
) -> list[str]:
    """Places of a stage whose value was read by a scale that its photograph has no more.

    What a correction takes over from a signed grading stands as it was signed there.
    """
    by_marks = [row for row in judged if row.measurement_id is not None]
    if not by_marks:
        return []
    left = set(judgements_left(grading, stage, makes).values_list("pk", flat=True))
    judged = [row for row in by_marks if row.pk not in left]
    used = {row.pk: measurements_used(row) for row in judged}
    measurements = Measurement.objects.filter(pk__in=set().union(*used.values()))
    former = {each.pk for each in measurements.select_related("photo") if is_by_former_scale(each)}
    resting = [row for row in judged if used[row.pk] & former]
    return _places_not_taken_over(resting, grading, stage)


def _places_not_taken_over(rows: list[Judgement], grading: Grading, stage: str) -> list[str]:
    """The places of judgements, less those that a correction has from the signed grading."""
    if rows and grading.replaces_id is not None:
        taken_over = set(
            Judgement.objects.filter(grading=grading.replaces_id, stage=stage).values_list(
                "joint", "criterion", "outcome", "judged_at"
            )
        )
        rows = [
            row
            for row in rows
            if (row.joint_id, row.criterion_id, row.outcome, row.judged_at) not in taken_over
        ]
    return [place_of(row.joint, row.criterion) for row in rows]

"""Measurement studies: who has marked how much, what came of it, what may be stated of a mark."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from assessments.domain.measurement_study import (
    Balanced,
    CannotAnalyse,
    Gauge,
    Marked,
    MarkSpread,
    Reading,
    Score,
    balanced,
    by_ranges,
    by_variances,
    mark_spread,
    marking_order,
    score_of,
    zeta_score,
)
from assessments.models import (
    Joint,
    MeasurementStudy,
    StudyClosing,
    StudyGrader,
    StudyPhoto,
    StudyReading,
)
from people.models import Site, User


def studied_spread(grader: User | int, site: Site | int) -> MarkSpread | None:
    """What the studies that stand at a site show of a grader's marks; None without one.

    All of them count together, so that a lucky one does not count alone.
    """
    user_id = grader if isinstance(grader, int) else grader.pk
    closings = StudyClosing.objects.filter(
        study__site=site, study__withdrawal__isnull=True, study__graders__user=user_id
    )
    found = [
        spread
        for spreads in closings.order_by("pk").values_list("spreads", flat=True)
        if (spread := spreads_of(spreads).get(user_id)) is not None
    ]
    return found[0].with_others(found[1:]) if found else None


def spreads_of(kept: Iterable[dict[str, Any]]) -> dict[int, MarkSpread]:
    """What a closing keeps of each sign-in's marks."""
    return {
        row["grader"]: MarkSpread(row["squares"], row["freedom"], row["pixel_px"]) for row in kept
    }


def spreads_shown(readings: Iterable[StudyReading]) -> list[dict[str, Any]]:
    """The same as it is to be kept, from the readings themselves."""
    by_grader: dict[int, dict[int, list[Marked]]] = defaultdict(lambda: defaultdict(list))
    for reading in readings:
        by_grader[reading.grader.user_id][reading.study_photo_id].append(
            Marked(reading.value, reading.per_px, reading.pixel_px)
        )
    kept = []
    for user_id, photographs in sorted(by_grader.items()):
        spread = mark_spread(photographs.values())
        if spread is not None:
            kept.append(
                {
                    "grader": user_id,
                    "squares": spread.squares,
                    "freedom": spread.freedom,
                    "pixel_px": spread.pixel_px,
                }
            )
    return kept


@dataclass(frozen=True, slots=True)
class Turn:
    """What a grader marks next: the photograph, which turn it is, of how many."""

    study_photo: StudyPhoto
    number: int
    of: int


def next_turn(study: MeasurementStudy, grader: StudyGrader) -> Turn | None:
    """The photograph that a grader marks next; None once they are through."""
    photos = {each.pk: each for each in photos_of(study)}
    order = marking_order(study.seed, grader.user_id, list(photos), study.repeats)
    done = grader.readings.count()
    return Turn(photos[order[done]], done, len(order)) if done < len(order) else None


def photos_of(study: MeasurementStudy) -> list[StudyPhoto]:
    """The photographs with their joints, each with the scale that the study began with."""
    rows = study.photos.select_related(
        "photo__board__site", "photo__setup", "photo__joint__position", "joint__board",
        "joint__position",
    )  # fmt: skip
    photos = list(rows.order_by("order"))
    for each in photos:
        each.photo.scale_px_per_mm = each.scale_px_per_mm
        each.photo.scale_uncertainty = each.scale_uncertainty
        each.photo.scale_view = each.scale_view
    return photos


@dataclass(frozen=True, slots=True)
class GraderProgress:
    grader: StudyGrader
    done: int
    of: int

    @property
    def is_through(self) -> bool:
        return self.done >= self.of


def progress(study: MeasurementStudy) -> list[GraderProgress]:
    """How far each grader is: nothing of what they read."""
    of = study.photos.count() * study.repeats
    return [
        GraderProgress(grader, len(grader.readings.all()), of)
        for grader in study.graders.select_related("user__person").prefetch_related("readings")
    ]


# What came of it


@dataclass(frozen=True, slots=True)
class Apart:
    """Readings taken apart by both methods, and what of them counts."""

    table: Balanced
    variances: Gauge
    ranges: Gauge


@dataclass(frozen=True, slots=True)
class OfGrader:
    """What a study shows of one grader.

    Attributes
    ----------
    spread : MarkSpread or None
        None where they marked no photograph twice.
    stands : MarkSpread or None
        What all studies that stand show together, this one among them.
    off : float or None
        By how much they read more than all of them do, over the joints that count.
    """

    grader: StudyGrader
    readings: int
    spread: MarkSpread | None
    stands: MarkSpread | None
    off: float | None


@dataclass(frozen=True, slots=True)
class OfJoint:
    """What was read of one joint: by how many readings, their mean and spread."""

    joint: Joint
    photographs: int
    readings: int
    mean: float
    least: float
    most: float


@dataclass(frozen=True, slots=True)
class Zeta:
    """What one grader read of one joint, against its reference."""

    joint: Joint
    grader: StudyGrader
    value: float
    u: float
    reference: float
    reference_u: float
    zeta: float
    score: Score


@dataclass(frozen=True, slots=True)
class StudyResult:
    """What came of a closed study.

    Attributes
    ----------
    marked_again : Apart or None
        By joint, with marks set again on the first photograph of each.
    photographed_again : Apart or None
        By joint, with the first reading of each of its photographs.
    """

    readings: list[StudyReading]
    expected: int
    marked_again: Apart | None
    photographed_again: Apart | None
    pooled: MarkSpread | None
    graders: list[OfGrader]
    joints: list[OfJoint]
    zetas: list[Zeta]


def readings_of(study: MeasurementStudy) -> list[StudyReading]:
    rows = StudyReading.objects.filter(grader__study=study).select_related(
        "grader__user__person", "study_photo__photo", "study_photo__joint__board",
        "study_photo__joint__position",
    )  # fmt: skip
    return list(rows.order_by("grader", "turn"))


def result_of(study: MeasurementStudy) -> StudyResult:
    """Take a closed study apart; what cannot be is None."""
    readings = readings_of(study)
    photos = photos_of(study)
    spreads = spreads_of(study.closing.spreads)
    pooled = list(spreads.values())
    again = _apart(_marked_again(readings, photos))
    off = _off(again)
    graders = list(study.graders.select_related("user__person"))
    return StudyResult(
        readings=readings,
        expected=len(photos) * study.repeats * len(graders),
        marked_again=again,
        photographed_again=_apart(_photographed_again(readings, photos)),
        pooled=pooled[0].with_others(pooled[1:]) if pooled else None,
        graders=[
            OfGrader(
                grader,
                sum(reading.grader_id == grader.pk for reading in readings),
                spreads.get(grader.user_id),
                studied_spread(grader.user_id, study.site_id),
                off.get(grader.pk),
            )
            for grader in graders
        ],
        joints=_joints(readings, photos),
        zetas=_zetas(study, readings),
    )


def _apart(readings: list[Reading]) -> Apart | None:
    try:
        table = balanced(readings)
        return Apart(table, by_variances(table.values), by_ranges(table.values))
    except CannotAnalyse:
        return None


def _marked_again(readings: Sequence[StudyReading], photos: Sequence[StudyPhoto]) -> list[Reading]:
    """Of each joint the first photograph, so that a joint is one part of the spread."""
    first: dict[int, int] = {}
    for each in photos:
        first.setdefault(each.joint_id, each.pk)
    return [
        Reading(reading.study_photo.joint_id, reading.grader_id, reading.value)
        for reading in readings
        if first[reading.study_photo.joint_id] == reading.study_photo_id
    ]


def _photographed_again(
    readings: Sequence[StudyReading], photos: Sequence[StudyPhoto]
) -> list[Reading]:
    """Of each photograph a grader's first reading, photographs in their order."""
    place = {each.pk: each.order for each in photos}
    firsts: dict[tuple[int, int], StudyReading] = {}
    for reading in readings:
        firsts.setdefault((reading.study_photo_id, reading.grader_id), reading)
    in_order = sorted(firsts.values(), key=lambda one: (place[one.study_photo_id], one.grader_id))
    return [
        Reading(reading.study_photo.joint_id, reading.grader_id, reading.value)
        for reading in in_order
    ]


def _off(apart: Apart | None) -> dict[Any, float]:
    if apart is None or len(apart.table.graders) < 2:
        return {}
    means = apart.table.values.mean(axis=(0, 2))
    return {
        grader: float(mean - means.mean())
        for grader, mean in zip(apart.table.graders, means, strict=True)
    }


def _joints(readings: Sequence[StudyReading], photos: Sequence[StudyPhoto]) -> list[OfJoint]:
    found = []
    for joint in dict.fromkeys(each.joint for each in photos):
        values = [one.value for one in readings if one.study_photo.joint_id == joint.pk]
        if values:
            found.append(
                OfJoint(
                    joint,
                    sum(each.joint_id == joint.pk for each in photos),
                    len(values),
                    sum(values) / len(values),
                    min(values),
                    max(values),
                )
            )
    return found


def _zetas(study: MeasurementStudy, readings: Sequence[StudyReading]) -> list[Zeta]:
    """Each grader's mean of each joint with a reference.

    Its uncertainty is the mean of those stated: repeating makes no value surer than is stated.
    """
    references = {
        reference.joint_id: reference for reference in study.references.select_related("joint")
    }
    cells: dict[tuple[int, int], list[StudyReading]] = defaultdict(list)
    for reading in readings:
        if reading.study_photo.joint_id in references:
            cells[reading.study_photo.joint_id, reading.grader_id].append(reading)
    scores = []
    for (joint_id, _grader), of_cell in sorted(cells.items()):
        reference = references[joint_id]
        value = sum(one.value for one in of_cell) / len(of_cell)
        u = sum(one.standard_uncertainty for one in of_cell) / len(of_cell)
        reference_u = reference.expanded_uncertainty / 2
        zeta = zeta_score(value, u, reference.value, reference_u)
        scores.append(
            Zeta(
                of_cell[0].study_photo.joint,
                of_cell[0].grader,
                value,
                u,
                reference.value,
                reference_u,
                zeta,
                score_of(zeta),
            )
        )
    return scores

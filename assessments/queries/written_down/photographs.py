"""What the trail says of photographs, how they were taken, and what was measured on them."""

from collections.abc import Sequence
from typing import Any

from django.db.models import Max

from assessments.models import (
    Measurement,
    Photo,
    PhotoSetup,
    SetupQualification,
    SetupRetirement,
    WireTolerance,
)
from records.domain.kinds import kind_of
from records.models import TrailEntry
from records.queries import rebuilding
from records.queries.rebuilding import Content, KeptTable, Written

from .rows import joint_written, register_rows

ADDED = "photograph added"
PLACED = ("photograph placed", "photograph described")
TAKEN_BACK = "photograph taken back"
MEASURED = "measured on a photograph"
DECLARED = "photo set-up declared"
QUALIFIED = "photo set-up qualified"
RETIRED = "photo set-up retired"
TOLERANCE = "wire tolerance stated"


def photo_content(photo: Photo) -> dict[str, Any]:
    return {
        "board": photo.board.number,
        "joint": joint_written(photo.joint),
        "stage": photo.stage,
        "key": photo.key,
        "original": str(photo.original.name),
        "file_name": photo.original_name,
        "media_type": photo.media_type,
        "size_bytes": photo.size_bytes,
        "sha256": photo.sha256,
        "is_incomplete": photo.is_incomplete,
        "upright_width": photo.upright_width,
        "upright_height": photo.upright_height,
        "added_by": photo.added_by_id,
        "recorded_at": photo.recorded_at,
        # Empty of what came before there were sendings, and of what no browser sent.
        **({"sending": photo.sending} if photo.sending else {}),
    }


def taken_back_content(photo: Photo) -> dict[str, Any]:
    return {
        "board": photo.board.number,
        "file_name": photo.original_name,
        "sha256": photo.sha256,
        "taken_back_at": photo.taken_back_at,
    }


def placing_content(photo: Photo) -> dict[str, Any]:
    """What can be changed of what a photograph shows."""
    content = {"joint": joint_written(photo.joint), "stage": photo.stage, "note": photo.note}
    # A photograph by hand, as all were before, says nothing of a set-up.
    return content | ({"setup": photo.setup.name} if photo.setup else {})


def setup_content(setup: PhotoSetup) -> dict[str, Any]:
    return {
        "site": setup.site.prefix,
        "name": setup.name,
        "kind": str(setup.kind),
        "tilt_deg": setup.tilt_deg,
        "depth_mm": setup.depth_mm,
        "relief_mm": setup.relief_mm,
        "distance_mm": setup.distance_mm,
        "distortion_percent": setup.distortion_percent,
        "field_mm": setup.field_mm,
        "declared_by": setup.declared_by_id,
        "recorded_at": setup.recorded_at,
    }


def qualification_content(qualification: SetupQualification) -> dict[str, Any]:
    return {
        "setup": qualification.setup_id,
        "done_on": qualification.done_on,
        "graticule": qualification.graticule,
        "readings": qualification.readings,
        "qualified_by": qualification.qualified_by_id,
        "recorded_at": qualification.recorded_at,
    }


def retirement_content(retirement: SetupRetirement) -> dict[str, Any]:
    return {
        "setup": retirement.setup_id,
        "reason": retirement.reason,
        "retired_by": retirement.retired_by_id,
        "recorded_at": retirement.recorded_at,
    }


def tolerance_content(tolerance: WireTolerance) -> dict[str, Any]:
    return {
        "site": tolerance.site.prefix,
        "conductor_percent": tolerance.conductor_percent,
        "overall_percent": tolerance.overall_percent,
        "source": tolerance.source,
        "stated_by": tolerance.stated_by_id,
        "recorded_at": tolerance.recorded_at,
    }


def measurement_content(measurement: Measurement) -> dict[str, Any]:
    content = {
        "photo": measurement.photo.sha256,
        "joint": joint_written(measurement.joint),
        "criterion": measurement.criterion.code if measurement.criterion else "",
        "quantity": str(measurement.quantity),
        "marks": measurement.marks,
        "options": measurement.options,
        "mark_uncertainty_px": measurement.mark_uncertainty_px,
        "mm_per_px": measurement.mm_per_px,
        "scale_uncertainty": measurement.scale_uncertainty,
        "value": measurement.value,
        "standard_uncertainty": measurement.standard_uncertainty,
        "unit": measurement.unit,
        "remarks": measurement.remarks,
        "also": measurement.also,
        "verdict": measurement.verdict,
        "measured_by": measurement.measured_by_id,
        "recorded_at": measurement.recorded_at,
    }
    # Measurements of before its terms were kept were written down without them.
    terms = {"budget": measurement.budget, "view": measurement.view}
    return content | {name: kept for name, kept in terms.items() if kept}


def _photos(written: Sequence[Written]) -> dict[int, Content]:
    """What a photograph shows is compared with the last entry that says so."""
    rows = rebuilding.rows_by_number(
        Photo.every.select_related("board", "joint__position", "setup"), written
    )
    entries = TrailEntry.objects.filter(
        about_type=kind_of(Photo.__name__), about_id__in={entry.about_id for entry in written}
    )
    gone = set(entries.filter(act=TAKEN_BACK).values_list("about_id", flat=True))
    placings = entries.filter(act__in=PLACED)
    last = dict(placings.order_by().values_list("about_id").annotate(Max("number")))
    rebuilt: dict[int, Content] = {}
    for entry in written:
        if (photo := rows.get(entry.number)) is None:
            continue
        if entry.act == ADDED:
            content = photo_content(photo)
            if entry.about_id in last:
                del content["joint"], content["stage"]
            # None comes taken back: one that says so and nobody wrote it down was altered.
            if photo.taken_back_at is not None and entry.about_id not in gone:
                content["taken_back_at"] = photo.taken_back_at
        elif entry.act == TAKEN_BACK:
            content = taken_back_content(photo)
        else:
            content = {"board": photo.board.number}
            if last[entry.about_id] == entry.number:
                content["after"] = placing_content(photo)
        rebuilt[entry.number] = content
    return rebuilt


def register() -> None:
    """Have photographs, set-ups and measurements compared with what was written down of them."""
    rebuilding.register_entries([ADDED, *PLACED, TAKEN_BACK], Photo._meta.db_table, _photos)
    rebuilding.register_table(
        KeptTable(Photo, "photograph", acts=(ADDED,), content_of=photo_content)
    )
    register_rows(
        Measurement,
        "measurement",
        MEASURED,
        measurement_content,
        Measurement.objects.select_related("photo", "joint__position", "criterion"),
    )
    register_rows(
        PhotoSetup,
        "photo-setup",
        DECLARED,
        setup_content,
        PhotoSetup.objects.select_related("site"),
    )
    register_rows(SetupQualification, "photo-setup-qualification", QUALIFIED, qualification_content)
    register_rows(SetupRetirement, "photo-setup-retirement", RETIRED, retirement_content)
    register_rows(
        WireTolerance,
        "wire-tolerance",
        TOLERANCE,
        tolerance_content,
        WireTolerance.objects.select_related("site"),
    )

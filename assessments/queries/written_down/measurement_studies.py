"""What the trail says of measurement studies, from their layout to their end."""

from typing import Any

from assessments.models import (
    MeasurementStudy,
    StudyClosing,
    StudyGrader,
    StudyPhoto,
    StudyReading,
    StudyReference,
    StudyWithdrawal,
)
from records.queries import rebuilding
from records.queries.rebuilding import KeptTable, Part

from .rows import by_number, register_rows

STUDY_MADE = "measurement study made"
STUDY_MARKED = "marked in a measurement study"
STUDY_REFERENCE = "reference value of a measurement study stated"
STUDY_CLOSED = "measurement study closed"
STUDY_WITHDRAWN = "measurement study withdrawn"


def study_content(study: MeasurementStudy) -> dict[str, Any]:
    """A study as it was laid out; its rows are read for it."""
    return {
        "site": study.site.prefix,
        "title": study.title,
        "quantity": str(study.quantity),
        "criterion": study.criterion.code if study.criterion else "",
        "unit": study.unit,
        "repeats": study.repeats,
        "seed": study.seed,
        "photos": [
            {
                "order": each.order,
                "photo": each.photo.sha256,
                "joint": each.joint_id,
                "scale_px_per_mm": each.scale_px_per_mm,
                "scale_uncertainty": each.scale_uncertainty,
                "scale_view": each.scale_view,
            }
            for each in study.photos.all()
        ],
        "graders": [{"user": grader.user_id} for grader in study.graders.all()],
        "made_by": study.made_by_id,
        "recorded_at": study.recorded_at,
    }


def reading_content(reading: StudyReading) -> dict[str, Any]:
    return {
        "study": reading.grader.study_id,
        "photo": reading.study_photo.order,
        "grader": reading.grader.user_id,
        "turn": reading.turn,
        "marks": reading.marks,
        "options": reading.options,
        "mark_uncertainty_px": reading.mark_uncertainty_px,
        "pixel_px": reading.pixel_px,
        "value": reading.value,
        "standard_uncertainty": reading.standard_uncertainty,
        "unit": reading.unit,
        "budget": reading.budget,
        "remarks": reading.remarks,
        "recorded_at": reading.recorded_at,
    }


def reference_content(reference: StudyReference) -> dict[str, Any]:
    return {
        "study": reference.study_id,
        "joint": reference.joint_id,
        "value": reference.value,
        "expanded_uncertainty": reference.expanded_uncertainty,
        "source": reference.source,
        "stated_by": reference.stated_by_id,
        "recorded_at": reference.recorded_at,
    }


def closing_content(closing: StudyClosing) -> dict[str, Any]:
    return {
        "study": closing.study_id,
        "reason": closing.reason,
        "spreads": closing.spreads,
        "closed_by": closing.closed_by_id,
        "recorded_at": closing.recorded_at,
    }


def withdrawal_content(withdrawal: StudyWithdrawal) -> dict[str, Any]:
    return {
        "study": withdrawal.study_id,
        "reason": withdrawal.reason,
        "withdrawn_by": withdrawal.withdrawn_by_id,
        "recorded_at": withdrawal.recorded_at,
    }


def register() -> None:
    """Have studies, and all that was marked and said in them, compared with the trail."""
    studies = MeasurementStudy.objects.select_related("site", "criterion").prefetch_related(
        "photos__photo", "graders"
    )
    rebuilding.register_entries(
        [STUDY_MADE],
        MeasurementStudy._meta.db_table,
        by_number(studies, study_content),
        photos=Part(StudyPhoto._meta.db_table, ("order",)),
        graders=Part(StudyGrader._meta.db_table, ("user",)),
    )
    rebuilding.register_table(
        KeptTable(
            MeasurementStudy, "measurement-study", acts=(STUDY_MADE,), content_of=study_content
        )
    )
    register_rows(
        StudyReading,
        "measurement-study-reading",
        STUDY_MARKED,
        reading_content,
        StudyReading.objects.select_related("grader", "study_photo"),
    )
    register_rows(StudyReference, "measurement-study-reference", STUDY_REFERENCE, reference_content)
    register_rows(StudyClosing, "measurement-study-closing", STUDY_CLOSED, closing_content)
    register_rows(
        StudyWithdrawal, "measurement-study-withdrawal", STUDY_WITHDRAWN, withdrawal_content
    )

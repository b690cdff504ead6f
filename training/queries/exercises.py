"""What an exercise says, part by part: compared, copied, written down and shown by this alone."""

from collections.abc import Iterable
from typing import Any

from django.db.models import Max

from records.domain.shown import digest_of
from training.models import Exercise, ExerciseStep, Lesson, Position

HEAD = (
    "title",
    "summary",
    "purpose",
    "drawing",
    "tools",
    "cautions",
    "stages",
    "allowed_rejects",
    "pass_mark",
    "rework_allowed",
    "graders",
    "photographs_wanted",
    "alloy",
)
POSITION = (
    "name",
    "joint_type",
    "required",
    "wires",
    "wire_awg",
    "stranding",
    "insulation",
    "conductor_mm",
    "overall_mm",
    "forming",
    "clearance",
    "scope_code",
)
STEP_LATER = ("drawing", "shows", "cautions")
"""What steps came to say later: revisions from before were written down without it."""
STEP = ("stage", "text", "source", *STEP_LATER)


def said(row: Any, names: Iterable[str]) -> dict[str, Any]:
    return {name: getattr(row, name) for name in names}


def head_of(exercise: Exercise) -> dict[str, Any]:
    return said(exercise, HEAD)


def positions_of(exercise: Exercise) -> list[dict[str, Any]]:
    return [said(row, POSITION) for row in Position.objects.filter(exercise=exercise)]


def steps_of(exercise: Exercise) -> list[dict[str, Any]]:
    """The steps in the order of the work, whatever the order in which they were written down."""
    rows = ExerciseStep.objects.filter(exercise=exercise)
    return [said(row, STEP) for row in rows]


def head_digest(exercise: Exercise) -> str:
    return digest_of(head_of(exercise))


def positions_digest(exercise: Exercise) -> str:
    return digest_of({"positions": positions_of(exercise)})


def steps_digest(exercise: Exercise) -> str:
    return digest_of({"steps": steps_of(exercise)})


def content_of(exercise: Exercise) -> dict[str, Any]:
    """Everything that a revision says, read anew; what happened to it is no part of it."""
    return {
        "code": exercise.code,
        "revision": exercise.revision,
        **head_of(exercise),
        "source": exercise.source,
        "positions": positions_of(exercise),
        "steps": [_written(step) for step in steps_of(exercise)],
    }


def _written(step: dict[str, Any]) -> dict[str, Any]:
    """A step as it is written down: nothing of what came later where it says nothing of it."""
    return {name: value for name, value in step.items() if value or name not in STEP_LATER}


def draft_digest(exercise: Exercise) -> str:
    return digest_of(content_of(exercise))


def earlier_of(exercise: Exercise) -> Exercise | None:
    """The published revision before this one, which its next one is compared with."""
    return (
        Exercise.objects.published()
        .filter(code=exercise.code, revision__lt=exercise.revision)
        .order_by("-revision")
        .first()
    )


def last_revision(code: str) -> int:
    """The highest number that a revision of an exercise ever had; 0 where there is none."""
    return Exercise.objects.filter(code=code).aggregate(last=Max("revision"))["last"] or 0


def courses_naming(exercise: Exercise) -> list[str]:
    """Revisions of courses with a lesson on this revision, by code: ``HS-TERM, rev. 2``."""
    lessons = Lesson.objects.filter(exercise=exercise).select_related("course_revision__course")
    return sorted({str(lesson.course_revision) for lesson in lessons})

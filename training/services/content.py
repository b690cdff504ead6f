"""Loads the exercises and courses that the product brings along."""

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext_lazy as _

from people.models import User
from records.services import trail
from training.content import CourseContent, ExerciseContent
from training.content.courses import COURSES
from training.content.exercises import EXERCISES
from training.models import (
    Course,
    CourseRevision,
    Exercise,
    ExerciseStep,
    Lesson,
    Position,
)

from .exercise_drafts import DRAFTED

COURSE_DRAFTED = "course drafted"
CAME_ALONG = _("Came along to begin with; each step names its source. Adjust it before use.")


@dataclass(frozen=True)
class LoadResult:
    """Codes of what was added, and of what was there under its code and stayed as it is."""

    added: list[str]
    kept: list[str]


@transaction.atomic
def load_exercises(
    *, actor: User | str | None, at: datetime, exercises: Iterable[ExerciseContent] = EXERCISES
) -> LoadResult:
    """Add each exercise whose code is not known yet, as a draft; what a site has changed stays."""
    known = set(Exercise.objects.values_list("code", flat=True))
    added, kept = [], []
    for order, content in enumerate(exercises, start=1):
        if content.code in known:
            kept.append(content.code)
            continue
        added.append(_add_exercise(content, order, at))
    trail.record_many(
        actor=actor,
        act=DRAFTED,
        items=[
            (exercise, {"code": exercise.code, "revision": 1, "title": exercise.title})
            for exercise in added
        ],
        at=at,
    )
    return LoadResult([exercise.code for exercise in added], kept)


def _add_exercise(content: ExerciseContent, order: int, at: datetime) -> Exercise:
    exercise = Exercise.objects.create(
        code=content.code,
        title=content.title,
        summary=content.summary,
        purpose=content.purpose,
        drawing=content.drawing,
        tools=[asdict(tool) for tool in content.tools],
        cautions=list(content.cautions),
        stages=list(content.stages),
        allowed_rejects=content.rule.allowed_rejects,
        pass_mark=content.rule.pass_mark,
        rework_allowed=content.rule.rework_allowed,
        graders=content.rule.graders,
        photographs_wanted=content.photographs_wanted,
        alloy=content.alloy,
        source=str(CAME_ALONG),
        order=order,
        recorded_at=at,
    )
    ExerciseStep.objects.bulk_create(
        ExerciseStep(
            exercise=exercise,
            stage=step.stage,
            order=number,
            text=step.text,
            source=step.source,
            drawing=step.drawing,
            shows=step.shows,
            cautions=list(step.cautions),
        )
        for number, step in enumerate(content.steps, start=1)
    )
    Position.objects.bulk_create(
        Position(
            exercise=exercise,
            name=position.name,
            order=number,
            joint_type=position.joint_type,
            required=position.required,
            wires=position.wires,
            wire_awg=position.wire.awg,
            stranding=position.wire.stranding,
            insulation=position.wire.insulation,
            conductor_mm=position.wire.conductor_mm,
            overall_mm=position.wire.overall_mm,
            forming=position.forming,
            clearance=position.clearance,
            scope_code=position.scope_code,
        )
        for number, position in enumerate(content.positions, start=1)
    )
    return exercise


@transaction.atomic
def load_courses(
    *, actor: User | str | None, at: datetime, courses: Iterable[CourseContent] = COURSES
) -> LoadResult:
    """Add each course whose code is not known yet, with its lessons, as a draft.

    The exercises come first: a lesson is on the one in use, or on the draft where none is.
    """
    known = set(Course.objects.values_list("code", flat=True))
    exercises = {
        exercise.code: exercise
        for exercise in Exercise.objects.filter(retired_at__isnull=True).order_by(
            F("published_at").asc(nulls_first=True), "revision"
        )
    }
    added: list[Course] = []
    kept = []
    for content in courses:
        if content.code in known:
            kept.append(content.code)
            continue
        course = Course.objects.create(code=content.code, title=content.title)
        revision = CourseRevision.objects.create(
            course=course,
            revision=1,
            summary=content.summary,
            days=content.days,
            source=str(CAME_ALONG),
            recorded_at=at,
        )
        Lesson.objects.bulk_create(
            Lesson(
                course_revision=revision,
                order=number,
                day=lesson.day,
                title=lesson.title,
                text=lesson.text,
                minutes=lesson.minutes,
                kind=lesson.kind,
                exercise=exercises[lesson.exercise] if lesson.exercise else None,
            )
            for number, lesson in enumerate(content.lessons, start=1)
        )
        added.append(course)
    trail.record_many(
        actor=actor,
        act=COURSE_DRAFTED,
        items=[(course, {"code": course.code, "revision": 1}) for course in added],
        at=at,
    )
    return LoadResult([course.code for course in added], kept)

"""The exercises and courses that come along are added once, and what is there stays."""

import pytest

from records.models import TrailEntry
from tests.factories import NOW, make_exercise
from training.content.courses import COURSES
from training.content.exercises import EXERCISES
from training.models import Course, Exercise, Lesson
from training.services import content

pytestmark = pytest.mark.django_db


def load():
    return (
        content.load_exercises(actor="load_content", at=NOW),
        content.load_courses(actor="load_content", at=NOW),
    )


def test_everything_is_there_after_loading():
    exercises, courses = load()

    assert exercises.added == [exercise.code for exercise in EXERCISES]
    assert courses.added == [course.code for course in COURSES]
    for exercise in EXERCISES:
        row = Exercise.objects.get(code=exercise.code)
        positions = list(row.positions.all())
        assert [position.name for position in positions] == [p.name for p in exercise.positions]
        assert positions[0].insulation == exercise.positions[0].wire.insulation
        assert positions[0].conductor_mm == exercise.positions[0].wire.conductor_mm
        assert [step.text for step in row.steps.all()] == [step.text for step in exercise.steps]
        assert [(step.drawing, step.shows, tuple(step.cautions)) for step in row.steps.all()] == [
            (step.drawing, step.shows, step.cautions) for step in exercise.steps
        ]
        assert row.pass_mark == exercise.rule.pass_mark
        assert row.stage_list == list(exercise.stages)
        assert [tool["name"] for tool in row.tools] == [tool.name for tool in exercise.tools]
    terminals = Course.objects.get(code="HS-TERM").revisions.get()
    assert terminals.lessons.filter(exercise__code="EX-WIRE").exists()


def test_loading_again_adds_nothing():
    load()
    before = (Exercise.objects.count(), Lesson.objects.count(), TrailEntry.objects.count())

    exercises, courses = load()

    assert (exercises.added, courses.added) == ([], [])
    assert len(exercises.kept) == len(EXERCISES)
    assert before == (
        Exercise.objects.count(),
        Lesson.objects.count(),
        TrailEntry.objects.count(),
    )


def test_what_a_site_has_under_the_same_code_stays():
    make_exercise(code="EX-WIRE", title="Our own strip and tin")

    exercises, _courses = load()

    assert "EX-WIRE" in exercises.kept
    assert Exercise.objects.get(code="EX-WIRE").title == "Our own strip and tin"
    assert Lesson.objects.filter(exercise__title="Our own strip and tin").exists()

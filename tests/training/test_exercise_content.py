"""The exercises and courses brought along are complete and fit the tables they go into."""

import re
from decimal import Decimal

import pytest

from assessments.content.sources import LEAD_FREE
from tests.assessments.drawing_files import drawing
from training.content import STAGES, ExerciseContent, Wire
from training.content.cautions import CAUTIONS, CLOSING
from training.content.courses import COURSES
from training.content.exercises import EXERCISES
from training.content.wires import WIRES
from training.domain.wire import stranded_diameter_mm
from training.models import (
    Course,
    CourseRevision,
    Exercise,
    ExerciseStep,
    JointType,
    Lesson,
    Position,
    Tool,
)
from training.presenters import exercise_page

each_exercise = pytest.mark.parametrize("exercise", EXERCISES, ids=lambda exercise: exercise.code)
each_wire = pytest.mark.parametrize(
    "wire", WIRES, ids=lambda wire: f"{wire.awg} {wire.stranding} {wire.insulation}"
)
each_course = pytest.mark.parametrize("course", COURSES, ids=lambda course: course.code)

SOLDERED_ON_WIRE = {"turret", "bifurcated", "hook", "pierced", "cup"}


def test_every_kind_of_joint_with_an_exercise_is_there() -> None:
    assert [exercise.code for exercise in EXERCISES] == [
        "EX-WIRE",
        "EX-TUR-1",
        "EX-TUR-2",
        "EX-BIF",
        "EX-HOOK",
        "EX-PIERCE",
        "EX-CUP",
        "EX-HOLE",
        "EX-MIX",
        "EX-TUR-1-LF",
        "EX-CUP-LF",
        "EX-HOLE-LF",
    ]
    practised = {position.joint_type for exercise in EXERCISES for position in exercise.positions}
    assert practised == set(JointType.values)


def test_the_mixed_board_holds_what_its_drawing_shows() -> None:
    mixed = next(exercise for exercise in EXERCISES if exercise.code == "EX-MIX")
    kinds = [position.joint_type for position in mixed.positions]
    assert [kinds.count(kind) for kind in ("turret", "cup", "hole")] == [8, 6, 6]
    for first, last, kind in (("E01", "E08", "turret"), ("E09", "E14", "cup")):
        assert f"{first}–{last}" in drawing(mixed.drawing).text
        assert {p.joint_type for p in mixed.positions if first <= p.name <= last} == {kind}


@each_exercise
def test_positions_are_named_in_order(exercise: ExerciseContent) -> None:
    names = [position.name for position in exercise.positions]
    assert names == [f"E{number:02d}" for number in range(1, len(names) + 1)]
    assert 10 <= exercise.joints_required <= 20


@each_exercise
def test_positions_say_wire_forming_clearance_and_scope(exercise: ExerciseContent) -> None:
    for position in exercise.positions:
        assert position.forming
        assert position.scope_code in {"TERM-OP", "CUP-OP", "HOLE-OP", "WIRE-OP"}
        assert position.wires in (1, 2)
        if position.joint_type in SOLDERED_ON_WIRE:
            assert position.wire.overall_mm is not None
            assert "overall diameter" in position.clearance
        if position.joint_type == "hole":
            assert position.wire.overall_mm is None


@each_exercise
def test_every_stage_asked_for_has_its_steps_and_no_other_has(exercise: ExerciseContent) -> None:
    stages = [step.stage for step in exercise.steps]
    assert exercise.stages == tuple(stage for stage in STAGES if stage in exercise.stages)
    assert set(stages) == set(exercise.stages)
    assert stages == sorted(stages, key=STAGES.index), "steps stand in the order of the work"


@each_exercise
def test_every_step_is_a_sentence_with_its_source(exercise: ExerciseContent) -> None:
    texts = [step.text for step in exercise.steps]
    assert len(texts) == len(set(texts))
    for step in exercise.steps:
        assert step.text.endswith(".")
        assert step.source


@each_exercise
def test_a_step_warns_of_what_its_exercise_warns_of_and_its_drawing_judges_alike(
    exercise: ExerciseContent,
) -> None:
    named = {*exercise.cautions}
    known = named | {caution.code for caution in CAUTIONS if caution.goes_with in named}
    for step in exercise.steps:
        assert set(step.cautions) <= known
        judging = {"d-accept": "accept", "d-reject": "reject", "d-fault": "reject"}
        drawn = drawing(step.drawing).classes if step.drawing else []
        assert {judging[name] for name in drawn if name in judging} <= {step.shows}
        assert step.drawing or not step.shows
    warned = {code for step in exercise.steps for code in step.cautions}
    assert {"hot", "fume", "solvent", *(named & {"lead", "ptfe", "energy"})} - warned <= (
        {"energy"} if exercise.code == "EX-WIRE" else set()
    )
    assert sum(bool(step.drawing) for step in exercise.steps) * 2 >= len(exercise.steps)


@each_exercise
def test_tools_are_of_known_kinds_and_enough_to_do_the_work(exercise: ExerciseContent) -> None:
    kinds = [tool.kind for tool in exercise.tools]
    assert set(kinds) <= {*Tool.Kind.values, "bench"}
    assert {"iron", "tip", "magnifier", "lamp"} <= set(kinds)
    if any(position.wire.insulation for position in exercise.positions):
        assert {"mechanical_stripper", "thermal_stripper"} & set(kinds)
    assert len({tool.name for tool in exercise.tools}) == len(exercise.tools)


@each_exercise
def test_cautions_are_those_the_work_needs(exercise: ExerciseContent) -> None:
    assert set(exercise.cautions) <= {caution.code for caution in CAUTIONS}
    assert {"hot", "eyes", "fume", "solvent"} <= set(exercise.cautions)
    assert ("lead" in exercise.cautions) == (exercise.alloy not in LEAD_FREE)
    needs = any("TFE" in position.wire.insulation for position in exercise.positions)
    assert ("ptfe" in exercise.cautions) == needs


@each_exercise
def test_a_board_with_the_rejects_allowed_can_still_pass(exercise: ExerciseContent) -> None:
    rule, joints = exercise.rule, exercise.joints_required
    assert 0 <= rule.allowed_rejects < joints
    assert 1 <= rule.graders <= 2
    assert rule.rework_allowed >= 0
    heaviest = 25  # demerits of the heaviest criterion that is not critical
    left = Decimal(100 * joints - heaviest * rule.allowed_rejects) / joints
    assert Decimal(0) < rule.pass_mark <= left


@each_exercise
def test_drawing_shows_work_and_judges_nothing(exercise: ExerciseContent) -> None:
    assert not {"d-accept", "d-reject", "d-fault"} & set(drawing(exercise.drawing).classes)


@each_exercise
def test_exercise_fits_the_tables_it_is_kept_in(exercise: ExerciseContent) -> None:
    Exercise(
        code=exercise.code,
        title=exercise.title,
        summary=exercise.summary,
        purpose=exercise.purpose,
        drawing=exercise.drawing,
        tools=[{"kind": tool.kind, "name": tool.name} for tool in exercise.tools],
        cautions=list(exercise.cautions),
        stages=list(exercise.stages),
        allowed_rejects=exercise.rule.allowed_rejects,
        pass_mark=exercise.rule.pass_mark,
        rework_allowed=exercise.rule.rework_allowed,
        graders=exercise.rule.graders,
        photographs_wanted=exercise.photographs_wanted,
        alloy=exercise.alloy,
    ).clean_fields()
    for order, step in enumerate(exercise.steps):
        ExerciseStep(
            stage=step.stage,
            order=order,
            text=step.text,
            source=step.source,
            drawing=step.drawing,
            shows=step.shows,
            cautions=list(step.cautions),
        ).clean_fields(exclude=["exercise"])
    for order, position in enumerate(exercise.positions):
        Position(
            name=position.name,
            order=order,
            joint_type=position.joint_type,
            required=position.required,
            wires=position.wires,
            wire_awg=position.wire.awg,
            stranding=position.wire.stranding,
            conductor_mm=position.wire.conductor_mm,
            overall_mm=position.wire.overall_mm,
            forming=position.forming,
            clearance=position.clearance,
            scope_code=position.scope_code,
        ).clean_fields(exclude=["exercise"])


@each_wire
def test_conductor_is_as_thick_as_its_stranding_makes_it(wire: Wire) -> None:
    strands, strand_awg = (
        (1, wire.awg) if wire.stranding == "solid" else map(int, wire.stranding.split("/"))
    )
    assert float(wire.conductor_mm) == pytest.approx(
        stranded_diameter_mm(strands, strand_awg), abs=0.0005
    )


@each_wire
def test_overall_diameter_says_that_it_is_approximate(wire: Wire) -> None:
    if wire.overall_mm is None:
        assert not wire.insulation
        assert "bare lead" in wire.note
    else:
        assert wire.conductor_mm < wire.overall_mm < 3 * wire.conductor_mm
        assert "from memory" in wire.note


def test_cautions_cover_what_hurts_at_the_bench() -> None:
    assert [caution.code for caution in CAUTIONS] == [
        "hot",
        "eyes",
        "fume",
        "lead",
        "ptfe",
        "solvent",
        "energy",
        "burn",
        "fire",
        "esd",
        "expecting",
    ]
    for caution in CAUTIONS:
        assert caution.title
        assert caution.text.endswith(".")
        assert caution.brief.endswith(".")
        assert len(caution.brief) <= 90, "a line beside a step"
        assert caution.source.endswith(".")


@pytest.mark.parametrize("caution", CAUTIONS, ids=lambda caution: caution.code)
def test_each_caution_closes_with_whose_word_comes_first(caution) -> None:
    assert re.search(r"\b(rules?|law|data sheet|programme)\b", caution.defers_to)
    assert re.search(r"comes? first\b", caution.defers_to)
    assert caution.defers_to.endswith(".")


def test_cautions_that_came_later_are_shown_beside_those_an_exercise_names() -> None:
    shown = [caution.title for caution in exercise_page.cautions_with(["hot", "solvent"])]
    assert shown == [
        "Hot tip, hot work",
        "Solvents and flux",
        "If somebody is burnt",
        "Fire: solvent and hot iron",
    ]
    assert {caution.goes_with for caution in CAUTIONS} - {""} <= {
        caution.code for caution in CAUTIONS
    }


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("burn", ["cool running water", "first-aider", "doctor"]),
        ("burn", ["pull off nothing that sticks", "Rinse an eye"]),
        ("fire", ["vapour", "iron", "extinguisher"]),
        ("esd", ["wrist strap", "test it on the tester", "A strap that fails"]),
        ("expecting", ["unborn", "breast-fed", "tin-lead", "lead-free"]),
    ],
)
def test_a_caution_says_what_to_do(code: str, words: list[str]) -> None:
    caution = next(caution for caution in CAUTIONS if caution.code == code)
    assert all(word in caution.text for word in words)


@pytest.mark.parametrize(
    "variant", [one for one in EXERCISES if one.alloy], ids=lambda one: one.code
)
def test_a_lead_free_variant_is_the_same_work_with_another_alloy(variant: ExerciseContent) -> None:
    known = {exercise.code: exercise for exercise in EXERCISES}
    plain = known[variant.code.removesuffix("-LF")]
    assert variant.alloy in LEAD_FREE
    assert variant.positions == plain.positions
    assert variant.rule == plain.rule
    assert "lead-free" in variant.title
    told = " ".join(step.text for step in variant.steps)
    assert "kept for lead-free work" in told
    assert not [tool for tool in variant.tools if "tin-lead solder" in tool.name]


@each_exercise
def test_tip_temperatures_are_guidance_with_a_source(exercise: ExerciseContent) -> None:
    heats = [step for step in exercise.steps if "°C" in step.text]
    assert len(heats) == ("soldered" in exercise.stages)
    for heat in heats:
        assert "Guidance, not a limit" in heat.text
        assert "work instruction comes first" in heat.text
        assert re.search("common practice|at second hand", heat.source, re.IGNORECASE)
        assert ("lead-free" in heat.text) == bool(exercise.alloy)


def test_closing_sentence_sends_to_the_standard_and_local_rules() -> None:
    for words in ("governing standard", "local rules", "licensed safety practice"):
        assert words in CLOSING
    assert re.search(r"does not replace them\.$", CLOSING)


@each_course
def test_every_day_of_a_course_is_filled_and_none_is_too_long(course) -> None:
    days = [lesson.day for lesson in course.lessons]
    assert days == sorted(days)
    assert set(days) == set(range(1, course.days + 1))
    for day in set(days):
        assert 300 <= sum(lesson.minutes for lesson in course.lessons if lesson.day == day) <= 420


@each_course
def test_course_fits_the_tables_it_is_kept_in(course) -> None:
    codes = {exercise.code for exercise in EXERCISES}
    Course(code=course.code, title=course.title).clean_fields()
    CourseRevision(revision=1, summary=course.summary, days=course.days).clean_fields(
        exclude=["course"]
    )
    for order, lesson in enumerate(course.lessons):
        assert lesson.exercise in codes | {""}
        Lesson(
            order=order,
            day=lesson.day,
            title=lesson.title,
            text=lesson.text,
            minutes=lesson.minutes,
        ).clean_fields(exclude=["course_revision", "exercise"])


def test_every_exercise_is_taught_in_a_course() -> None:
    taught = {lesson.exercise for course in COURSES for lesson in course.lessons}
    assert {exercise.code for exercise in EXERCISES} <= taught

"""What drafts of exercises and courses say, line by line: shown, signed and compared by this."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from people.presenters import drawings
from records.domain.shown import Change, Line, Shown, changes
from training import ports
from training.content.cautions import CAUTIONS
from training.domain.position_names import written_as
from training.models import CourseRevision, Exercise, ExerciseStep, JointType, Lesson, Stage
from training.queries import courses as course_queries
from training.queries import exercises as queries
from training.queries.completed import named, titles_of

Lines = dict[str, Line]


def head_lines(head: Mapping[str, Any]) -> Lines:
    """What is said beside positions and steps, by the names of `queries.exercises.HEAD`."""
    rework = head["rework_allowed"]
    said = {
        _("Title"): head["title"],
        _("What is on the board"): head["summary"],
        _("What it is for"): head["purpose"],
        _("Drawing"): drawings.title_of(head["drawing"]) or head["drawing"],
        _("Stages"): ", ".join(str(Stage(stage).label) for stage in head["stages"]),
        _("Score at least"): f"{head['pass_mark'].normalize():f}",
        _("Rejected joints, at most"): str(head["allowed_rejects"]),
        _("Reworks a joint"): str(rework),
        _("Graders"): str(head["graders"]),
        _("Photographs"): _("asked for") if head["photographs_wanted"] else "",
        _("Solder alloy"): head["alloy"],
        _("Tools"): ", ".join(_(tool["name"]) for tool in head["tools"]),
        _("Cautions"): ", ".join(cautions_said(head["cautions"])),
    }
    return {what: Line(says) for what, says in said.items() if says}


def cautions_said(codes: Iterable[str]) -> list[str]:
    """The titles of cautions by their codes."""
    titles = {caution.code: _(caution.title) for caution in CAUTIONS}
    return [titles.get(code, code) for code in codes]


def position_lines(positions: Iterable[Mapping[str, Any]]) -> Lines:
    return {
        _("Position %(name)s") % {"name": position["name"]}: Line(position_says(position))
        for position in positions
    }


def position_says(position: Mapping[str, Any]) -> str:
    """How a position is made, in a line."""
    wire = [
        f"{position['wires']} ×" if position["wires"] > 1 else "",
        f"AWG {position['wire_awg']}" if position["wire_awg"] is not None else "",
        position["stranding"],
        position["insulation"],
        f"d {position['conductor_mm']} mm" if position["conductor_mm"] is not None else "",
        f"D {position['overall_mm']} mm" if position["overall_mm"] is not None else "",
    ]
    scope = position["scope_code"]
    words = [
        str(JointType(position["joint_type"]).label),
        "" if position["required"] else _("spare"),
        " ".join(filter(None, wire)),
        position["forming"],
        _("clearance: %(clearance)s") % {"clearance": position["clearance"]}
        if position["clearance"]
        else "",
        _("credited to %(scope)s") % {"scope": scope} if scope else "",
    ]
    return ", ".join(filter(None, words))


def step_lines(steps: Iterable[Mapping[str, Any]]) -> Lines:
    """Steps by stage and number: ``soldered, step 2``."""
    numbers: dict[str, int] = {}
    lines: Lines = {}
    for step in steps:
        stage = step["stage"]
        numbers[stage] = numbers.get(stage, 0) + 1
        what = _("%(stage)s, step %(n)d") % {"stage": Stage(stage).label, "n": numbers[stage]}
        lines[what] = Line(", ".join(_step_says(step)))
    return lines


def _step_says(step: Mapping[str, Any]) -> Iterator[str]:
    yield f"{step['text']} ({step['source']})"
    name = step.get("drawing", "")
    if name:
        shown = drawings.title_of(name) or name
        shows = step.get("shows", "")
        yield _("drawing: %(drawing)s") % {"drawing": shown} + (
            f" ({ExerciseStep.Shows(shows).label})" if shows else ""
        )
    if step.get("cautions"):
        yield _("cautions: %(cautions)s") % {"cautions": ", ".join(cautions_said(step["cautions"]))}


def exercise_lines(exercise: Exercise) -> Lines:
    return {
        **head_lines(queries.head_of(exercise)),
        **position_lines(queries.positions_of(exercise)),
        **step_lines(queries.steps_of(exercise)),
    }


def exercise_shown(exercise: Exercise, at: datetime) -> Shown:
    """What is shown of a draft to whoever publishes it."""
    return Shown(queries.draft_digest(exercise), at, exercise_lines(exercise))


def lines_changed(before: Lines, now: Lines, at: datetime) -> list[Change]:
    """What the one says otherwise than the other; positions that change alike stand in one line."""
    told = changes(Shown("before", at, before), Shown("now", at, now))
    prefix = _("Position %(name)s") % {"name": ""}
    merged: list[tuple[Change, list[str]]] = []
    for change in told:
        name = change.what.removeprefix(prefix)
        last = merged[-1] if merged else None
        is_position = change.what.startswith(prefix)
        if (
            last
            and is_position
            and last[1]
            and (last[0].was, last[0].now)
            == (
                change.was,
                change.now,
            )
        ):
            last[1].append(name)
        else:
            merged.append((change, [name] if is_position else []))
    return [
        Change(
            _("Position %(name)s") % {"name": written_as(names)} if names else change.what,
            change.was,
            change.now,
        )
        for change, names in merged
    ]


def exercise_differences(exercise: Exercise, at: datetime) -> list[Change]:
    """What a revision says otherwise than the published one before it; all it says, of a first."""
    earlier = queries.earlier_of(exercise)
    return lines_changed(exercise_lines(earlier) if earlier else {}, exercise_lines(exercise), at)


def unknown_scopes(codes: Iterable[str]) -> list[str]:
    """Codes among these by which no scope is known any more, or yet."""
    known = {code for code, _title in ports.scopes()}
    return sorted(set(filter(None, codes)) - known)


def scopes_said(codes: Iterable[str]) -> str:
    """A sentence about scopes that nobody knows; empty where all are known."""
    unknown = unknown_scopes(codes)
    if not unknown:
        return ""
    return ngettext(
        "There is no scope %(codes)s: joints credited to it lead to no certificate.",
        "There are no scopes %(codes)s: joints credited to them lead to no certificate.",
        len(unknown),
    ) % {"codes": ", ".join(unknown)}


# Courses


def course_lines(
    head: Mapping[str, Any], lessons: Iterable[Mapping[str, Any]], titles: Mapping[int, str]
) -> Lines:
    """What a course says; ``titles`` are those of exercises, by their keys."""
    scopes = dict(ports.scopes())
    said = {
        _("Summary"): head["summary"],
        _("Days"): str(head["days"]),
        _("Material"): ", ".join(head["material"].splitlines()),
        _("Leads to"): ", ".join(scopes.get(code, code) for code in head["scope_codes"]),
        _("After"): named(head["after_courses"], titles_of(head["after_courses"])),
    }
    lines = {what: Line(says) for what, says in said.items() if says}
    numbers: dict[int, int] = {}
    for lesson in lessons:
        day = lesson["day"]
        numbers[day] = numbers.get(day, 0) + 1
        what = _("Day %(day)d, lesson %(n)d") % {"day": day, "n": numbers[day]}
        lines[what] = Line(_lesson_says(lesson, titles))
    return lines


def _lesson_says(lesson: Mapping[str, Any], titles: Mapping[int, str]) -> str:
    minutes = lesson["minutes"]
    words = [
        lesson["title"],
        str(Lesson.Kind(lesson["kind"]).label) if lesson["kind"] else "",
        ngettext("%(n)d minute", "%(n)d minutes", minutes) % {"n": minutes},
        titles.get(lesson["exercise_id"] or 0, ""),
        lesson["material"],
        lesson["text"],
    ]
    return ", ".join(filter(None, words))


def revision_lines(revision: CourseRevision) -> Lines:
    lessons = course_queries.lessons_of(revision)
    keys = {lesson["exercise_id"] for lesson in lessons if lesson["exercise_id"]}
    titles = dict(Exercise.objects.filter(pk__in=keys).values_list("pk", "title"))
    return course_lines(course_queries.head_of(revision), lessons, titles)


def course_shown(revision: CourseRevision, at: datetime) -> Shown:
    return Shown(course_queries.draft_digest(revision), at, revision_lines(revision))


def course_differences(revision: CourseRevision, at: datetime) -> list[Change]:
    earlier = course_queries.earlier_of(revision)
    return lines_changed(revision_lines(earlier) if earlier else {}, revision_lines(revision), at)

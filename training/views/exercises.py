"""Exercises: the list, and one with all it takes to make it."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from people.access import UserRequest
from people.models import Role
from training.content.cautions import CAUTIONS, CLOSING
from training.models import Exercise, Position, Stage, Tool


@require_safe
@login_required
def exercise_list(request: UserRequest) -> HttpResponse:
    exercises = Exercise.objects.current()
    return render(request, "training/exercise_list.html", {"exercises": exercises})


@require_safe
@login_required
def exercise_detail(request: UserRequest, code: str) -> HttpResponse:
    """The newest revision of an exercise, or the one asked for by ``?revision=``."""
    revisions = list(Exercise.objects.filter(code=code).order_by("-revision"))
    asked = request.GET.get("revision", "")
    in_use = [one for one in revisions if one.retired_at is None] or revisions
    found = [one for one in revisions if str(one.revision) == asked] if asked else in_use
    if not found:
        raise Http404
    exercise = found[0]
    positions = list(exercise.positions.all())
    context = {
        "exercise": exercise,
        "revisions": [one for one in revisions if one.pk != exercise.pk],
        "positions": positions,
        "runs": list(alike(positions)),
        "required": sum(position.required for position in positions),
        "wires": wires_of(positions),
        "stages": steps_by_stage(exercise),
        "tools": tools_of(exercise),
        "cautions": cautions_of(exercise),
        "closing": _(CLOSING),
        "may_make": request.user.has_role(Role.INSTRUCTOR) and exercise.retired_at is None,
    }
    return render(request, "training/exercise_detail.html", context)


@dataclass(frozen=True)
class Run:
    """Neighbouring positions that are made alike."""

    first: Position
    last: Position
    count: int


def alike(positions: Iterable[Position]) -> Iterator[Run]:
    """Put neighbours together that differ in nothing but their name."""
    for _made, group in groupby(positions, key=_how_made):
        members = list(group)
        yield Run(members[0], members[-1], len(members))


def _how_made(position: Position) -> tuple[Any, ...]:
    return (
        position.joint_type,
        position.required,
        position.wires,
        *_wire(position),
        position.forming,
        position.clearance,
        position.scope_code,
    )


def _wire(position: Position) -> tuple[Any, ...]:
    return (
        position.wire_awg,
        position.stranding,
        position.insulation,
        position.conductor_mm,
        position.overall_mm,
    )


def wires_of(positions: Iterable[Position]) -> list[Position]:
    """One position for each wire that the exercise calls for, in their order."""
    seen: dict[tuple[Any, ...], Position] = {}
    for position in positions:
        if position.wire_awg is not None:
            seen.setdefault(_wire(position), position)
    return list(seen.values())


def steps_by_stage(exercise: Exercise) -> list[tuple[Stage, list]]:
    steps = list(exercise.steps.all())
    return [
        (stage, [step for step in steps if step.stage == stage.value])
        for stage in Stage
        if stage in exercise.stage_list or any(step.stage == stage.value for step in steps)
    ]


def tools_of(exercise: Exercise) -> list[dict[str, str]]:
    """The tools with the word for their kind; what lies on every bench has none."""
    kinds = dict(Tool.Kind.choices)
    return [
        {"name": _(tool["name"]), "kind": str(kinds.get(tool["kind"], ""))}
        for tool in exercise.tools
    ]


def cautions_of(exercise: Exercise) -> list[dict[str, str]]:
    return [
        {"title": _(one.title), "text": _(one.text), "source": one.source}
        for one in CAUTIONS
        if one.code in exercise.cautions
    ]

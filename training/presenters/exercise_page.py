"""What an exercise's page is filled from: its positions, wires, steps, tools and cautions."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.utils.translation import gettext as _

from training.content.cautions import CAUTIONS
from training.models import Exercise, Position, Stage, Tool


@dataclass(frozen=True)
class PositionRun:
    """Neighbouring positions that are made alike."""

    first: Position
    last: Position
    count: int


def position_runs(positions: Iterable[Position]) -> Iterator[PositionRun]:
    """Put neighbours together that differ in nothing but their name."""
    for _key, group in groupby(positions, key=_make):
        members = list(group)
        yield PositionRun(members[0], members[-1], len(members))


def _make(position: Position) -> tuple[Any, ...]:
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


def distinct_wires(positions: Iterable[Position]) -> list[Position]:
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


def tools_with_kinds(exercise: Exercise) -> list[dict[str, str]]:
    """The tools with the word for their kind; what lies on every bench has none."""
    kinds = dict(Tool.Kind.choices)
    return [
        {"name": _(tool["name"]), "kind": str(kinds.get(tool["kind"], ""))}
        for tool in exercise.tools
    ]


def cautions_for(exercise: Exercise) -> list[dict[str, str]]:
    """The cautions an exercise names, and those that go with them."""
    named = exercise.cautions
    return [
        {
            "title": _(caution.title),
            "text": _(caution.text),
            "defers_to": _(caution.defers_to),
            "source": caution.source,
        }
        for caution in CAUTIONS
        if caution.code in named or caution.goes_with in named
    ]

"""What an exercise's page is filled from: its positions, wires, steps, tools and cautions."""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from itertools import count, groupby
from typing import Any

from django.utils.translation import gettext as _

from people.presenters import drawings
from training.content import Caution
from training.content.cautions import CAUTIONS
from training.models import Exercise, ExerciseStep, Position, Stage, Tool


@dataclass(frozen=True)
class CautionShown:
    """A caution in the reader's language."""

    code: str
    title: str
    text: str
    brief: str
    defers_to: str
    source: str


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


@dataclass(frozen=True)
class StepShown:
    """A step with the cautions it needs, in a line each; `number` counts through all stages."""

    number: int
    step: ExerciseStep
    cautions: list[CautionShown]

    @property
    def drawing_title(self) -> str:
        return drawings.title_of(self.step.drawing) if self.step.drawing else ""


def steps_by_stage(exercise: Exercise) -> list[tuple[Stage, list[StepShown]]]:
    steps = list(exercise.steps.all())
    numbers = count(1)
    return [
        (
            stage,
            [
                StepShown(next(numbers), step, cautions_named(step.cautions))
                for step in steps
                if step.stage == stage.value
            ],
        )
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


def codes_of(exercise: Exercise) -> set[str]:
    """The cautions that an exercise or one of its steps names."""
    return {*exercise.cautions, *(code for step in exercise.steps.all() for code in step.cautions)}


def cautions_with(named: Collection[str]) -> list[CautionShown]:
    """The cautions named, and those that go with them."""
    return [
        shown for caution, shown in _worded() if caution.code in named or caution.goes_with in named
    ]


def cautions_named(codes: Collection[str]) -> list[CautionShown]:
    """Those named and no other, for beside a step."""
    return [shown for caution, shown in _worded() if caution.code in codes]


def _worded() -> Iterator[tuple[Caution, CautionShown]]:
    for caution in CAUTIONS:
        yield (
            caution,
            CautionShown(
                caution.code,
                _(caution.title),
                _(caution.text),
                _(caution.brief),
                _(caution.defers_to),
                caution.source,
            ),
        )

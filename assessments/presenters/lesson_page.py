"""A lesson for the wall: a screen for each step, and after each stage's steps what fails there."""

from collections.abc import Iterator
from dataclasses import dataclass, field

from assessments.models import Criterion
from training.models import Stage
from training.presenters.exercise_page import StepShown

from .exercise_shown import DrawingShown, ExerciseShown

FAULTS_A_SCREEN = 6
TICKS_EACH_SIDE = 20
"""So many steps before and after the one shown are led to, so that a page of 200 stays light."""
LENGTHS = {"short": 110, "middle": 200, "long": 400}
"""Characters of a step up to which it is set in each size; beyond, in the smallest."""


@dataclass
class StepScreen:
    """A step as the wall shows it."""

    stage: Stage
    shown: StepShown
    drawing: DrawingShown | None
    is_first_of_stage: bool
    fails: str = ""
    before: int = 0
    after: int = 0
    ticks: list["StepScreen"] = field(default_factory=list)

    @property
    def number(self) -> int:
        return self.shown.number

    @property
    def length(self) -> str:
        """How much is to be read: the shorter, the larger it is set."""
        n = len(self.shown.step.text)
        return next((name for name, most in LENGTHS.items() if n <= most), "longest")


@dataclass(frozen=True)
class FaultScreen:
    """Some of what fails at a stage; the names are those of screens of the same page."""

    name: str
    stage: Stage
    criteria: list[Criterion]
    step: int
    before: str
    after: str


@dataclass(frozen=True)
class LessonPage:
    steps: list[StepScreen]
    faults: list[FaultScreen]


def lesson_page(shown: ExerciseShown) -> LessonPage:
    """The screens of an exercise, each knowing those beside it."""
    faults = list(_fault_screens(shown))
    of_stage: dict[Stage, str] = {}
    for fault in faults:
        of_stage.setdefault(fault.stage, fault.name)
    steps = [
        StepScreen(stage, step, shown.drawing_of(step), place == 0, of_stage.get(stage, ""))
        for stage, of_it in shown.stages
        for place, step in enumerate(of_it)
    ]
    for place, screen in enumerate(steps):
        screen.before = steps[place - 1].number if place else 0
        screen.after = steps[place + 1].number if place + 1 < len(steps) else 0
        screen.ticks = steps[max(place - TICKS_EACH_SIDE, 0) : place + TICKS_EACH_SIDE + 1]
    return LessonPage(steps, faults)


def _fault_screens(shown: ExerciseShown) -> Iterator[FaultScreen]:
    first_steps = {stage: steps[0].number for stage, steps in shown.stages if steps}
    for stage, criteria in shown.criteria:
        drawn = [criterion for criterion in criteria if criterion.reject_drawing]
        starts = range(0, len(drawn), FAULTS_A_SCREEN)
        names = [f"fails-{stage.value}-{n}" for n in range(1, len(starts) + 1)]
        for place, start in enumerate(starts):
            if stage in first_steps:
                yield FaultScreen(
                    name=names[place],
                    stage=stage,
                    criteria=drawn[start : start + FAULTS_A_SCREEN],
                    step=first_steps[stage],
                    before=names[place - 1] if place else "",
                    after=names[place + 1] if place + 1 < len(names) else "",
                )

"""An exercise as it is taught: its steps with the criteria by which its boards are judged.

The lesson on the wall and the bench sheet are filled from this. A drawing of a step that
shows what a criterion limits is shown as that criterion's pages show it, so that none says a limit
that is not the limit.
"""

from dataclasses import dataclass
from functools import cached_property

from assessments.models import Board, CriteriaSet, Criterion, Grading
from assessments.queries import criteria_sets
from people.presenters import drawings
from training.models import Exercise, ExerciseStep, Position, Stage
from training.presenters import exercise_page
from training.presenters.exercise_page import CautionShown, StepShown

from .criterion_drawings import HIDDEN, family_of, shown_under


@dataclass(frozen=True)
class DrawingShown:
    """A drawing of a step; ``shows`` is ``accept``, ``reject`` or empty."""

    name: str
    shows: str
    title: str


@dataclass(frozen=True)
class ExerciseShown:
    """An exercise, or a board of it, with the set of criteria that judges it.

    ``made`` is the set, or None where none is published; ``alloy`` is what is soldered with.
    """

    exercise: Exercise
    made: CriteriaSet | None
    alloy: str
    board: Board | None = None

    @cached_property
    def positions(self) -> list[Position]:
        return list(self.exercise.positions.all())

    @cached_property
    def stages(self) -> list[tuple[Stage, list[StepShown]]]:
        return exercise_page.steps_by_stage(self.exercise)

    @cached_property
    def cautions(self) -> list[CautionShown]:
        return exercise_page.cautions_with(exercise_page.codes_of(self.exercise))

    @cached_property
    def criteria(self) -> list[tuple[Stage, list[Criterion]]]:
        """What is asked at each stage that asks for anything, of joints and of the board."""
        types = {position.joint_type for position in self.positions}
        asked = [
            (
                stage,
                [
                    criterion
                    for criterion in (self.made.all_criteria if self.made else [])
                    if criterion.stage == stage.value
                    and types.intersection(criterion.joint_types)
                    and (not criterion.alloys or self.alloy in criterion.alloys)
                ],
            )
            for stage in self.exercise.stage_list
        ]
        return [(stage, criteria) for stage, criteria in asked if criteria]

    @cached_property
    def _limiting(self) -> dict[str, Criterion]:
        """Criteria with limits by the families of their drawings."""
        limiting: dict[str, Criterion] = {}
        for _stage, criteria in self.criteria:
            for criterion in criteria:
                if criterion.low is not None or criterion.high is not None:
                    for name in (criterion.accept_drawing, *criterion.reject_drawings):
                        limiting.setdefault(family_of(name), criterion)
        return limiting

    def drawing_of(self, step: StepShown) -> DrawingShown | None:
        """The drawing of a step as the limits have it; None where it has none that fits them."""
        fitting = name = step.step.drawing
        criterion = self._limiting.get(family_of(name))
        if criterion is not None:
            accept = step.step.shows != ExerciseStep.Shows.REJECT
            fitting = shown_under(criterion, name, accept=accept)
        if not name or fitting.startswith(HIDDEN):
            return None
        title = drawings.title_of(fitting) or step.drawing_title
        return DrawingShown(fitting, step.step.shows, title)


def of_exercise(exercise: Exercise) -> ExerciseShown:
    """An exercise with the set in force, soldered as its boards are unless they say otherwise."""
    alloy = exercise.alloy or Board._meta.get_field("alloy").default
    return ExerciseShown(exercise, criteria_sets.set_for(exercise.code), alloy)


def of_board(board: Board) -> ExerciseShown:
    """A board with the set that it was begun to be judged by, else the one in force."""
    begun = (
        Grading.objects.counted().filter(board=board).select_related("criteria_set").order_by("-pk")
    )
    grading = begun.first()
    made = grading.criteria_set if grading else criteria_sets.set_for(board.exercise.code)
    return ExerciseShown(board.exercise, made, board.alloy, board)

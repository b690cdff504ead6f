"""What a class's tablet shows: trainees down, the stages of their boards across."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from uuid import UUID, uuid4

from django.urls import reverse
from django.utils.translation import gettext as _

from assessments import access
from assessments.domain.scoring import JointState
from assessments.exceptions import AssessmentError, MayNotGrade
from assessments.models import Board, Joint
from assessments.presenters import judgement_words
from assessments.queries.board_for_grader import BoardForGrader, boards_for_grader
from assessments.services import grading
from assessments.services.class_day import stays_to_be_judged
from people.models import Person, User
from people.presenters.days import format_day_with_weekday
from training.models import ClassSession, Exercise, Stage
from training.queries.classes import class_days

from .board_page import state_shown
from .grading_page import WHOLE_BOARD, reading_url

OPEN = JointState.OPEN.value
MOST_STAYS = 1  # criteria that a cell has room to name


@dataclass(frozen=True, slots=True)
class StageCell:
    """One stage of one board.

    `state` is signed, to_sign, not_made or open; `rest` is how many judgements one tap makes,
    0 where none may be made so; `stays` are the criteria to be judged by themselves, with at
    how many places each; `after` is the stage before that is open. `why_not` says of an open
    stage why one tap accepts nothing there.
    """

    stage: Stage
    state: str
    judged: int = 0
    places: int = 0
    rest: int = 0
    stays: tuple[tuple[str, int], ...] = ()
    after: Stage | None = None
    missing: tuple[str, ...] = ()
    url: str = ""
    photos: int = 0
    key: UUID = field(default_factory=uuid4)

    @property
    def why_not(self) -> str:
        if self.missing and self.state in ("open", "not_made"):
            return _("not made: %(names)s") % {"names": ", ".join(self.missing)}
        if self.state != "open" or self.rest:
            return ""
        if self.stays:
            shown = [f"{title}, {count}×" for title, count in self.stays[:MOST_STAYS]]
            if len(self.stays) > MOST_STAYS:
                shown.append(_("and %(n)d more") % {"n": len(self.stays) - MOST_STAYS})
            return _("to judge: %(criteria)s") % {"criteria": "; ".join(shown)}
        if self.after is not None:
            return _("after “%(stage)s”") % {"stage": self.after.label}
        return _("to judge one by one")


@dataclass(frozen=True, slots=True)
class BoardRow:
    """One board of a trainee; `closed` says why the user may not judge it, if they may not."""

    board: Board
    state: str
    cells: tuple[StageCell | None, ...]
    joints: tuple[Joint, ...]
    missing: tuple[str, ...] = ()
    closed: str = ""
    is_own: bool = False

    @property
    def takes_photos(self) -> bool:
        """Whether the camera is offered; a signed board opened again has it on its own page."""
        outcome = getattr(self.board, "outcome", None)
        return outcome is None or not outcome.complete


@dataclass(frozen=True, slots=True)
class Trainee:
    person: Person
    boards: tuple[BoardRow, ...]


@dataclass(frozen=True, slots=True)
class PositionsOf:
    """The positions of an exercise that can be judged across trainees, and from which stage."""

    exercise: Exercise
    names: tuple[str, ...]
    stages: tuple[Stage, ...]
    first: Stage
    boards: int


@dataclass(frozen=True, slots=True)
class ClassDay:
    session: ClassSession
    stages: tuple[Stage, ...]
    trainees: tuple[Trainee, ...]
    across: tuple[PositionsOf, ...]
    problem: str = ""
    held_next: str = ""

    @property
    def to_sign(self) -> int:
        """How many stages are judged to the end and wait for a signature alone."""
        cells = (cell for trainee in self.trainees for row in trainee.boards for cell in row.cells)
        return sum(cell is not None and cell.state == "to_sign" for cell in cells)

    @property
    def photographed(self) -> dict[str, dict]:
        """For the script: whose each board is, and its joints."""
        return {
            row.board.number: {
                "who": trainee.person.full_name,
                "joints": [[joint.pk, judgement_words.joint_name(joint)] for joint in row.joints],
            }
            for trainee in self.trainees
            for row in trainee.boards
        }


def class_day(session: ClassSession, user: User, now: datetime) -> ClassDay:
    """Lay out a class as one instructor has it before them, with a fixed number of queries."""
    day = session.site.today(now)
    boards = list(
        access.boards_of_class(user, session, day)
        .with_list_columns()
        .order_by("person__full_name", "number")
    )
    problem = ""
    try:
        all_for_grader = {
            for_grader.board.pk: for_grader for for_grader in boards_for_grader(boards, user)
        }
    except AssessmentError as error:
        all_for_grader, problem = {}, str(error)
    asked = {name for board in boards for name in board.exercise.stages}
    stages = tuple(stage for stage in Stage if stage in asked)
    refusals: dict[int, str] = {}
    rows: dict[int, list[BoardRow]] = {}
    for board in boards:
        own = access.is_own(user, board)
        if not own and board.exercise_id not in refusals:
            refusals[board.exercise_id] = _refusal(user, board, now)
        closed = "" if own else refusals[board.exercise_id]
        for_grader = all_for_grader.get(board.pk)
        cells: tuple[StageCell | None, ...] = ()
        if for_grader is not None and not own:
            asked_here = set(board.exercise.stages)
            cells = _in_order(
                _cell(for_grader, stage) if stage in asked_here else None for stage in stages
            )
        rows.setdefault(board.person_id, []).append(
            BoardRow(
                board=board,
                state=state_shown(board, access.may_see_outcome(user, board)),
                cells=cells,
                joints=tuple(for_grader.joints) if for_grader else (),
                missing=for_grader.missing if for_grader else (),
                closed=closed,
                is_own=own,
            )
        )
    people = [enrolment.person for enrolment in session.enrolments.select_related("person")]
    return ClassDay(
        session=session,
        stages=stages,
        trainees=tuple(Trainee(person, tuple(rows.get(person.pk, ()))) for person in people),
        across=_across(
            [
                for_grader
                for for_grader in all_for_grader.values()
                if not access.is_own(user, for_grader.board)
            ],
            refusals,
        ),
        problem=problem,
        held_next=_held_next(session, day),
    )


def _held_next(session: ClassSession, today: date) -> str:
    """A sentence where today is no day of the class; empty where it is."""
    days = class_days(session)
    if today in days:
        return ""
    if coming := [day for day in days if day > today]:
        return _("The class is not held today. Its next day is %(day)s.") % {
            "day": format_day_with_weekday(coming[0])
        }
    return _("The class is not held today. Its last day was %(day)s.") % {
        "day": format_day_with_weekday(days[-1])
    }


def _refusal(user: User, board: Board, now: datetime) -> str:
    try:
        grading.refuse_unless_may_grade(user, board, now)
    except MayNotGrade as error:
        return str(error)
    return ""


def _in_order(cells: Iterable[StageCell | None]) -> tuple[StageCell | None, ...]:
    """Stages as they follow each other: none is passed in one tap while one before it is open."""
    ordered: list[StageCell | None] = []
    for cell in cells:
        waits_for = next((one.stage for one in ordered if one and one.state == "open"), None)
        ordered.append(replace(cell, rest=0, after=waits_for) if cell and waits_for else cell)
    return tuple(ordered)


def _cell(for_grader: BoardForGrader, stage: Stage) -> StageCell:
    photos = sum(photo.stage == stage for photo in for_grader.photos)
    if stage.value in for_grader.closed:
        url = reading_url(for_grader.board, False, stage=stage.value)
        return StageCell(stage, "signed", url=url, photos=photos)
    judged = places = rest = 0
    stays: Counter[str] = Counter()
    first: dict[str, str] = {}
    for joint in for_grader.places(stage):
        state = for_grader.state(stage, joint)
        if joint is not None and not joint.position.required and state != OPEN:
            continue  # A spare joint that nobody began, or one that is judged.
        places += 1
        judged += state != OPEN
        for criterion in for_grader.asked(stage, joint):
            if for_grader.judgement(joint, criterion) is not None:
                continue
            if stays_to_be_judged(criterion):
                name = joint.position.name if joint else WHOLE_BOARD
                first = first or {"joint": name, "criterion": criterion.code}
                stays[criterion.title] += 1
            else:
                rest += 1
    is_open = judged < places
    state = "open" if is_open else "not_made" if for_grader.missing else "to_sign"
    url = reading_url(for_grader.board, False, stage=stage.value, **first)
    if state == "to_sign":
        url = reverse("assessments:stage_sign", args=[for_grader.board.number, stage.value])
    return StageCell(
        stage=stage,
        state=state,
        judged=judged,
        places=places,
        rest=rest if is_open and not stays and not for_grader.missing else 0,
        stays=tuple(stays.most_common()),
        missing=for_grader.missing,
        url=url,
        photos=photos,
    )


def _across(
    all_for_grader: Sequence[BoardForGrader], refusals: dict[int, str]
) -> tuple[PositionsOf, ...]:
    by_exercise: dict[int, list[BoardForGrader]] = {}
    for for_grader in all_for_grader:
        if not refusals.get(for_grader.board.exercise_id):
            by_exercise.setdefault(for_grader.board.exercise_id, []).append(for_grader)
    places = []
    for group in by_exercise.values():
        stages = group[0].stages
        opens = {
            stage: sum(stage.value not in for_grader.closed for for_grader in group)
            for stage in stages
        }
        if not any(opens.values()):
            continue
        waits = [
            stage
            for stage in stages
            if any(
                stage.value not in for_grader.closed and for_grader.open_places(stage)
                for for_grader in group
            )
        ]
        places.append(
            PositionsOf(
                exercise=group[0].board.exercise,
                names=tuple(position.name for position in group[0].positions),
                stages=tuple(stage for stage in stages if opens[stage]),
                first=(waits or [stage for stage in stages if opens[stage]])[0],
                boards=len(group),
            )
        )
    return tuple(places)

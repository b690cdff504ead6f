"""One position of an exercise on the boards of a whole class: where it stands, what comes next."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from assessments import access
from assessments.domain.scoring import JointState
from assessments.exceptions import AssessmentError
from assessments.models import Board, Joint, Photo
from assessments.queries.board_for_grader import BoardForGrader, boards_for_grader
from people.models import User
from training.models import ClassSession, Stage

from .grading_page import reading_url

OPEN = JointState.OPEN.value


@dataclass(frozen=True, slots=True)
class Stop:
    """The joint of one trainee; `state` is a joint's state, or signed."""

    board: Board
    state: str
    url: str
    current: bool


@dataclass(frozen=True, slots=True)
class PositionAcrossClass:
    session: ClassSession
    position: str
    stops: tuple[Stop, ...]
    previous_url: str
    next_url: str
    next_open_url: str
    ahead: tuple[Photo, ...]

    @property
    def number(self) -> int:
        return next(n for n, stop in enumerate(self.stops, start=1) if stop.current)

    @property
    def open_count(self) -> int:
        return sum(stop.state == OPEN for stop in self.stops)


def boards_of_exercise(
    session: ClassSession, user: User, exercise_id: int, now: datetime
) -> list[BoardForGrader]:
    """The boards of one exercise that the class has before it and the user may judge."""
    boards = list(
        access.boards_of_class(user, session, session.site.today(now))
        .filter(pk__in=access.boards_gradable_by(user).values("pk"), exercise=exercise_id)
        .with_list_columns()
        .order_by("person__full_name", "number")
    )
    try:
        return boards_for_grader(boards, user)
    except AssessmentError:  # Nothing to judge by, which the board's own screen says.
        return []


def position_across_class(
    session: ClassSession, for_grader: BoardForGrader, position: str, stage: Stage, now: datetime
) -> PositionAcrossClass | None:
    """The same position on every board like this one; None where this one is not among them."""
    found = [
        (board_for_grader, joint)
        for board_for_grader in boards_of_exercise(
            session, for_grader.user, for_grader.board.exercise_id, now
        )
        if (joint := _joint(board_for_grader, position)) is not None
    ]
    here = next(
        (
            n
            for n, (board_for_grader, _) in enumerate(found)
            if board_for_grader.board.pk == for_grader.board.pk
        ),
        None,
    )
    if here is None:
        return None
    stops = tuple(
        Stop(
            board=board_for_grader.board,
            state=_state(board_for_grader, stage, joint),
            url=url_of(session, board_for_grader.board, stage, position),
            current=n == here,
        )
        for n, (board_for_grader, joint) in enumerate(found)
    )
    ring = [*range(here + 1, len(found)), *range(here)]
    ahead = [n for n in ring if stops[n].state == OPEN]
    photos = [found[n][0].best_photo(found[n][1], stage) for n in [*ahead[:2], *ring[:1]]]
    return PositionAcrossClass(
        session=session,
        position=position,
        stops=stops,
        previous_url=stops[here - 1].url if here else "",
        next_url=stops[here + 1].url if here + 1 < len(stops) else "",
        next_open_url=stops[ahead[0]].url if ahead else "",
        ahead=tuple(dict.fromkeys(photo for photo in photos if photo is not None)),
    )


def first_stop(
    all_for_grader: Sequence[BoardForGrader], session: ClassSession, stage: Stage, position: str
) -> str:
    """Where to begin: the first board whose joint is open; empty where no board has the joint."""
    ranked = [
        (
            _state(board_for_grader, stage, joint) != OPEN,
            n,
            url_of(session, board_for_grader.board, stage, position),
        )
        for n, board_for_grader in enumerate(all_for_grader)
        if (joint := _joint(board_for_grader, position)) is not None
    ]
    return min(ranked)[2] if ranked else ""


def url_of(session: ClassSession, board: Board, stage: Stage, position: str) -> str:
    return reading_url(board, False, stage=stage.value, joint=position, across=session.number)


def _joint(for_grader: BoardForGrader, position: str) -> Joint | None:
    return next((joint for joint in for_grader.joints if joint.position.name == position), None)


def _state(for_grader: BoardForGrader, stage: Stage, joint: Joint) -> str:
    return "signed" if stage.value in for_grader.closed else for_grader.state(stage, joint)

"""What the page of a board shows: its joints, its photographs, and what may be done next."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.utils import timezone

from assessments import access
from assessments.models import Board, CannotTell, Joint, Photo, ToolWorkDecision
from assessments.queries import (
    board_corrections,
    board_results,
    board_tools,
    photo_room,
    tool_work,
)
from people.models import User
from training.queries.tool_fitness import unfit

from .board_readings import BoardReadings, readings_of
from .sendings import Sending, latest_sending


@dataclass(frozen=True, slots=True)
class BoardLine:
    """One board in a list: how far it has got, and since which day at its site."""

    board: Board
    state: str
    since: date
    today: date
    score: Decimal | None


@dataclass(frozen=True, slots=True)
class JointCell:
    """One joint in the map of the board, with its last photograph."""

    joint: Joint
    state: str
    photos: int
    last: Photo | None


@dataclass(frozen=True, slots=True)
class PhotoGroup:
    """The photographs of one joint, or of the whole board where there is no joint."""

    joint: Joint | None
    photos: tuple[Photo, ...]


@dataclass(frozen=True, slots=True)
class ToolUsed:
    """A tool that a board was made with, and why it could not be relied on that day, if so."""

    code: str
    why_unfit: str


@dataclass(frozen=True, slots=True)
class BoardScreen:
    cells: tuple[JointCell, ...]
    groups: tuple[PhotoGroup, ...]
    photo_count: int
    state: str
    shows_outcome: bool
    is_own: bool
    may_judge: bool
    may_add: bool
    closed_to_photos: str
    may_hand_in: bool
    may_take_back: bool
    may_correct: bool
    may_read_first: bool
    readings: BoardReadings
    tools: tuple[ToolUsed, ...]
    may_name_tools: bool
    tool_decisions: tuple[ToolWorkDecision, ...]
    asked: tuple[CannotTell, ...]
    sending: Sending | None

    @property
    def next_to_take(self) -> int | None:
        """The first joint that has no photograph, of those that are photographed in turn."""
        return next((cell.joint.pk for cell in self.cells if not cell.photos), None)

    @property
    def waits_for_others(self) -> bool:
        """Whether a board that is read in several has nothing left for this user to read."""
        readings = self.readings
        under_way = readings.two or readings.request is not None or bool(readings.handed_in)
        begun = self.state == "begun" or self.state == "again"
        return under_way and begun and self.may_judge and readings.wait in ("", "decision")


def asked_of(newest_first: Iterable[CannotTell]) -> tuple[CannotTell, ...]:
    """What graders ask for who could not tell from a photograph, one for each place and reading."""
    found: dict[tuple, CannotTell] = {}
    for asked in newest_first:
        found.setdefault((asked.grading_id, asked.joint_id, asked.criterion_id), asked)
    return tuple(found.values())


def board_lines(boards: Iterable[Board], user: User, now: datetime) -> list[BoardLine]:
    lines = []
    for board in boards:
        shows = access.may_see_outcome(user, board)
        state = state_shown(board, shows)
        since = board.handed_out_on
        if state in ("passed", "failed") and board.outcome.decided_at is not None:
            since = board.site.today(board.outcome.decided_at)
        elif board.cancelled_at is not None:
            since = board.site.today(board.cancelled_at)
        elif board.handed_in_at is not None:
            since = board.site.today(board.handed_in_at)
        score = getattr(board, "outcome", None) and board.outcome.score
        lines.append(
            BoardLine(board, state, since, board.site.today(now), score if shows else None)
        )
    return lines


def board_screen(board: Board, user: User) -> BoardScreen:
    """Lay out the page of one board for one user."""
    photos = list(
        board.photos.select_related("joint__position").order_by(
            "joint__position__order", "joint__make", "order", "id"
        )
    )
    by_joint: dict[int | None, list[Photo]] = {}
    for photo in photos:
        by_joint.setdefault(photo.joint_id, []).append(photo)
    joints = list(board.joints.select_related("position"))
    outcome = getattr(board, "outcome", None)
    signed = outcome is not None
    shows = outcome is not None and access.may_see_outcome(user, board)
    states = _states(board) if shows else {}
    groups = [PhotoGroup(None, tuple(by_joint.get(None, ())))]
    groups += [
        PhotoGroup(joint, tuple(by_joint[joint.pk])) for joint in joints if joint.pk in by_joint
    ]
    own = access.is_own(user, board)
    readings = readings_of(board, user)
    may_add = access.may_add_photos(user, board)
    judges = access.may_judge(user, board)
    open_to_work = board.disposed_at is None and board.cancelled_at is None
    return BoardScreen(
        cells=tuple(
            JointCell(joint, states.get(joint.pk, "open"), len(shown), shown[-1] if shown else None)
            for joint in joints
            for shown in [by_joint.get(joint.pk, [])]
        ),
        groups=tuple(group for group in groups if group.photos),
        photo_count=len(photos),
        state=state_shown(board, not readings.blind),
        shows_outcome=shows,
        is_own=own,
        may_judge=judges and open_to_work,
        may_add=may_add,
        closed_to_photos=photo_room.why_closed(board) if may_add else "",
        may_hand_in=may_add and (board.handed_in_at is None or bool(readings.out)) and open_to_work,
        may_take_back=may_add
        and open_to_work
        and not readings.out
        and not board_corrections.why_hand_in_stays(board),
        may_correct=judges
        and not (
            board_corrections.why_not_cancelled(board)
            and board_corrections.why_purpose_stays(board)
        ),
        readings=readings,
        may_read_first=own and not signed and board.cancelled_at is None,
        tools=_tools_used(board),
        may_name_tools=may_add and not board_tools.why_tools_stay(board, user),
        tool_decisions=tuple(tool_work.decisions_of(board)),
        asked=asked_of(access.cannot_tell_visible_to(user).filter(grading__board=board)),
        sending=latest_sending(photos, user) if may_add else None,
    )


def _tools_used(board: Board) -> tuple[ToolUsed, ...]:
    tools = list(board.tools.order_by("code"))
    reasons = unfit(tools, board_tools.day_made(board, timezone.now()))
    return tuple(ToolUsed(tool.code, reasons.get(tool.pk, "")) for tool in tools)


def _states(board: Board) -> dict[int, str]:
    reading = board_results.read_board(board)
    states = {
        joint.joint.pk: joint.result.state.value
        for joint in (*reading.joints, *reading.spare)
        if joint.joint is not None
    }
    for joint in reading.earlier:
        if joint.joint is not None:
            states[joint.joint.pk] = joint.state_for_statistics.value
    return states


def state_shown(board: Board, shows_outcome: bool) -> str:
    """Where a board has got to, for whoever may see what was judged of it or may not."""
    outcome = getattr(board, "outcome", None)
    is_closed = outcome is not None and outcome.complete and not shows_outcome
    return "again" if is_closed else state_of(board)


def state_of(board: Board) -> str:
    """Where a board has got to: a name for the state, not its word."""
    if board.cancelled_at is not None:
        return "cancelled"
    outcome = getattr(board, "outcome", None)
    if outcome is not None and outcome.complete:
        return "passed" if outcome.passed else "failed"
    if getattr(board, "is_sent_back", False):
        return "rework"
    if board.handed_in_at is None:
        return "bench"
    return "begun" if outcome is not None else "waiting"

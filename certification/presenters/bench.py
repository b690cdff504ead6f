"""The instructor's home page: what waits to be graded, and whom to see next."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from enum import StrEnum
from itertools import count, islice
from math import ceil
from typing import Any, cast

from django.db.models import Count, Max, Q, QuerySet

from assessments.access import boards_gradable_by, cannot_tell_visible_to
from assessments.models import Board, CannotTell, Grading
from assessments.models.boards import BoardQuerySet
from assessments.presenters.board_page import asked_of
from assessments.queries import pending_actions
from assessments.queries.judged_stages import judged_stages
from assessments.queries.pace import Pace, pace_at
from assessments.queries.pending_actions import PendingAction
from assessments.queries.tool_work import to_look_at
from certification.access import proposals_waiting_for
from certification.domain.disclosure import LAPSES
from certification.models import Proposal, StandingEnd, StandingSpan
from certification.queries.candidates import passed_lately
from people.models import Person, Role, User
from people.models.people import at_work_on
from people.queries.site_days import Days
from training.access import sessions_taught_by
from training.models import Calibration, ClassSession, Lesson, Stage, Tool
from training.models.courses import runs_on
from training.queries.classes import class_days, enrolled_ahead
from training.queries.tool_fitness import relied_on

from . import candidates_page, corrected_results, decide_page

LOOK_AHEAD = timedelta(days=60)
TOOLS_AHEAD = timedelta(days=30)
SHOWN = 12
MOST_COUNTED = 500
ASKED_SHOWN = 20  # of what graders ask for who could not tell from a photograph
NAMES_SHOWN = 6
ENDS_AT_ONCE = 100


@dataclass(frozen=True, slots=True)
class Due:
    """Something that ends, once: for somebody, with every scope that stops with it, or a tool's.

    ``sessions`` are the classes to come that they are in.
    """

    kind: str
    last_day: date
    person: Person | None = None
    scopes: tuple[str, ...] = ()
    scope_codes: tuple[str, ...] = ()
    tool: Tool | None = None
    sessions: tuple[ClassSession, ...] = ()


@dataclass(frozen=True, slots=True)
class ToSign:
    board: Board
    stage: Stage


@dataclass(frozen=True, slots=True)
class ToRead:
    """A board that was read before, and what it waits for now."""

    board: Board
    wait: PendingAction


class ToDoKind(StrEnum):
    """What a line of the list of what to do asks for."""

    SIGN = "sign"
    GRADE = "grade"
    SECOND = "second"
    DECISION = "decision"
    REWORK = "rework"
    ANOTHER = "another"
    ASKED = "asked"
    PROPOSE = "propose"
    DECIDE = "decide"
    CORRECTED = "corrected"
    TOOL_WORK = "tool_work"


# What is not judging takes minutes that nobody has timed.
ASSUMED_MINUTES = {
    ToDoKind.SIGN: 1.0,
    ToDoKind.ASKED: 2.0,
    ToDoKind.PROPOSE: 1.0,
    ToDoKind.DECIDE: 2.0,
    ToDoKind.CORRECTED: 2.0,
    ToDoKind.TOOL_WORK: 2.0,
}


@dataclass(frozen=True, slots=True)
class ToDo:
    """One thing that waits for the instructor: since when, and about how many minutes it takes.

    ``number`` and ``names`` are of what stands together in one line.
    """

    kind: ToDoKind
    since: datetime
    minutes: float
    board: Board | None = None
    stage: Stage | None = None
    asked: CannotTell | None = None
    tool: Tool | None = None
    number: int = 1
    names: tuple[str, ...] = ()
    is_first_board: bool = False


@dataclass(frozen=True, slots=True)
class ClassToday:
    """A class that is held today, which day of it this is, and what that day teaches."""

    session: ClassSession
    people: int
    day: int
    days: int
    lessons: list[Lesson]


@dataclass(frozen=True, slots=True)
class Bench:
    """Everything on the page, each list in the order of what comes first.

    ``to_do`` is what waits for the instructor, whatever it is, what has waited longest first;
    ``minutes`` is of all of it, boards too that are not on the page.
    """

    to_do: list[ToDo]
    minutes: int
    pace: Pace
    more_boards: int
    waiting: Sequence[Board]
    waiting_count: int
    to_sign: list[ToSign]
    readings: list[ToRead]
    at_bench_count: int
    due: list[Due]
    stopped: list[StandingSpan]
    classes: list[ClassToday]
    proposals_waiting: int


def bench_of(user: User, days: Days, now: datetime) -> Bench:
    """What waits for an instructor, with the day that it is at each of their sites."""
    boards = boards_gradable_by(user)
    waiting = boards.waiting().with_list_columns()
    # Few, and found once: inside another question it is asked of every board there ever was.
    read_by_several = list(pending_actions.read_in_several(boards).values_list("pk", flat=True))
    readings = _readings(user, boards.filter(pk__in=read_by_several))
    to_grade = waiting.exclude(pk__in=read_by_several)
    first = list(
        to_grade.annotate(
            joints_seen=Count(
                "gradings__judgements__joint", filter=Q(gradings__grader=user), distinct=True
            ),
        )[:SHOWN]
    )
    sites = user.sites_as(Role.INSTRUCTOR)
    due = sorted([*_tools(sites, days), *_due(sites, days)], key=lambda line: line.last_day)
    pace = pace_at(sites, now)
    to_sign = _to_sign(user, boards)
    beyond: list[Any] = list(
        to_grade.values_list("joint_count", "exercise__stages")[SHOWN:MOST_COUNTED]  # type: ignore[misc]
    )
    to_do = [
        *_signing(to_sign, user, now),
        *_grading(first, {one.board.pk for one in to_sign}, pace),
        *_reading(readings, pace),
        *_asked(user),
        *_to_propose(user, sites, days, now),
        *_to_decide(user),
        *_corrected(user, now),
        *_tool_work(user, sites),
    ]
    to_do.sort(key=lambda one: one.since)
    minutes = sum(one.minutes for one in to_do)
    minutes += sum(pace.minutes(joints, len(stages)) for joints, stages in beyond)
    enrolled = enrolled_ahead(
        {line.person.pk for line in due if line.person}, sessions_taught_by(user), days.first
    )
    return Bench(
        to_do=to_do,
        minutes=ceil(minutes),
        pace=pace,
        more_boards=len(beyond),
        waiting=first,
        waiting_count=waiting.count(),
        to_sign=to_sign,
        readings=readings,
        at_bench_count=boards.at_the_bench().count(),
        due=[
            replace(line, sessions=tuple(enrolled.get(line.person.pk, ()))) if line.person else line
            for line in due[:SHOWN]
        ],
        stopped=_stopped(sites, days),
        classes=_classes(sites, days),
        proposals_waiting=Proposal.objects.open().filter(person__site__in=sites).count(),
    )


def _signing(to_sign: Sequence[ToSign], user: User, now: datetime) -> list[ToDo]:
    """Stages judged to the end, waiting since the last word about them; several as one line."""
    judged_at = dict(
        Grading.objects.filter(board__in={one.board.pk for one in to_sign}, grader=user)
        .order_by()
        .values_list("board")
        .annotate(last=Max("judgements__judged_at"))
    )
    if not to_sign:
        return []
    alone = to_sign[0] if len(to_sign) == 1 else None
    return [
        ToDo(
            ToDoKind.SIGN,
            min(judged_at.get(one.board.pk) or now for one in to_sign),
            len(to_sign) * ASSUMED_MINUTES[ToDoKind.SIGN],
            board=alone.board if alone else None,
            stage=alone.stage if alone else None,
            number=len(to_sign),
            names=tuple(dict.fromkeys(one.board.number for one in to_sign))[:NAMES_SHOWN],
        )
    ]


def _grading(boards: Sequence[Board], judged: set[int], pace: Pace) -> list[ToDo]:
    """Boards that nobody else reads; one with a stage to sign is judged on after that."""
    lines: list[ToDo] = []
    for board in boards:
        if board.pk in judged:
            continue
        joints = board.joint_count  # type: ignore[attr-defined]
        begun = min(board.joints_seen / joints, 1) if joints else 0  # type: ignore[attr-defined]
        left = len(board.exercise.stages) - begun / 2
        lines.append(
            ToDo(
                ToDoKind.GRADE,
                cast(datetime, board.handed_in_at),
                pace.minutes(joints) * max(left, 0.5),
                board=board,
                is_first_board=not lines,
            )
        )
    return lines


def _reading(readings: Sequence[ToRead], pace: Pace) -> list[ToDo]:
    """Boards read before, with the clock of what they wait for now."""
    boards = [one.board.pk for one in readings]
    clocks = {
        pk: (signed_at, reworked_at)
        for pk, signed_at, reworked_at in Board.objects.filter(pk__in=boards)
        .order_by()
        .values_list("pk")
        .annotate(
            signed_at=Max("gradings__signings__signed_at"),
            reworked_at=Max("joints__rework__handed_in_at"),
        )
    }
    lines: list[ToDo] = []
    for one in readings:
        board, joints = one.board, one.board.joint_count  # type: ignore[attr-defined]
        signed_at, reworked_at = clocks[board.pk]
        since = cast(datetime, board.handed_in_at)
        stages = len(board.exercise.stages)
        match one.wait:
            case PendingAction.ANOTHER:
                since = board.reading_request.recorded_at
            case PendingAction.REWORK:
                since, stages = reworked_at or since, 1
            case PendingAction.DECISION:
                since, stages = signed_at or since, 1
            case PendingAction.SECOND:
                since = signed_at or since
        kind = ToDoKind.GRADE if one.wait == PendingAction.GRADING else ToDoKind(one.wait)
        lines.append(ToDo(kind, since, pace.minutes(joints, stages), board=board))
    return lines


def _asked(user: User) -> list[ToDo]:
    """What was asked for by graders who could not tell from a photograph."""
    return [
        ToDo(
            ToDoKind.ASKED,
            one.recorded_at,
            ASSUMED_MINUTES[ToDoKind.ASKED],
            board=one.grading.board,
            asked=one,
        )
        for one in asked_of(cannot_tell_visible_to(user)[:ASKED_SHOWN])
    ]


def _to_propose(user: User, sites: set[int], days: Days, now: datetime) -> list[ToDo]:
    """Whoever meets a scheme now and is not proposed, as one line for all of them."""
    found = passed_lately(sites, days, now, but=user.person_id or 0)
    ready = candidates_page.build(found, with_held=False, to_sign=False).ready
    if not ready:
        return []
    met_at = [
        max(cast(datetime, passed.board.outcome.decided_at) for passed in row.boards)
        for row in ready
        if row.boards
    ]
    return [
        ToDo(
            ToDoKind.PROPOSE,
            min(met_at, default=now),
            len(ready) * ASSUMED_MINUTES[ToDoKind.PROPOSE],
            number=len(ready),
            names=tuple(dict.fromkeys(row.person.full_name for row in ready))[:NAMES_SHOWN],
        )
    ]


def _to_decide(user: User) -> list[ToDo]:
    """Proposals that wait for an instructor who is quality too, as one line."""
    if not user.has_role(Role.QUALITY):
        return []
    waiting = decide_page.waiting(proposals_waiting_for(user))
    if waiting is None:
        return []
    minutes = waiting.count * ASSUMED_MINUTES[ToDoKind.DECIDE]
    return [ToDo(ToDoKind.DECIDE, waiting.since, minutes, number=waiting.count)]


def _corrected(user: User, now: datetime) -> list[ToDo]:
    """Certificates on a corrected result, for an instructor who is quality too, as one line."""
    lines = corrected_results.waiting_for(user, now) if user.has_role(Role.QUALITY) else []
    if not lines:
        return []
    return [
        ToDo(
            ToDoKind.CORRECTED,
            lines[0].since,
            len(lines) * ASSUMED_MINUTES[ToDoKind.CORRECTED],
            number=len(lines),
            names=tuple(line.certificate.number for line in lines)[:NAMES_SHOWN],
        )
    ]


def _readings(user: User, read_by_several) -> list[ToRead]:
    """Boards that wait for a second grader, a decision, an inspection or another reading."""
    boards = (
        read_by_several.filter(disposed_at__isnull=True)
        .with_list_columns()
        .order_by("handed_in_at")
    )
    readings = (
        ToRead(board, wait)
        for board in boards
        if not board.is_sent_back and (wait := pending_actions.pending_action_for(board, user))
    )
    # Each board is asked about by itself, so no further than the list goes.
    return list(islice(readings, SHOWN))


def _due(sites: set[int], days: Days) -> list[Due]:
    """The first of what ends soon: a large site has thousands of ends ahead, and shows a few."""

    def ends_soon(day: date) -> Q:
        return Q(last_day__range=(day, day + LOOK_AHEAD))

    ends = (
        StandingEnd.objects.filter(
            days.each(ends_soon, "span__person__site"),
            span__in=StandingSpan.objects.on_days(days).filter(
                standing="certified", person__site__in=sites
            ),
            span__person__in=Person.objects.filter(days.each(at_work_on, "site")),
        )
        .select_related("span__person", "span__scope")
        .order_by("last_day", "span__person__full_name", "span__scope__title", "pk")
    )
    grouped: dict[tuple[date, int, str], list[StandingEnd]] = {}
    last: StandingEnd | None = None
    for end in _read_in_parts(ends):
        is_next = last is None or (end.last_day, end.span.person.full_name) != (
            last.last_day,
            last.span.person.full_name,
        )
        if is_next and len(grouped) >= SHOWN:
            break
        last = end
        grouped.setdefault((end.last_day, end.span.person_id, end.kind), []).append(end)
    return [
        Due(
            person=group[0].span.person,
            kind=kind,
            last_day=last_day,
            scopes=tuple(end.span.scope.title for end in group),
            scope_codes=tuple(end.span.scope.code for end in group),
        )
        for (last_day, _person, kind), group in grouped.items()
    ]


def _read_in_parts(ends: QuerySet[StandingEnd]) -> Iterator[StandingEnd]:
    for start in count(0, ENDS_AT_ONCE):
        part = list(ends[start : start + ENDS_AT_ONCE])
        yield from part
        if len(part) < ENDS_AT_ONCE:
            return


def _stopped(sites: set[int], days: Days) -> list[StandingSpan]:
    """Standings that stopped by themselves within the last weeks, newest first."""

    def stopped_lately(day: date) -> Q:
        return Q(first_day__gte=day - LOOK_AHEAD, stands_since__gte=day - LOOK_AHEAD)

    return list(
        StandingSpan.objects.on_days(days)
        .filter(
            days.each(stopped_lately, "person__site"),
            person__site__in=sites,
            person__in=Person.objects.filter(days.each(at_work_on, "site")),
            standing__in=LAPSES,
        )
        .select_related("person", "scope", "certificate")
        .order_by("-stands_since")[:SHOWN]
    )


def _tool_work(user: User, sites: set[int]) -> list[ToDo]:
    """Tools found out of their limits, until somebody has looked at each board in question."""
    lines = []
    for work in to_look_at(Tool.objects.filter(site__in=sites)):
        boards = [each for each in work.undecided if each.board.person_id != user.person_id]
        if boards:
            names = dict.fromkeys(each.board.person.full_name for each in boards)
            lines.append(
                ToDo(
                    ToDoKind.TOOL_WORK,
                    work.calibration.recorded_at,
                    len(boards) * ASSUMED_MINUTES[ToDoKind.TOOL_WORK],
                    tool=work.calibration.tool,
                    number=len(boards),
                    names=tuple(names)[:NAMES_SHOWN],
                )
            )
    return lines


def _tools(sites: set[int], days: Days) -> list[Due]:
    """Tools whose latest calibration ends soon, has ended, or was not passed."""
    latest: dict[int, Calibration] = {}
    for calibration in (
        relied_on(Calibration.objects.filter(tool__site__in=sites))
        .select_related("tool")
        .order_by("calibrated_on", "pk")
    ):
        latest[calibration.tool_id] = calibration
    due = []
    for calibration in latest.values():
        if not calibration.passed:
            due.append(
                Due(kind="not_passed", last_day=calibration.calibrated_on, tool=calibration.tool)
            )
        elif calibration.valid_through <= days.at(calibration.tool.site_id) + TOOLS_AHEAD:
            due.append(
                Due(kind="calibration", last_day=calibration.valid_through, tool=calibration.tool)
            )
    return due


def _to_sign(user: User, boards: BoardQuerySet) -> list[ToSign]:
    """Stages that the user has judged to the end and not signed."""
    return [
        ToSign(judged.grading.board, judged.stage)
        for judged in judged_stages(user, boards)
        if judged.is_complete
    ]


def _classes(sites: set[int], days: Days) -> list[ClassToday]:
    """Classes that are held on the day; a day between two of their days is none."""
    running = (
        ClassSession.objects.filter(days.each(runs_on, "site"), site__in=sites)
        .select_related("course_revision__course", "site")
        .prefetch_related("course_revision__lessons", "days")
        .annotate(enrolled=Count("enrolments"))
        .order_by("number")
    )
    held = []
    for session in running:
        held_on, today = class_days(session), days.at(session.site_id)
        which = held_on.index(today) + 1
        lessons = [
            lesson for lesson in session.course_revision.lessons.all() if lesson.day == which
        ]
        held.append(ClassToday(session, session.enrolled, which, len(held_on), lessons))
    return held

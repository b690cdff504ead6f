"""The instructor's home page: what waits to be graded, and whom to see next."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import islice

from django.db.models import Count, Q

from assessments.access import boards_gradable_by
from assessments.models import Board
from assessments.models.boards import BoardQuerySet
from assessments.queries import pending_actions
from assessments.queries.judged_stages import judged_stages
from assessments.queries.pending_actions import PendingAction
from certification.domain.disclosure import LAPSES
from certification.models import Proposal, StandingEnd, StandingSpan
from people.models import Person, Role, User
from people.models.people import at_work_on
from people.queries.site_days import Days
from training.models import Calibration, ClassSession, Lesson, Stage, Tool
from training.models.courses import runs_on
from training.queries.classes import class_days

LOOK_AHEAD = timedelta(days=60)
TOOLS_AHEAD = timedelta(days=30)
SHOWN = 12


@dataclass(frozen=True, slots=True)
class Due:
    """Something that ends, once: for somebody, with every scope that stops with it, or a tool's."""

    kind: str
    last_day: date
    person: Person | None = None
    scopes: tuple[str, ...] = ()
    scope_codes: tuple[str, ...] = ()
    tool: Tool | None = None


@dataclass(frozen=True, slots=True)
class ToSign:
    board: Board
    stage: Stage


@dataclass(frozen=True, slots=True)
class ToRead:
    """A board that was read before, and what it waits for now."""

    board: Board
    wait: PendingAction


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
    """Everything on the page, each list in the order of what comes first."""

    waiting: Sequence[Board]
    waiting_count: int
    to_sign: list[ToSign]
    readings: list[ToRead]
    at_bench_count: int
    due: list[Due]
    stopped: list[StandingSpan]
    classes: list[ClassToday]
    proposals_waiting: int

    @property
    def boards_to_sign(self) -> int:
        return len({line.board.pk for line in self.to_sign})


def bench_of(user: User, days: Days) -> Bench:
    """What waits for an instructor, with the day that it is at each of their sites."""
    boards = boards_gradable_by(user)
    waiting = boards.waiting().with_list_columns()
    read_by_several = pending_actions.read_in_several(boards)
    readings = _readings(user, read_by_several)
    first = list(
        waiting.exclude(pk__in=read_by_several.values("pk")).annotate(
            joints_seen=Count(
                "gradings__judgements__joint", filter=Q(gradings__grader=user), distinct=True
            ),
        )[:SHOWN]
    )
    sites = user.sites_as(Role.INSTRUCTOR)
    due = sorted([*_tools(sites, days), *_due(sites, days)], key=lambda line: line.last_day)
    return Bench(
        waiting=first,
        waiting_count=waiting.count(),
        to_sign=_to_sign(user, boards),
        readings=readings,
        at_bench_count=boards.at_the_bench().count(),
        due=due[:SHOWN],
        stopped=_stopped(sites, days),
        classes=_classes(sites, days),
        proposals_waiting=Proposal.objects.open().filter(person__site__in=sites).count(),
    )


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
        .order_by("last_day", "span__person__full_name", "span__scope__title")
    )
    grouped: dict[tuple[date, int, str], list[StandingEnd]] = {}
    for end in ends:
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


def _tools(sites: set[int], days: Days) -> list[Due]:
    """Tools whose latest calibration ends soon, has ended, or was not passed."""
    latest: dict[int, Calibration] = {}
    for calibration in (
        Calibration.objects.filter(tool__site__in=sites, tool__retired_on__isnull=True)
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

"""Boards that were made or judged with a tool while nobody can say that it was good."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from django.db.models import (
    BooleanField,
    Count,
    Exists,
    ExpressionWrapper,
    Max,
    OuterRef,
    Q,
    QuerySet,
)

from assessments.models import Board, Grading, Judgement, Rework, StageSigning, ToolWorkDecision
from training.domain.tool_fitness import Doubt, Stretch
from training.models import Calibration, Tool, ToolOutOfService
from training.queries.tool_fitness import found_out_of_limits, out_since_earlier

Cause = Calibration | ToolOutOfService
"""What says of a tool that it was not to be relied on."""
Made = dict[int, tuple[date, date | None]]
Judged = dict[int, tuple[int, date]]


@dataclass(frozen=True, slots=True)
class QuestionedBoard:
    """One board, what was done with the tool, and what was decided of it last.

    Attributes
    ----------
    made_from, made_to : date or None
        Where it was made with the tool: from its hand-out to its last hand-in, None while it is
        with its maker. ``made_from`` is None where it was only judged with it.
    judged : int
        How many judgements were made with the tool on days in doubt.
    judged_on : date or None
        The last such day.
    """

    board: Board
    made_from: date | None
    made_to: date | None
    judged: int
    judged_on: date | None
    decision: ToolWorkDecision | None


@dataclass(frozen=True, slots=True)
class QuestionedWork:
    """What one calibration puts in question; the boards that nobody has looked at first."""

    calibration: Calibration
    doubt: Doubt
    boards: tuple[QuestionedBoard, ...]

    @property
    def undecided(self) -> list[QuestionedBoard]:
        return [each for each in self.boards if each.decision is None]


@dataclass(frozen=True, slots=True)
class WorkWhileOut:
    """What was done with a tool on days on which, as was entered later, it was out of service.

    It is told and not decided on: being out says nothing of how good the tool was. A calibration
    as it was found does, and puts this work in question where it was not.
    """

    period: ToolOutOfService
    stretch: Stretch
    boards: tuple[QuestionedBoard, ...]


def questioned_work(tools: QuerySet[Tool]) -> list[QuestionedWork]:
    """For each calibration that found one of these tools out of its limits, the work in doubt.

    It is worked out of what is known now, so a calibration that is recorded late about an
    earlier day puts the same boards in question as one that was recorded on it. Boards that
    were cancelled are none, and how makers judged for themselves counts for nothing.
    """
    doubts = found_out_of_limits(tools)
    if not doubts:
        return []
    boards, made, judged = _boards_with(doubts)
    decisions: dict[tuple[int, int], ToolWorkDecision] = {}
    for decision in ToolWorkDecision.objects.filter(calibration__in=doubts).select_related(
        "decided_by__person"
    ):
        decisions[decision.calibration_id, decision.board_id] = decision
    found = []
    for calibration, doubt in doubts.items():
        of_calibration = {
            board: decision for (key, board), decision in decisions.items() if key == calibration.pk
        }
        questioned = _questioned(
            boards, made[calibration.pk], judged[calibration.pk], of_calibration
        )
        found.append(QuestionedWork(calibration, doubt, questioned))
    return found


def work_while_out(tools: QuerySet[Tool]) -> list[WorkWhileOut]:
    """For each period out of service that was entered about an earlier day, the work meanwhile."""
    periods = out_since_earlier(tools)
    if not periods:
        return []
    boards, made, judged = _boards_with(periods)
    return [
        WorkWhileOut(period, stretch, _questioned(boards, made[period.pk], judged[period.pk], {}))
        for period, stretch in periods.items()
    ]


def _questioned(
    boards: Mapping[int, Board],
    made: Made,
    judged: Judged,
    decisions: Mapping[int, ToolWorkDecision],
) -> tuple[QuestionedBoard, ...]:
    """The boards made or judged, those that nobody has looked at first."""
    questioned = []
    for key in {*made, *judged}:
        made_from, made_to = made.get(key) or (None, None)
        count, judged_on = judged.get(key) or (0, None)
        questioned.append(
            QuestionedBoard(boards[key], made_from, made_to, count, judged_on, decisions.get(key))
        )
    questioned.sort(
        key=lambda each: (
            each.decision is not None,
            each.board.person.full_name,
            each.board.number,
        )
    )
    return tuple(questioned)


def _boards_with(
    doubts: Mapping[Any, Stretch],
) -> tuple[dict[int, Board], dict[int, Made], dict[int, Judged]]:
    """The boards made or judged in doubt, by their keys; and of each cause which, by its key.

    Parameters
    ----------
    doubts : mapping of Cause to Stretch
        All calibrations, or all periods out of service.
    """
    made = _made_with(doubts)
    judged = {cause.pk: _judged_with(cause, doubts[cause]) for cause in doubts}
    keys = {key for of in made.values() for key in of} | {
        key for of in judged.values() for key in of
    }
    return Board.objects.select_related("person", "exercise", "site").in_bulk(keys), made, judged


def _made_with(doubts: Mapping[Any, Stretch]) -> dict[int, Made]:
    """By cause the boards made in doubt, each with its first and last day of making."""
    asked = Q()
    for cause, doubt in doubts.items():
        of_tool = Q(tool=cause.tool_id, board__cancelled_at__isnull=True)
        if doubt.last_day is not None:
            of_tool &= Q(board__handed_out_on__lte=doubt.last_day)
        if doubt.first_day is not None:
            begins = _begins(cause, doubt.first_day)
            later = Rework.objects.filter(joint__board=OuterRef("board")).filter(
                Q(handed_in_at__isnull=True) | Q(handed_in_at__gte=begins)
            )
            of_tool &= (
                Q(board__handed_in_at__isnull=True)
                | Q(board__handed_in_at__gte=begins)
                | Q(Exists(later))
            )
        asked |= of_tool
    reworked = Rework.objects.filter(joint__board=OuterRef("board"), handed_in_at__isnull=True)
    rows = (
        Board.tools.through.objects.filter(asked)
        .annotate(
            is_out=ExpressionWrapper(Exists(reworked), output_field=BooleanField()),
            reworked_at=Max("board__joints__rework__handed_in_at"),
        )
        .values_list(  # type: ignore[misc] # the annotations above
            "tool",
            "board",
            "board__handed_out_on",
            "board__handed_in_at",
            "board__disposed_at",
            "reworked_at",
            "is_out",
        )
    )
    found: dict[int, Made] = {cause.pk: {} for cause in doubts}
    by_tool: dict[int, list[Cause]] = defaultdict(list)
    for cause in doubts:
        by_tool[cause.tool_id].append(cause)
    for tool_id, board_id, first, handed_in, disposed, reworked_at, is_out in rows:
        for cause in by_tool[tool_id]:
            site = cause.tool.site
            over = max((at for at in (handed_in, reworked_at) if at), default=disposed)
            last = None if over is None or (is_out and disposed is None) else site.today(over)
            if doubts[cause].touches(first, max(first, last or date.max)):
                found[cause.pk][board_id] = (first, last)
    return found


def _judged_with(cause: Cause, doubt: Stretch) -> Judged:
    """The boards that graders judged with the tool in doubt: how often, and the last day of it."""
    judgements = Judgement.objects.filter(tool=cause.tool_id).exclude(
        grading__kind=Grading.Kind.OWN
    )
    if doubt.first_day is not None:
        judgements = judgements.filter(judged_at__gte=_begins(cause, doubt.first_day))
    if doubt.last_day is not None:
        over = _begins(cause, doubt.last_day + timedelta(days=1))
        judgements = judgements.filter(judged_at__lt=over)
    rows = (
        judgements.filter(grading__board__cancelled_at__isnull=True)
        .order_by()
        .values_list("grading__board")
        .annotate(count=Count("pk"), last=Max("judged_at"))
    )
    site = cause.tool.site
    return {board: (count, site.today(last)) for board, count, last in rows}


def _begins(cause: Cause, day: date) -> datetime:
    """The instant at which a day begins where the tool is."""
    return datetime.combine(day, time(), cause.tool.site.zone).astimezone(UTC)


def to_look_at(tools: QuerySet[Tool]) -> list[QuestionedWork]:
    """What of it holds boards that nobody has looked at."""
    return [work for work in questioned_work(tools) if work.undecided]


def to_do_again(boards: QuerySet[Board]) -> dict[int, ToolWorkDecision]:
    """What says of boards that they are made or judged again because of a tool, by their keys.

    Of each calibration that stands the last decision counts. Whoever signed a stage after it was
    decided that a board is judged again has judged it again.
    """
    last: dict[tuple[int, int], ToolWorkDecision] = {}
    standing = ToolWorkDecision.objects.filter(calibration__withdrawal__isnull=True)
    for decision in standing.filter(board__in=boards).order_by("pk"):
        last[decision.calibration_id, decision.board_id] = decision
    again: dict[int, ToolWorkDecision] = {}
    waiting: dict[int, ToolWorkDecision] = {}
    for decision in last.values():
        if decision.decision == ToolWorkDecision.Decision.MAKE_AGAIN:
            again[decision.board_id] = decision
        elif decision.decision == ToolWorkDecision.Decision.JUDGE_AGAIN:
            waiting[decision.board_id] = decision
    if not waiting:
        return again
    signed = StageSigning.objects.filter(grading__board__in=waiting).order_by()
    for key, at in signed.values_list("grading__board").annotate(Max("signed_at")):
        if at > waiting[key].recorded_at:
            del waiting[key]
    return waiting | again


def decisions_of(board: Board) -> Sequence[ToolWorkDecision]:
    """What was decided of a board because of its tools, the last of each calibration that
    stands."""
    last: dict[int, ToolWorkDecision] = {}
    rows = board.tool_work_decisions.select_related("calibration__tool", "decided_by__person")
    for decision in rows.filter(calibration__withdrawal__isnull=True):
        last[decision.calibration_id] = decision
    return list(last.values())

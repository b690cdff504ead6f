"""What was rejected, and of how much: first attempts on boards judged to the end.

A first attempt is the first make of a joint that its exercise requires, or the board as a whole.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from enum import StrEnum
from typing import Any, cast

from django.db.models import Q

from assessments.domain import readings, scoring
from assessments.domain.failure_rates import FailureRate, failure_rates
from assessments.models import Board, Joint
from assessments.models.boards import BoardQuerySet
from people.models import Site

from .effective_judgements import EffectiveJudgements, effective_on

MOST_BOARDS = 500
"""Boards that are looked at, those handed in last; each is read whole."""
JUDGED = (scoring.Outcome.ACCEPT, scoring.Outcome.REJECT)


class By(StrEnum):
    """What failures are counted by."""

    CRITERION = "criterion"
    EXERCISE = "exercise"
    CLASS = "class"
    MONTH = "month"


@dataclass(frozen=True, slots=True)
class Attempt:
    """A first attempt with its judgements that count, by the code of their criterion.

    ``state`` is how the joint went; of a whole board there is no ``joint``.
    """

    board: Board
    joint: Joint | None
    state: scoring.JointState
    rows: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Judged:
    """One thing that is counted: a joint, or by criterion its judgement under that one."""

    key: str
    attempt: Attempt
    is_rejected: bool


@dataclass(frozen=True, slots=True)
class BoardsLookedAt:
    """The boards that are counted, those handed in last first, of how many there are."""

    boards: tuple[Board, ...]
    found: int

    @property
    def is_cut(self) -> bool:
        return self.found > len(self.boards)


def handed_in_since(sites: Iterable[Site], months: int, now: datetime) -> Q:
    """Boards handed in this month or in the months before it, as calendars at each site have it.

    Parameters
    ----------
    months : int
        How many, this month among them.
    """
    of_site = Q(pk__in=[])
    for site in sites:
        midnight = datetime.combine(first_month(site.today(now), months), time.min, site.zone)
        of_site |= Q(site=site, handed_in_at__gte=midnight)
    return of_site


def first_month(today: date, months: int) -> date:
    """The first day of the earliest of so many months, of which this one is the last.

    Examples
    --------
    >>> first_month(date(2026, 3, 31), 12)
    datetime.date(2025, 4, 1)
    """
    year, month = divmod(today.year * 12 + today.month - months, 12)
    return date(year, month + 1, 1)


def boards_looked_at(boards: BoardQuerySet) -> BoardsLookedAt:
    """The last of these boards, as many as are looked at."""
    latest = boards.select_related("site", "session__course_revision__course").prefetch_related(
        "exercise__positions"
    )
    read = tuple(latest.order_by("-handed_in_at", "-pk")[:MOST_BOARDS])
    return BoardsLookedAt(read, len(read) if len(read) < MOST_BOARDS else boards.count())


def attempts_on(boards: Sequence[Board]) -> list[Attempt]:
    """The first attempts on these boards, in the order given and in that of each board."""
    return [attempt for effective in effective_on(boards) for attempt in _first(effective)]


def _first(effective: EffectiveJudgements) -> Iterator[Attempt]:
    by_joint: dict[int | None, dict[str, Any]] = {}
    for (joint_id, code), row in effective.by_place.items():
        by_joint.setdefault(joint_id, {})[code] = row
    signed_board = effective.board
    first = [joint for joint in signed_board.makes if joint.make == 1 and joint.position.required]
    for joint in (*first, None):
        rows = by_joint.get(joint.pk if joint else None, {})
        rules = effective.rules[joint.position.joint_type if joint else None]
        outcomes = {code: scoring.Outcome(row.outcome) for code, row in rows.items()}
        state = readings.state_for_statistics(scoring.joint_result(rules, outcomes))
        yield Attempt(signed_board.board, joint, state, rows)


def judged_by(by: By, attempts: Iterable[Attempt]) -> Iterator[Judged]:
    """What is counted of first attempts: by criterion every judgement, else every joint.

    What is not applicable was not judged, and a joint that was left open neither: one that
    was made again before it was finished counts as rejected if it was.
    """
    for attempt in attempts:
        if by == By.CRITERION:
            for code, row in attempt.rows.items():
                if row.outcome in JUDGED:
                    yield Judged(code, attempt, row.outcome == scoring.Outcome.REJECT)
        elif attempt.joint is not None and attempt.state != scoring.JointState.OPEN:
            is_rejected = attempt.state == scoring.JointState.REJECTED
            yield Judged(key_of(by, attempt.board), attempt, is_rejected)


def key_of(by: By, board: Board) -> str:
    """What a board belongs to: an exercise by its code, a class by its number, or none, a month."""
    if by == By.EXERCISE:
        return board.exercise.code
    if by == By.CLASS:
        return board.session.number if board.session else ""
    return f"{handed_in_on(board):%Y-%m}"


def handed_in_on(board: Board) -> date:
    """The day at its site on which a board was handed in for the first time."""
    # Every board that is looked at has been handed in.
    return cast(datetime, board.handed_in_at).astimezone(board.site.zone).date()


def rates_by(by: By, attempts: Iterable[Attempt]) -> dict[str, FailureRate]:
    """How often first attempts were rejected, by what they are counted by."""
    return failure_rates((each.key, each.is_rejected) for each in judged_by(by, attempts))

"""How one person's work went from board to board: first attempts on boards judged to the end."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from assessments.domain.failure_rates import FailureRate
from assessments.models import Board
from assessments.models.boards import BoardQuerySet

from .what_fails import By, attempts_on, handed_in_on, judged_by, rates_by

MOST_BOARDS = 60
"""Boards that are looked at, those handed in last; each is read whole."""


@dataclass(frozen=True, slots=True)
class BoardProgress:
    """One board: when it was handed in, its joints that were rejected, and the time it took.

    ``joints`` are those that its exercise requires; ``minutes`` is None where its maker gave none.
    """

    board: Board
    handed_in_on: date
    rate: FailureRate
    joints: int
    minutes: int | None

    @property
    def minutes_a_joint(self) -> Fraction | None:
        return Fraction(self.minutes, self.joints) if self.minutes and self.joints else None


@dataclass(frozen=True, slots=True)
class Progress:
    """The boards looked at, oldest first, of how many there are, and what was rejected on them.

    ``good_run`` counts the joints since the last reject, along the boards.
    """

    boards: tuple[BoardProgress, ...]
    found: int
    by_criterion: dict[str, FailureRate]
    good_run: int

    @property
    def is_cut(self) -> bool:
        return self.found > len(self.boards)

    @property
    def rate(self) -> FailureRate:
        return FailureRate(
            sum(each.rate.rejected for each in self.boards),
            sum(each.rate.judged for each in self.boards),
        )


def progress_on(boards: BoardQuerySet) -> Progress:
    """How the latest of these boards went, by as many queries however many they are."""
    latest = boards.select_related("site").prefetch_related("exercise__positions")
    read = list(latest.order_by("-handed_in_at", "-pk")[:MOST_BOARDS])[::-1]
    attempts = attempts_on(read)
    joints = list(judged_by(By.EXERCISE, attempts))
    of_board: dict[int, list[bool]] = {}
    for judged in joints:
        of_board.setdefault(judged.attempt.board.pk, []).append(judged.is_rejected)
    made = Counter(attempt.board.pk for attempt in attempts if attempt.joint is not None)
    return Progress(
        tuple(
            BoardProgress(
                board,
                handed_in_on(board),
                FailureRate(sum(of_board[board.pk]), len(of_board[board.pk])),
                made[board.pk],
                board.bench_minutes,
            )
            for board in read
            if board.pk in of_board
        ),
        len(read) if len(read) < MOST_BOARDS else boards.count(),
        rates_by(By.CRITERION, attempts),
        _good_run([judged.is_rejected for judged in joints]),
    )


def _good_run(rejected: Sequence[bool]) -> int:
    """How many in a row were good, counted from the last.

    Examples
    --------
    >>> _good_run([False, True, False, False]), _good_run([])
    (2, 0)
    """
    run = 0
    for is_rejected in reversed(rejected):
        if is_rejected:
            break
        run += 1
    return run

"""How one person's work went from board to board, as their page shows it."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from assessments.domain.failure_rates import (
    FailureRate,
    most_after_good_run,
    most_rejected_first,
)
from assessments.models import Board, Criterion
from assessments.models.boards import BoardQuerySet
from assessments.queries.progress import BoardProgress, Progress, progress_on
from people.presenters.days import format_short_page_day
from people.presenters.quantities import format_decimal, format_share, with_unit

from . import progress_picture

MOST_FAULTS = 8


@dataclass(frozen=True, slots=True)
class BoardLine:
    """One board in the table, with what its dot in the picture stands for."""

    board: Board
    handed_in_on: date
    rate: FailureRate
    share: str
    limits: str
    minutes: int | None
    minutes_a_joint: str


@dataclass(frozen=True, slots=True)
class Fault:
    """A criterion under which something was rejected, and how long its bar is of 100."""

    code: str
    title: str
    rate: FailureRate
    bar: str


@dataclass(frozen=True, slots=True)
class ProgressShown:
    """Everything that the part of the page says; without ``lines`` there is nothing to say.

    ``most_left`` is the share of rejects that the good run leaves open, or empty without one.
    """

    lines: tuple[BoardLine, ...]
    found: int
    is_cut: bool
    rate: FailureRate
    share: str
    limits: str
    good_run: int
    most_left: str
    faults: tuple[Fault, ...]
    more_faults: int
    rejects_drawn: list[tuple[str, SafeString]]
    times_drawn: list[tuple[str, SafeString]]


def progress_shown(boards: BoardQuerySet) -> ProgressShown | None:
    """The progress along these boards; None where none of their joints was judged."""
    progress = progress_on(boards)
    if not progress.boards:
        return None
    faults = list(_faults(progress))
    timed = [each for each in progress.boards if each.minutes_a_joint is not None]
    return ProgressShown(
        lines=tuple(_line(each) for each in reversed(progress.boards)),
        found=progress.found,
        is_cut=progress.is_cut,
        rate=progress.rate,
        share=format_share(progress.rate.share),
        limits=_limits(progress.rate),
        good_run=progress.good_run,
        most_left=_share_of(most_after_good_run(progress.good_run)) if progress.good_run else "",
        faults=tuple(faults[:MOST_FAULTS]),
        more_faults=max(len(faults) - MOST_FAULTS, 0),
        rejects_drawn=_rejects_drawn(progress),
        times_drawn=_times_drawn(timed),
    )


def _line(each: BoardProgress) -> BoardLine:
    a_joint = each.minutes_a_joint
    return BoardLine(
        each.board,
        each.handed_in_on,
        each.rate,
        format_share(each.rate.share),
        _limits(each.rate),
        each.minutes,
        "" if a_joint is None else _tenths(a_joint),
    )


def _limits(rate: FailureRate) -> str:
    low, high = rate.interval()
    return _("%(low)s to %(high)s") % {"low": _share_of(low), "high": _share_of(high)}


def _share_of(share: float) -> str:
    return format_share(Fraction(share))


def _tenths(minutes: Fraction) -> str:
    return format_decimal(Decimal(round(minutes * 10)) / 10)


def _faults(progress: Progress) -> Iterator[Fault]:
    rates = {code: rate for code, rate in progress.by_criterion.items() if rate.rejected}
    most = max((rate.rejected for rate in rates.values()), default=1)
    # Of several revisions of a criterion the title that was published last.
    criteria = Criterion.objects.filter(
        code__in=list(rates), criteria_set__published_at__isnull=False
    ).order_by("criteria_set__published_at", "pk")
    titles = {criterion.code: criterion.title for criterion in criteria}
    for code in most_rejected_first(rates):
        bar = f"{100 * rates[code].rejected / most:.1f}"
        yield Fault(code, titles.get(code, ""), rates[code], bar)


def _rejects_drawn(progress: Progress) -> list[tuple[str, SafeString]]:
    points = [
        progress_picture.Point(
            float(each.rate.share) * 100,
            (
                format_short_page_day(each.handed_in_on),
                _("%(rejected)s of %(judged)s")
                % {"rejected": each.rate.rejected, "judged": each.rate.judged},
            ),
            (low * 100, high * 100),
        )
        for each in progress.boards
        for low, high in [each.rate.interval()]
    ]
    title = _("Rejected joints in per cent, board by board, with the limits in the table below")
    return progress_picture.pictures(points, title=title, unit="%", most=100)


def _times_drawn(timed: list[BoardProgress]) -> list[tuple[str, SafeString]]:
    points = [
        progress_picture.Point(
            float(each.minutes_a_joint or 0),
            (
                format_short_page_day(each.handed_in_on),
                with_unit(_tenths(each.minutes_a_joint or Fraction()), "min"),
            ),
        )
        for each in timed
    ]
    title = _("Minutes a joint, board by board, as in the table below")
    if not points:
        return []
    return progress_picture.pictures(points, title=title, unit="min", column="middle")

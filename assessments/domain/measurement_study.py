"""Measurement studies: what of the spread of readings is the joint, the grader, the marking.

The same joints are measured by several graders several times. By variances (ANOVA) and by
averages and ranges the spread is taken apart into the joints' own, what differs between graders,
and what one grader does not repeat. Of marks set again on the same photograph follows how good
one mark is, in pixels.
"""

from collections import defaultdict
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from hashlib import sha256
from math import hypot, sqrt
from typing import Any

import numpy as np
import numpy.typing as npt

from .distributions import chi_square_point, f_exceeds, range_divisor

POOLED_ABOVE = 0.25  # p of the interaction, beyond which it is taken for repeatability
CATEGORIES_FACTOR = 1.41  # as the published examples round √2
CONFIDENCE = 0.95
PIXEL_U = 1 / sqrt(12)  # of what lies anywhere within a pixel alike
SATISFACTORY, UNSATISFACTORY = 2.0, 3.0  # of a zeta score

Array = npt.NDArray[np.float64]


class CannotAnalyse(Exception):
    """The readings cannot be taken apart."""


class TooFewReadings(CannotAnalyse):
    """No two joints were each read twice by one grader."""


class NothingVaries(CannotAnalyse):
    """All readings are the same."""


class Method(StrEnum):
    """How the spread was taken apart."""

    VARIANCES = "variances"
    RANGES = "ranges"


@dataclass(frozen=True, slots=True)
class Reading:
    """One value of one joint by one grader."""

    part: Hashable
    grader: Hashable
    value: float


@dataclass(frozen=True, slots=True)
class Balanced:
    """Readings as a table without gaps.

    Attributes
    ----------
    values : ndarray, shape (parts, graders, trials)
    parts, graders : tuple
        What the rows and columns are, in the order in which they first were read.
    left_out : int
        How many readings are not in it.
    """

    values: Array
    parts: tuple[Any, ...]
    graders: tuple[Any, ...]
    left_out: int


def balanced(readings: Iterable[Reading]) -> Balanced:
    """Take the largest part of the readings in which every grader read every joint equally often.

    Graders are taken in by how many joints they read twice or more, the most thorough first, and
    of them so many that the most readings count; of each cell the first ones count. An analysis
    by variances or ranges is exact for such a table and not for one with gaps.

    Raises
    ------
    TooFewReadings
        If fewer than two joints were each read twice by one grader.

    Examples
    --------
    >>> twice = [Reading(part, "A", part + trial / 10) for part in (1, 2) for trial in (0, 1)]
    >>> table = balanced([*twice, Reading(1, "A", 7.0), Reading(1, "B", 1.0)])
    >>> table.values.shape, table.left_out
    ((2, 1, 2), 2)
    """
    cells: dict[tuple[Hashable, Hashable], list[float]] = defaultdict(list)
    for reading in readings:
        cells[reading.part, reading.grader].append(reading.value)
    parts = list(dict.fromkeys(part for part, _grader in cells))
    graders = list(dict.fromkeys(grader for _part, grader in cells))
    full = {
        grader: {part for part in parts if len(cells.get((part, grader), ())) >= 2}
        for grader in graders
    }
    best: tuple[int, list[Hashable], list[Hashable], int] = (0, [], [], 0)
    thorough = sorted(graders, key=lambda grader: -len(full[grader]))
    for n in range(1, len(thorough) + 1):
        chosen = thorough[:n]
        common = [part for part in parts if all(part in full[grader] for grader in chosen)]
        if len(common) < 2:
            continue
        trials = min(len(cells[part, grader]) for part in common for grader in chosen)
        size = len(common) * n * trials
        if size > best[0]:
            best = (size, common, [one for one in graders if one in chosen], trials)
    size, common, chosen, trials = best
    if not size:
        raise TooFewReadings("Two joints or more have to be read twice or more by one grader.")
    values = np.array(
        [[cells[part, grader][:trials] for grader in chosen] for part in common], dtype=float
    )
    whole = sum(map(len, cells.values()))
    return Balanced(values, tuple(common), tuple(chosen), whole - size)


@dataclass(frozen=True, slots=True)
class Interval:
    """A two-sided 95 % interval of a standard deviation."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Gauge:
    """The spread of readings taken apart; each figure a standard deviation in their unit.

    Attributes
    ----------
    method : Method
    repeatability : float
        What one grader does not repeat on one joint.
    grader : float
        What differs between graders on all joints alike; 0 where there is one.
    interaction : float
        What differs between graders from joint to joint; 0 where it is pooled or not told apart.
    part : float
        What differs between the joints.
    interaction_p : float or None
        Of the F test of the interaction, where it was made.
    pooled : bool
        Whether the interaction was taken for repeatability, as p is above `POOLED_ABOVE`.
    repeatability_freedom : int or None
        Degrees of freedom behind the repeatability.
    repeatability_interval, gauge_interval : Interval or None
        The first exact, by χ²; the second by Graybill and Wang's modified large sample.
    graders : int
    """

    method: Method
    repeatability: float
    grader: float
    interaction: float
    part: float
    graders: int
    interaction_p: float | None = None
    pooled: bool = False
    repeatability_freedom: int | None = None
    repeatability_interval: Interval | None = None
    gauge_interval: Interval | None = None

    @property
    def reproducibility(self) -> float:
        return hypot(self.grader, self.interaction)

    @property
    def gauge(self) -> float:
        """Repeatability and reproducibility together."""
        return hypot(self.repeatability, self.reproducibility)

    @property
    def total(self) -> float:
        return hypot(self.gauge, self.part)

    @property
    def categories(self) -> float:
        """How many kinds of joints the readings tell apart; infinite where the gauge is exact."""
        return CATEGORIES_FACTOR * self.part / self.gauge if self.gauge else float("inf")

    def share(self, sd: float) -> float:
        """Of the total variance: the shares of repeatability, grader, interaction, part add up."""
        return (sd / self.total) ** 2

    def of_total(self, sd: float) -> float:
        """Of the total standard deviation, as gauge studies are often reported."""
        return sd / self.total


def by_variances(values: npt.ArrayLike) -> Gauge:
    """Take readings apart by a two-way analysis of variance, joints and graders both random.

    The interaction is tested against the repeatability and pooled with it where p is above
    `POOLED_ABOVE`. A component that comes out below nought is nought. With one grader it is a
    one-way analysis, in which nothing is seen of reproducibility.

    Parameters
    ----------
    values : array_like, shape (parts, graders, trials)
        At least two parts, one grader, two trials, without gaps.

    Raises
    ------
    TooFewReadings
        If there are fewer.
    NothingVaries
        If all readings are the same.

    References
    ----------
    .. [1] R. K. Burdick, C. M. Borror, D. C. Montgomery, Journal of Quality Technology 35(4),
       2003: expected mean squares of the two-way random model, the exact interval of the
       repeatability, and that of the gauge after F. A. Graybill and C.-M. Wang, JASA 75, 1980
       (from memory; the coverage is tested by simulation).
    """
    table = _table(values)
    p, o, r = table.shape
    mean = table.mean()
    by_part, by_grader = table.mean(axis=(1, 2)), table.mean(axis=(0, 2))
    cell = table.mean(axis=2)
    within = float(((table - cell[:, :, None]) ** 2).sum())
    freedom = p * o * (r - 1)
    square_part = o * r * float(((by_part - mean) ** 2).sum()) / (p - 1)
    if o == 1:
        repeat = within / freedom
        return Gauge(
            Method.VARIANCES,
            repeatability=sqrt(repeat),
            grader=0.0,
            interaction=0.0,
            part=_root((square_part - repeat) / r),
            graders=1,
            repeatability_freedom=freedom,
            repeatability_interval=_interval([(1.0, repeat, freedom)]),
            gauge_interval=_interval([(1.0, repeat, freedom)]),
        )
    square_grader = p * r * float(((by_grader - mean) ** 2).sum()) / (o - 1)
    apart = cell - by_part[:, None] - by_grader[None] + mean
    between = r * float((apart**2).sum())
    freedom_between = (p - 1) * (o - 1)
    repeat, square_between = within / freedom, between / freedom_between
    if repeat > 0:
        p_value = f_exceeds(square_between / repeat, freedom_between, freedom)
    else:
        p_value = 0.0 if between > 0 else 1.0
    if pooled := p_value > POOLED_ABOVE:
        freedom += freedom_between
        repeat = (within + between) / freedom
        square_between, interaction = repeat, 0.0
        parts_of_gauge = [(1 / (p * r), square_grader, o - 1), (1 - 1 / (p * r), repeat, freedom)]
    else:
        interaction = _root((square_between - repeat) / r)
        parts_of_gauge = [
            (1 / (p * r), square_grader, o - 1),
            ((p - 1) / (p * r), square_between, freedom_between),
            ((r - 1) / r, repeat, freedom),
        ]
    return Gauge(
        Method.VARIANCES,
        repeatability=sqrt(repeat),
        grader=_root((square_grader - square_between) / (p * r)),
        interaction=interaction,
        part=_root((square_part - square_between) / (o * r)),
        graders=o,
        interaction_p=p_value,
        pooled=pooled,
        repeatability_freedom=freedom,
        repeatability_interval=_interval([(1.0, repeat, freedom)]),
        gauge_interval=_interval(parts_of_gauge),
    )


def by_ranges(values: npt.ArrayLike) -> Gauge:
    """Take readings apart by averages and ranges; the interaction is not told apart.

    Parameters
    ----------
    values : array_like, shape (parts, graders, trials)
        At least two parts, one grader, two trials, without gaps.

    Raises
    ------
    TooFewReadings
        If there are fewer.
    NothingVaries
        If all readings are the same.

    References
    ----------
    .. [1] The average and range method of the trade's gauge studies; its divisors are
       `range_divisor`. The repeatability's part in the graders' averages is taken off those, and
       nothing off the joints' averages.
    """
    table = _table(values)
    p, o, r = table.shape
    mean_range = float(np.ptp(table, axis=2).mean())
    repeat = mean_range / range_divisor(r, p * o)
    grader = 0.0
    if o > 1:
        apart = float(np.ptp(table.mean(axis=(0, 2)))) / range_divisor(o, 1)
        grader = _root(apart**2 - repeat**2 / (p * r))
    part = float(np.ptp(table.mean(axis=(1, 2)))) / range_divisor(p, 1)
    if not hypot(repeat, grader, part):
        raise NothingVaries("All readings are the same.")
    return Gauge(Method.RANGES, repeat, grader, 0.0, part, graders=o)


def _table(values: npt.ArrayLike) -> Array:
    table = np.asarray(values, dtype=float)
    if table.ndim != 3 or table.shape[0] < 2 or table.shape[1] < 1 or table.shape[2] < 2:
        raise TooFewReadings("Two joints or more have to be read twice or more by one grader.")
    if not np.isfinite(table).all():
        raise TooFewReadings("The table of readings has gaps.")
    if np.ptp(table) == 0:
        raise NothingVaries("All readings are the same.")
    return table


def _root(variance: float) -> float:
    return sqrt(max(variance, 0.0))


def _interval(combined: Sequence[tuple[float, float, int]]) -> Interval:
    """Of √(Σ c·MS), c ≥ 0: exact for one mean square, Graybill and Wang's for several."""
    tail = (1 - CONFIDENCE) / 2
    whole = sum(c * square for c, square, _freedom in combined)
    below = above = 0.0
    for c, square, freedom in combined:
        below += ((1 - freedom / chi_square_point(1 - tail, freedom)) * c * square) ** 2
        above += ((freedom / chi_square_point(tail, freedom) - 1) * c * square) ** 2
    return Interval(_root(whole - sqrt(below)), _root(whole + sqrt(above)))


# One mark


@dataclass(frozen=True, slots=True)
class MarkSpread:
    """What marking the same photographs again shows of a mark, apart from where it should be.

    Attributes
    ----------
    squares : float
        Sum of squared deviations of values from their cell's mean, in pixels of a mark squared.
    freedom : int
        Degrees of freedom: readings less photographs.
    pixel_px : float
        The coarsest that a photograph was shown: its own pixels to one of the screen.
    """

    squares: float
    freedom: int
    pixel_px: float

    @property
    def sigma_px(self) -> float:
        return sqrt(self.squares / self.freedom)

    @property
    def upper_px(self) -> float:
        """What may be stated: the upper end of a one-sided 95 % interval.

        Never less than a place anywhere within the coarser of a pixel of the photograph and one
        of the screen has, 1 ÷ √12 of it (JCGM 100:2008, 4.3.7): marks that fall on the same pixel
        again show no less.
        """
        point = chi_square_point(1 - CONFIDENCE, self.freedom)
        return max(sqrt(self.squares / point), PIXEL_U * max(self.pixel_px, 1.0))

    def least_px(self, pixel_px: float) -> float:
        """The least standard uncertainty of a mark on a photograph shown so coarse.

        `upper_px`, where the photograph is shown no coarser than in the study; else, and where
        the study shows more, a pixel as it is shown.
        """
        usual = max(1.0, pixel_px)
        no_coarser = pixel_px <= self.pixel_px * (1 + 1e-9)
        return min(usual, self.upper_px) if no_coarser else usual

    def with_others(self, others: Iterable["MarkSpread"]) -> "MarkSpread":
        """Several studies of one grader as one: none of them is left out for a luckier one."""
        spreads = [self, *others]
        return MarkSpread(
            sum(each.squares for each in spreads),
            sum(each.freedom for each in spreads),
            min(each.pixel_px for each in spreads),
        )


@dataclass(frozen=True, slots=True)
class Marked:
    """A value, with how it changes with the marks.

    Attributes
    ----------
    value : float
    per_px : float
        The value's standard uncertainty of marks that are uncertain by one pixel.
    pixel_px : float
        As `MarkSpread` has it.
    """

    value: float
    per_px: float
    pixel_px: float


def mark_spread(photographs: Iterable[Sequence[Marked]]) -> MarkSpread | None:
    """Pool the readings of one grader, each photograph about its own mean.

    The spread of the values is carried back through the formula of their uncertainty, so that a
    mark that may lie anywhere along an edge counts by what it does to the value.

    Parameters
    ----------
    photographs : iterable of sequence of Marked
        The readings of each photograph; one that was read once shows nothing.

    Returns
    -------
    MarkSpread or None
        None where no photograph was read twice.

    Examples
    --------
    >>> spread = mark_spread([[Marked(10.0, 2.0, 1.5), Marked(12.0, 2.0, 1.0)]])
    >>> spread.squares, spread.freedom, spread.pixel_px
    (0.5, 1, 1.5)
    """
    squares, freedom, pixel = 0.0, 0, 0.0
    for readings in photographs:
        if len(readings) < 2:
            continue
        mean = sum(each.value for each in readings) / len(readings)
        per_px = sum(each.per_px**2 for each in readings) / len(readings)
        squares += sum((each.value - mean) ** 2 for each in readings) / per_px
        freedom += len(readings) - 1
        pixel = max(pixel, *(each.pixel_px for each in readings))
    return MarkSpread(squares, freedom, pixel) if freedom else None


# Against a reference


def zeta_score(value: float, u: float, reference: float, reference_u: float) -> float:
    """How far a value lies from its reference, in what both uncertainties allow.

    Parameters
    ----------
    u, reference_u : float
        Standard uncertainties, not both nought.

    References
    ----------
    .. [1] ISO 13528:2015, 9.6 (from memory): ζ = (x − ref) ÷ √(u² + u_ref²), satisfactory to 2
       either way, unsatisfactory from 3 on.

    Examples
    --------
    >>> zeta_score(10.5, 0.3, 10.0, 0.4)
    1.0
    """
    return (value - reference) / hypot(u, reference_u)


class Score(StrEnum):
    SATISFACTORY = "satisfactory"
    QUESTIONABLE = "questionable"
    UNSATISFACTORY = "unsatisfactory"


def score_of(zeta: float) -> Score:
    if abs(zeta) <= SATISFACTORY:
        return Score.SATISFACTORY
    return Score.QUESTIONABLE if abs(zeta) < UNSATISFACTORY else Score.UNSATISFACTORY


# The order of marking


def marking_order(seed: str, grader: int, photographs: Sequence[int], rounds: int) -> list[int]:
    """In which order a grader marks: each round all photographs, shuffled anew.

    The order follows from the seed, the grader and the photographs' numbers alone. No photograph
    comes twice in a row where there are two.

    Examples
    --------
    >>> order = marking_order("a seed", 7, [1, 2, 3], 2)
    >>> sorted(order[:3]), sorted(order[3:]), order[2] != order[3]
    ([1, 2, 3], [1, 2, 3], True)
    """
    order: list[int] = []
    for n in range(rounds):
        shuffled = sorted(
            photographs,
            key=lambda one: sha256(f"{seed}:{grader}:{n}:{one}".encode()).digest(),
        )
        if order and len(shuffled) > 1 and order[-1] == shuffled[0]:
            shuffled.append(shuffled.pop(0))
        order += shuffled
    return order

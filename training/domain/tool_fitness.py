"""Whether a tool may be relied on, on a day; and over which days it could not have been.

What is known of a tool is its calibrations, each as found and as left, and the periods in
which it was out of service. Whatever is recorded later about an earlier day is known as if
it had been recorded then: nothing here asks when something was written down.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from enum import StrEnum


class Fitness(StrEnum):
    """What is to be said of a tool on a day."""

    GOOD = "good"
    RETIRED = "retired"
    OUT_OF_SERVICE = "out_of_service"
    NEVER_CALIBRATED = "never_calibrated"
    FAILED = "failed"
    ENDED = "ended"


@dataclass(frozen=True, slots=True)
class CalibrationFact:
    """One calibration.

    Attributes
    ----------
    key : int
        Its number; of two of one day the larger is the later.
    calibrated_on, valid_through : date
        The day it was done and the last day it is good for, both included.
    found_good, left_good : bool
        Whether the tool was within its limits when it came, and when it left.
    """

    key: int
    calibrated_on: date
    valid_through: date
    found_good: bool
    left_good: bool


@dataclass(frozen=True, slots=True)
class OutOfService:
    """A period without the tool: its first day, and the day from which it is used again."""

    first_day: date
    back_from: date | None = None

    def holds_on(self, day: date) -> bool:
        return self.first_day <= day and (self.back_from is None or day < self.back_from)


@dataclass(frozen=True, slots=True)
class ToolFacts:
    """What is known of one tool; calibrations and periods in any order."""

    calibrations: tuple[CalibrationFact, ...] = ()
    out_of_service: tuple[OutOfService, ...] = ()
    retired_on: date | None = None
    without_calibration: bool = False


@dataclass(frozen=True, slots=True)
class FitnessOnDay:
    """How a tool stood on a day, with what says so."""

    fitness: Fitness
    calibration: CalibrationFact | None = None
    out_since: date | None = None

    @property
    def is_good(self) -> bool:
        return self.fitness == Fitness.GOOD


def fitness_on(facts: ToolFacts, day: date) -> FitnessOnDay:
    """How a tool stood on a day.

    A tool is out from the first day of being out of service to the day before it is used
    again, and from the day it was retired. The last calibration done by the day counts: it is
    good through its last day, which is included.

    Parameters
    ----------
    facts : ToolFacts
    day : date

    Returns
    -------
    FitnessOnDay

    Examples
    --------
    >>> good = CalibrationFact(1, date(2026, 3, 2), date(2027, 3, 2), True, True)
    >>> fitness_on(ToolFacts((good,)), date(2027, 3, 2)).fitness.value
    'good'
    >>> fitness_on(ToolFacts((good,)), date(2027, 3, 3)).fitness.value
    'ended'
    """
    done = [each for each in in_order(facts.calibrations) if each.calibrated_on <= day]
    last = done[-1] if done else None
    if facts.retired_on is not None and facts.retired_on <= day:
        return FitnessOnDay(Fitness.RETIRED, last)
    since = [period.first_day for period in facts.out_of_service if period.holds_on(day)]
    if since:
        return FitnessOnDay(Fitness.OUT_OF_SERVICE, last, min(since))
    if last is not None and not last.left_good:
        return FitnessOnDay(Fitness.FAILED, last)
    if facts.without_calibration:
        return FitnessOnDay(Fitness.GOOD, last)
    if last is None:
        return FitnessOnDay(Fitness.NEVER_CALIBRATED)
    if last.valid_through < day:
        return FitnessOnDay(Fitness.ENDED, last)
    return FitnessOnDay(Fitness.GOOD, last)


def in_order(calibrations: Iterable[CalibrationFact]) -> list[CalibrationFact]:
    """Calibrations by their day, of one day by their number."""
    return sorted(calibrations, key=lambda each: (each.calibrated_on, each.key))


@dataclass(frozen=True, slots=True)
class Stretch:
    """Days on which nobody can say that a tool was good.

    Attributes
    ----------
    first_day, last_day : date or None
        Both included. None is without an end: from its first day on, or until it is good again.
    """

    first_day: date | None
    last_day: date | None

    def touches(self, first: date, last: date) -> bool:
        """Whether any day from one to another, both included, is in doubt.

        Examples
        --------
        >>> stretch = Stretch(None, date(2026, 3, 2))
        >>> stretch.touches(date(2026, 3, 2), date(2026, 3, 9))
        True
        >>> stretch.touches(date(2026, 3, 3), date(2026, 3, 9))
        False
        """
        begins = self.first_day is None or self.first_day <= last
        return begins and (self.last_day is None or first <= self.last_day)


@dataclass(frozen=True, slots=True)
class Doubt(Stretch):
    """Days on which nobody can say that a tool was within its limits, and what says so.

    Attributes
    ----------
    calibration : CalibrationFact
        The one by which the tool was found out of its limits.
    since : CalibrationFact or None
        The last one before it that left the tool good; None where there was none.
    """

    calibration: CalibrationFact
    since: CalibrationFact | None


def doubts(calibrations: Sequence[CalibrationFact]) -> list[Doubt]:
    """The days in doubt for each calibration that found a tool out of its limits, in their order.

    They run from the last calibration that left the tool good to the one that found it
    otherwise; where that left it so, on to the next calibration. The days of these calibrations
    are among them, since nobody knows what of such a day was done before it.

    Parameters
    ----------
    calibrations : sequence of CalibrationFact
        Of one tool, in any order.

    Returns
    -------
    list of Doubt

    Examples
    --------
    >>> good = CalibrationFact(1, date(2026, 1, 5), date(2027, 1, 5), True, True)
    >>> adjusted = CalibrationFact(2, date(2026, 7, 6), date(2027, 7, 6), False, True)
    >>> [doubt] = doubts([adjusted, good])
    >>> str(doubt.first_day), str(doubt.last_day)
    ('2026-01-05', '2026-07-06')
    """
    ordered = in_order(calibrations)
    found = []
    for index, calibration in enumerate(ordered):
        if calibration.found_good:
            continue
        since = next((each for each in reversed(ordered[:index]) if each.left_good), None)
        after = ordered[index + 1] if index + 1 < len(ordered) else None
        if calibration.left_good:
            last_day: date | None = calibration.calibrated_on
        else:
            last_day = after.calibrated_on if after else None
        first_day = None if since is None else since.calibrated_on
        found.append(Doubt(first_day, last_day, calibration, since))
    return found


def used_while_out(
    period: OutOfService, entered_on: date, calibrations: Iterable[CalibrationFact]
) -> Stretch | None:
    """The days of being out of service on which a tool may have been used, since nobody knew yet.

    They run to the day on which it was entered, included, or to the last one out. None where it
    was entered on its first day; and where a calibration says since how the tool was, so that
    either it was good or the work is in question by that.

    Examples
    --------
    >>> dropped = OutOfService(date(2026, 3, 2))
    >>> str(used_while_out(dropped, date(2026, 3, 9), ()).last_day)
    '2026-03-09'
    >>> used_while_out(dropped, date(2026, 3, 2), ())
    >>> checked = CalibrationFact(1, date(2026, 3, 9), date(2027, 3, 9), True, True)
    >>> used_while_out(dropped, date(2026, 3, 9), (checked,))
    """
    last_day = entered_on
    if period.back_from is not None:
        last_day = min(last_day, period.back_from - timedelta(days=1))
    if entered_on <= period.first_day or last_day < period.first_day:
        return None
    since = [each for each in in_order(calibrations) if each.calibrated_on >= period.first_day]
    if since and (since[-1].calibrated_on >= last_day or not since[-1].left_good):
        return None
    return Stretch(period.first_day, last_day)


# Readings


def within_limits(value: Decimal, low: Decimal | None, high: Decimal | None) -> bool:
    """Whether a value read is within its limits, which are included; without one it is.

    The reading's own uncertainty is not asked for: whoever calibrates decides by their rule and
    says so in the certificate.

    Examples
    --------
    >>> within_limits(Decimal("320"), Decimal("310"), Decimal("320"))
    True
    >>> within_limits(Decimal("320.1"), Decimal("310"), Decimal("320"))
    False
    """
    return (low is None or value >= low) and (high is None or value <= high)


@dataclass(frozen=True, slots=True)
class Reading:
    """What was read at one point of a calibration, with the limits it was held against.

    Attributes
    ----------
    what, unit : str
        Such as ``"tip at 315 °C"`` and ``"°C"``.
    low, high : Decimal or None
        The limits, both included, in the unit.
    found, left : Decimal or None
        The value as found and as left; where nothing was adjusted one of them is enough.
    """

    what: str
    unit: str = ""
    low: Decimal | None = None
    high: Decimal | None = None
    found: Decimal | None = None
    left: Decimal | None = None

    @property
    def found_within(self) -> bool:
        return self.found is None or within_limits(self.found, self.low, self.high)

    @property
    def left_within(self) -> bool:
        left = self.found if self.left is None else self.left
        return left is None or within_limits(left, self.low, self.high)

    def as_text(self) -> dict[str, str | None]:
        """The reading as it is stored, each number as it was written."""
        numbers = {"low": self.low, "high": self.high, "found": self.found, "left": self.left}
        return {
            "what": self.what,
            "unit": self.unit,
            **{name: None if value is None else f"{value:f}" for name, value in numbers.items()},
        }


def reading_in(stored: Mapping[str, str | None]) -> Reading:
    """A reading as it was stored.

    Examples
    --------
    >>> reading = Reading("tip at 315 °C", "°C", Decimal("310"), Decimal("320"), Decimal("322.5"))
    >>> reading_in(reading.as_text()) == reading
    True
    >>> reading.found_within
    False
    """
    numbers = {
        name: None if (value := stored.get(name)) is None else Decimal(value)
        for name in ("low", "high", "found", "left")
    }
    return Reading(stored.get("what") or "", stored.get("unit") or "", **numbers)

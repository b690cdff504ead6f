"""What keeps a certificate alive: vision tests and practice."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from datetime import date, timedelta

from .facts import PracticeFact, VisionFact
from .months import add_months

ONE_DAY = timedelta(days=1)


class VisionRecord:
    """A person's vision tests; of several on one day, the one that was recorded last.

    Parameters
    ----------
    tests : iterable of VisionFact
        Those that are known and not withdrawn, in any order.
    """

    __slots__ = ("_days", "_last_good", "_tests")

    def __init__(self, tests: Iterable[VisionFact]) -> None:
        by_day = {
            test.tested_on: test
            for test in sorted(
                tests, key=lambda test: (test.tested_on, test.recorded_at, test.test_id)
            )
        }
        self._days = list(by_day)
        self._tests = list(by_day.values())
        self._last_good: dict[int, list[date | None]] = {}

    def _last_good_days(self, months: int) -> list[date | None]:
        """The last day of each test by itself; none of one that was failed.

        Kept, since a person's tests count for every scope of theirs.
        """
        days = self._last_good.get(months)
        if days is None:
            days = self._last_good[months] = [
                add_months(test.tested_on, months) if test.passed else None for test in self._tests
            ]
        return days

    def test_on(self, day: date) -> VisionFact | None:
        """The latest test on or before a day."""
        index = bisect_right(self._days, day) - 1
        return self._tests[index] if index >= 0 else None

    def is_current_on(self, day: date, months: int) -> bool:
        """Whether the latest test is a pass and at most a number of months old on a day."""
        index = bisect_right(self._days, day) - 1
        if index < 0:
            return False
        last_day = self._last_good_days(months)[index]
        return last_day is not None and day <= last_day

    def days_of_change(self, first: date, last: date, months: int) -> list[date]:
        """The days after ``first`` and through ``last`` on which the answer may change."""
        days: list[date] = []
        begin, end = bisect_right(self._days, first), bisect_right(self._days, last)
        for last_day in self._last_good_days(months)[max(begin - 1, 0) : end]:
            if last_day is not None and first <= last_day < last:
                days.append(last_day + ONE_DAY)
        return days + self._days[begin:end]

    def last_good_day(self, day: date, months: int) -> tuple[date, VisionFact]:
        """The last day through which vision stays current from a day on which it is.

        Returns
        -------
        tuple of date and VisionFact
            The day, and the passed test that counts on it.
        """
        index = bisect_right(self._days, day) - 1
        while True:
            test = self._tests[index]
            last = add_months(test.tested_on, months)
            following = self._tests[index + 1] if index + 1 < len(self._tests) else None
            if following is None or following.tested_on - last > timedelta(days=1):
                return last, test
            if not following.passed:
                return following.tested_on - timedelta(days=1), test
            index += 1


class PracticeRecord:
    """The days on which a person worked within a scope.

    Parameters
    ----------
    practice : iterable of PracticeFact
        Those that are known and not withdrawn, in any order.
    """

    __slots__ = ("_days",)

    def __init__(self, practice: Iterable[PracticeFact]) -> None:
        self._days = sorted({fact.performed_on for fact in practice})

    @classmethod
    def of_days(cls, days: list[date]) -> "PracticeRecord":
        """Make one of days that are in order already, each of them once."""
        record = cls.__new__(cls)
        record._days = days
        return record

    def walk(self, start: date, months: int, before: date = date.max) -> list[date]:
        """Go from a day to the latest work day that no step longer than some months leads to.

        Of the work days that lie within reach the furthest is taken, since from an earlier
        one no day is nearer: so the walk takes a few steps a year however often somebody works.

        Parameters
        ----------
        start : date
            Where the walk starts; earlier work does not count.
        months : int
            The longest step allowed.
        before : date
            Work from this day on does not count.

        Returns
        -------
        list of date
            The work days stepped on after ``start``; empty where none was in reach.
        """
        steps: list[date] = []
        here = start
        end = bisect_left(self._days, before)
        while True:
            index = bisect_right(self._days, add_months(here, months), 0, end) - 1
            if index < 0 or self._days[index] <= here:
                return steps
            here = self._days[index]
            steps.append(here)

    def last_good_day(self, start: date, months: int) -> tuple[date, date]:
        """The last day before the work has rested for too long, counted from a start.

        Returns
        -------
        tuple of date and date
            That day, and the work day, or the start, from which the rest is counted.
        """
        rests_from = (self.walk(start, months) or [start])[-1]
        return add_months(rests_from, months), rests_from

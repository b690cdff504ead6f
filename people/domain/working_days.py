"""On which days a site works: weekdays, without the days on which it is closed."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

WEEK = frozenset(range(1, 8))


@dataclass(frozen=True, slots=True)
class WorkingDays:
    """The days on which a site works.

    Attributes
    ----------
    weekdays : frozenset of int
        1 is Monday; never empty.
    closed : frozenset of date
        Days on which nobody works whatever weekday they are, such as holidays.

    Examples
    --------
    >>> days = working_days([1, 2, 3, 4, 5], [date(2026, 12, 25)])
    >>> date(2026, 12, 24) in days, date(2026, 12, 25) in days, date(2026, 12, 26) in days
    (True, False, False)
    """

    weekdays: frozenset[int]
    closed: frozenset[date] = frozenset()

    def __contains__(self, day: date) -> bool:
        return day.isoweekday() in self.weekdays and day not in self.closed


def working_days(weekdays: Iterable[int], closed: Iterable[date] = ()) -> WorkingDays:
    """The days of these weekdays; of every weekday where none of them is one."""
    return WorkingDays(WEEK & frozenset(weekdays) or WEEK, frozenset(closed))

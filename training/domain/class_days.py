"""On which days a class is held, as it is planned."""

from collections.abc import Collection
from datetime import date, timedelta

FIRST, LAST = date(1900, 1, 1), date(2200, 12, 31)
"""Between which classes are: days before and after them are reckoned with, too."""

MAX_DAYS = 92
"""From the first day of a class to its last, both included."""


def days_held(
    first_day: date,
    last_day: date,
    working_days: Collection[int],
    weekdays: Collection[int] = (),
    closed: Collection[date] = (),
) -> list[date]:
    """Work out the days of a class between its first and its last.

    The first and the last day are always days of the class, whatever weekday they are.

    Parameters
    ----------
    first_day, last_day : date
        Both included; `last_day` is not before `first_day`.
    working_days : collection of int
        The weekdays on which the site works, 1 for Monday to 7 for Sunday.
    weekdays : collection of int
        The weekdays on which the class is held between the two. By default those on which the
        site works, or every day where the class begins or ends on a day that is none of them.
    closed : collection of date
        Days on which the site is closed: between the first and the last the class is not held on
        them.

    Returns
    -------
    list of date
        In order, each once.

    Examples
    --------
    From a Thursday to the Monday after it, at a site that works from Monday to Friday:

    >>> days = days_held(date(2026, 11, 26), date(2026, 11, 30), [1, 2, 3, 4, 5])
    >>> [day.day for day in days]
    [26, 27, 30]

    From a Friday to the Sunday after it:

    >>> [day.day for day in days_held(date(2026, 11, 27), date(2026, 11, 29), [1, 2, 3, 4, 5])]
    [27, 28, 29]
    """
    ends = {first_day, last_day}
    length = (last_day - first_day).days + 1
    days = [first_day + timedelta(days=n) for n in range(length)]
    if not weekdays:
        if any(day.isoweekday() not in working_days for day in ends):
            return [day for day in days if day in ends or day not in closed]
        weekdays = working_days
    open_days = (day for day in days if day in ends or day not in closed)
    return [day for day in open_days if day in ends or day.isoweekday() in weekdays]

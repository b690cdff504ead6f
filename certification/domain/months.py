"""Adding months to a day, as calendars do."""

from calendar import monthrange
from datetime import MAXYEAR, MINYEAR, date


def add_months(day: date, months: int) -> date:
    """Return the day that lies a number of months after another.

    Months are always counted from the day itself, the anchor: adding one month twice is
    not the same as adding two.

    Parameters
    ----------
    day : date
        The anchor.
    months : int
        How many months later, or earlier where negative.

    Returns
    -------
    date
        The same day number, or the last day of the month where it has no such day.

    Raises
    ------
    ValueError
        If the result lies outside the years that a date can hold.

    Notes
    -----
    The rule is common practice; it agrees with the documented cases of python-dateutil's
    ``relativedelta``.

    Examples
    --------
    >>> add_months(date(2024, 2, 29), 12)
    datetime.date(2025, 2, 28)
    >>> add_months(date(2024, 1, 31), 2)
    datetime.date(2024, 3, 31)
    """
    years, month_before = divmod(day.month - 1 + months, 12)
    year, month = day.year + years, month_before + 1
    if not MINYEAR <= year <= MAXYEAR:
        raise ValueError(f"{months} months from {day} lies past the ends of the calendar.")
    if day.day <= 28:  # Every month has these, and looking up its length takes time.
        return date(year, month, day.day)
    return date(year, month, min(day.day, monthrange(year, month)[1]))


def end_of_month(day: date) -> date:
    """Return the last day of the month that a day lies in.

    Examples
    --------
    >>> end_of_month(date(2024, 2, 10))
    datetime.date(2024, 2, 29)
    """
    return day.replace(day=monthrange(day.year, day.month)[1])

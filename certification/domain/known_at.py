"""The instant up to which something counts as known: a day, which means its end, or an instant.

A moment is read the same way wherever one is asked for: from a page's address, a form, the
command line and a cell of a register file.
"""

import re
from datetime import date, datetime, time, tzinfo

DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
INSTANT = re.compile(
    r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(?::\d{2}(?:\.\d{1,6})?)?(?:Z|[+-]\d{2}:?\d{2})?"
)
FIRST_YEAR, LAST_YEAR = 1900, 2999


def read_moment(text: str) -> date | datetime:
    """Read a day or an instant.

    A bare day is returned as one, since its end depends on a clock; so is an instant without
    an offset. `known_through` and `on_clock` say which instants they are.

    Raises
    ------
    ValueError
        If it is neither, or lies in a year that must be a slip of the keyboard.

    Examples
    --------
    >>> read_moment("2026-03-09")
    datetime.date(2026, 3, 9)
    >>> read_moment("2026-03-09 16:20")
    datetime.datetime(2026, 3, 9, 16, 20)
    """
    moment: date | datetime
    if DAY.fullmatch(text):
        moment = date.fromisoformat(text)
    elif INSTANT.fullmatch(text):
        moment = datetime.fromisoformat(text)
    else:
        raise ValueError(f"{text!r} is neither a day nor an instant.")
    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        raise ValueError(f"{text!r} lies too far off.")
    return moment


def on_clock(at: datetime, zone: tzinfo) -> datetime:
    """An instant as it is; without an offset, on the clock of a zone."""
    return at if at.tzinfo else at.replace(tzinfo=zone)


def end_of_day(day: date, zone: tzinfo) -> datetime:
    """The last instant of a day on the clock of a zone."""
    return datetime.combine(day, time.max, zone)


def known_through(moment: date | datetime, zone: tzinfo) -> datetime:
    """The last instant that a moment takes in: its own, or the end of the day.

    Examples
    --------
    >>> from datetime import UTC
    >>> known_through(date(2026, 3, 9), UTC).isoformat()
    '2026-03-09T23:59:59.999999+00:00'
    """
    if isinstance(moment, datetime):
        return on_clock(moment, zone)
    return end_of_day(moment, zone)

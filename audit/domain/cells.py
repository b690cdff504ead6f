"""One cell of a register file or work log: how its text is read.

Days are written as 2026-03-09 and instants as 2026-03-09T16:20:00 with or without an offset. A
cell is text without spaces around it; nothing is an empty text.
"""

import re
from collections.abc import Callable
from datetime import UTC, date, datetime, tzinfo

from certification.domain.known_at import FIRST_YEAR, INSTANT, on_clock
from people.domain.employee_numbers import LONGEST as LONGEST_NUMBER
from people.domain.employee_numbers import NumberFault, number_fault

DAY_FORMAT = "%Y-%m-%d"
DAY = re.compile(r"(\d{4}-\d{2}-\d{2})(?:[T ]00:00(?::00(?:\.0+)?)?)?")
"""A day, also as spreadsheet programs save one: as its midnight."""
LAST_YEAR = 2199
MOST_MONTHS = 1200
MOST_WINDOW_DAYS = 3660
EMAIL = r"[^\x00-\x20@,;<>()\[\]\\\"]+@[\w-]+(?:\.[\w-]+)+"
EMPTY = "The cell is empty."

CellReader = Callable[[str, tzinfo], object]


def read_text(text: str, zone: tzinfo) -> str:
    if any(ord(letter) < 32 for letter in text):
        raise ValueError("The text holds a line break or another control character.")
    return text


def read_code(text: str, zone: tzinfo) -> str:
    """Read a number or code that stands in the address of a page."""
    if "/" in text or "\\" in text or text in (".", ".."):
        raise ValueError(f"{text!r} cannot stand in an address: leave out slashes.")
    return read_text(text, zone)


def read_employee_number(text: str, zone: tzinfo) -> str:
    """Read an employee number by the rule that forms go by too."""
    fault = number_fault(text)
    if fault is NumberFault.RESERVED:
        raise ValueError(f"{text!r} cannot be an employee number.")
    if fault is not None:
        raise ValueError(
            f"{text!r} cannot be an employee number: it has letters a to z, digits, dots, hyphens "
            f"and spaces, no slashes, a letter or digit first, {LONGEST_NUMBER} characters at most."
        )
    return text


def read_day(text: str, zone: tzinfo) -> date:
    match = DAY.fullmatch(text)
    try:
        day = date.fromisoformat(match[1]) if match else None
    except ValueError:
        day = None
    if day is None:
        raise ValueError(f"{text!r} is not a day: write it as in 2026-03-09.")
    return _plausible(day, text)


def _plausible(day: date, text: str) -> date:
    """Refuse a slip of the keyboard, and years with which no month can be added."""
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise ValueError(
            f"{text!r} is not a day that can be meant: give one between {FIRST_YEAR} and "
            f"{LAST_YEAR}."
        )
    return day


def read_instant(text: str, zone: tzinfo) -> datetime:
    """Read an instant; without an offset it is on the clock of ``zone``."""
    moment: date | datetime | None = None
    try:
        if INSTANT.fullmatch(text):
            moment = datetime.fromisoformat(text)
            _plausible(moment.date(), text)
            return on_clock(moment, zone).astimezone(UTC)
    except (ValueError, OverflowError):
        if moment is not None:
            _plausible(moment, text)
    raise ValueError(f"{text!r} is not a day with a time: write it as in 2026-03-09T16:20:00.")


def read_work_day(text: str, zone: tzinfo) -> date:
    """Read the day of some work: a day, or the one that an instant falls on where it was done.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> read_work_day("2026-03-09T23:30:00Z", ZoneInfo("Europe/Madrid"))
    datetime.date(2026, 3, 10)
    """
    try:
        return read_day(text, zone)
    except ValueError:
        if not INSTANT.fullmatch(text):
            raise
    return _plausible(read_instant(text, zone).astimezone(zone).date(), text)


def read_count(text: str, zone: tzinfo) -> int:
    if not re.fullmatch(r"\d{1,5}", text):
        raise ValueError(f"{text!r} is not a whole number, 0 or more.")
    return int(text)


def read_months(text: str, zone: tzinfo) -> int:
    months = read_count(text, zone)
    if months > MOST_MONTHS:
        raise ValueError(f"{months} months are more than the {MOST_MONTHS} that can be counted.")
    return months


def read_validity(text: str, zone: tzinfo) -> int:
    months = read_months(text, zone)
    if not months:
        raise ValueError("A certificate is good for a month or more.")
    return months


def read_window(text: str, zone: tzinfo) -> int:
    days = read_count(text, zone)
    if days > MOST_WINDOW_DAYS:
        raise ValueError(f"{days} days are more than the {MOST_WINDOW_DAYS} of a renewal window.")
    return days


def read_email(text: str, zone: tzinfo) -> str:
    if not re.fullmatch(EMAIL, text):
        raise ValueError(f"{text!r} is no e-mail address: write one as in ada@example.org.")
    return text


def one_of(*words: str) -> Callable[[str, tzinfo], str]:
    def read(text: str, zone: tzinfo) -> str:
        if text.lower() not in words:
            raise ValueError(f"{text!r} is not one of: {', '.join(words)}.")
        return text.lower()

    return read

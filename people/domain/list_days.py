"""Days as lists from anywhere write them: 2026-03-09, 9.3.2026, 3/9/2026, 9 Mar 2026, 46090.

Only a slash or hyphen between three numbers leaves open which of them is the day; a list is asked
about that once. Years have four digits: nobody can tell 1931 from 2031 later.
"""

import re
from collections.abc import Iterable
from datetime import date, timedelta
from enum import StrEnum

from people.domain.folding import fold

ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")
RUN_TOGETHER = re.compile(r"((?:19|20|21)\d\d)(\d\d)(\d\d)")
YEAR_FIRST = re.compile(r"(\d{4})[/.](\d{1,2})[/.](\d{1,2})")
DOTTED = re.compile(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})")
OPEN = re.compile(r"(\d{1,2})([/-])(\d{1,2})\2(\d{4})")
DAY_NAMED = re.compile(r"(\d{1,2})(?:\.|st|nd|rd|th)?[\s-]*([a-z]{3,9})\.?,?[\s-]*(\d{4})")
MONTH_NAMED = re.compile(r"([a-z]{3,9})\.?\s*(\d{1,2})(?:st|nd|rd|th)?,?\s*(\d{4})")
SERIAL = re.compile(r"\d{5}")
TWO_DIGITS = re.compile(
    r"\d{1,2}[./-]\s?(?:\d{1,2}[./-]\s?|[a-z]{3,9}\.?[./ -])\d{2}|\d{2}[/-]\d{1,2}[/-]\d{1,2}"
)
MIDNIGHT = re.compile(r"[T ]0{1,2}:00(?::00(?:\.0+)?)?(?: ?AM)?$", re.IGNORECASE)
SERIAL_BEGIN = date(1899, 12, 30)
"""Day 0 of spreadsheet programs, as ISO/IEC 29500-1 has it for days from March 1900 on."""
FIRST_SERIAL, LAST_SERIAL = 18_264, 73_415  # 1950 through 2100.
FIRST_YEAR, LAST_YEAR = 1900, 2199

MONTHS = {
    name[:length]: month
    for month, names in enumerate(
        (
            ("january", "januar", "janner", "jaenner"),
            ("february", "februar"),
            ("march", "marz", "maerz", "mrz"),
            ("april",),
            ("may", "mai"),
            ("june", "juni"),
            ("july", "juli"),
            ("august",),
            ("september",),
            ("october", "oktober"),
            ("november",),
            ("december", "dezember"),
        ),
        start=1,
    )
    for name in names
    for length in range(3, len(name) + 1)
}
"""Months by their English and German names and whatever these begin with, from three letters on."""


class DayForm(StrEnum):
    """Which number of 3/4/2026 is the day."""

    DAY_FIRST = "day_first"
    MONTH_FIRST = "month_first"


class DayFault(StrEnum):
    TWO_DIGITS = "two_digits"
    OPEN = "open"
    NO_DAY = "no_day"
    YEAR = "year"


class NotADay(ValueError):
    """A text that is no day, or not one alone; ``fault`` says why."""

    def __init__(self, fault: DayFault) -> None:
        super().__init__(fault)
        self.fault = fault


def read_day(text: str, form: DayForm | None = None) -> date:
    """Read a day as a list writes it; ``form`` says what 3/4/2026 means.

    Raises
    ------
    NotADay
        If it is none, has two digits for its year, or could be two days and no form is given.

    Examples
    --------
    >>> read_day("9.3.2026"), read_day("3/9/2026", DayForm.MONTH_FIRST)
    (datetime.date(2026, 3, 9), datetime.date(2026, 3, 9))
    >>> read_day("46090"), read_day("31/3/2026")
    (datetime.date(2026, 3, 9), datetime.date(2026, 3, 31))
    """
    plain = MIDNIGHT.sub("", text.strip())
    match = OPEN.fullmatch(plain)
    if match:
        return _open_day(int(match[1]), int(match[3]), int(match[4]), form)
    day = _plain_day(plain)
    if day is None:
        named = fold(plain)
        fault = DayFault.TWO_DIGITS if TWO_DIGITS.fullmatch(named) else DayFault.NO_DAY
        raise NotADay(fault)
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise NotADay(DayFault.YEAR)
    return day


def _open_day(one: int, two: int, year: int, form: DayForm | None) -> date:
    days = {
        DayForm.DAY_FIRST: _day(year, two, one),
        DayForm.MONTH_FIRST: _day(year, one, two),
    }
    if form is None:
        there = {day for day in days.values() if day is not None}
        if len(there) > 1:
            raise NotADay(DayFault.OPEN)
        day = there.pop() if there else None
    else:
        day = days[form]
    if day is None:
        raise NotADay(DayFault.NO_DAY)
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise NotADay(DayFault.YEAR)
    return day


def _plain_day(text: str) -> date | None:
    """A day that can be read in one way alone."""
    for pattern in (ISO, RUN_TOGETHER, YEAR_FIRST):
        if match := pattern.fullmatch(text):
            return _day(int(match[1]), int(match[2]), int(match[3]))
    if match := DOTTED.fullmatch(text):
        return _day(int(match[3]), int(match[2]), int(match[1]))
    if SERIAL.fullmatch(text) and FIRST_SERIAL <= int(text) <= LAST_SERIAL:
        return SERIAL_BEGIN + timedelta(days=int(text))
    named = fold(text)
    if match := DAY_NAMED.fullmatch(named):
        return _day(int(match[3]), MONTHS.get(match[2], 0), int(match[1]))
    if match := MONTH_NAMED.fullmatch(named):
        return _day(int(match[3]), MONTHS.get(match[1], 0), int(match[2]))
    return None


def _day(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


def forms_that_fit(texts: Iterable[str]) -> tuple[set[DayForm], str]:
    """In which forms the open days of a list read, and one that could be two days.

    Returns
    -------
    (set of DayForm, str)
        Both forms where nothing tells them apart; none where some days read in one form and
        others only in the other. The text is empty where no day is open.

    Examples
    --------
    >>> sorted(forms_that_fit(["3/4/2026", "5/6/2025"])[0]), forms_that_fit(["3/4/2026"])[1]
    ([<DayForm.DAY_FIRST: 'day_first'>, <DayForm.MONTH_FIRST: 'month_first'>], '3/4/2026')
    >>> forms_that_fit(["3/4/2026", "31/3/2026"])[0]
    {<DayForm.DAY_FIRST: 'day_first'>}
    """
    forms, example = set(DayForm), ""
    for text in texts:
        match = OPEN.fullmatch(MIDNIGHT.sub("", text.strip()))
        if not match:
            continue
        one, two, year = int(match[1]), int(match[3]), int(match[4])
        day_first, month_first = _day(year, two, one), _day(year, one, two)
        if day_first and month_first:
            if day_first != month_first and not example:
                example = text.strip()
        elif day_first:
            forms.discard(DayForm.MONTH_FIRST)
        elif month_first:
            forms.discard(DayForm.DAY_FIRST)
    return forms, example

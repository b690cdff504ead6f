"""Closed days as somebody writes or pastes them, a line each."""

import re
from dataclasses import dataclass
from datetime import date, timedelta

MOST_DAYS = 400
LAST_YEAR = 2200
DAY = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})|(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})", re.ASCII)
UNTIL = re.compile(r"\s*(?:–|—|-|\.{2,3}|…|\bto\b|\bbis\b)\s*")
BETWEEN = " \t;,:"


@dataclass(frozen=True, slots=True)
class LineFault:
    """A line that says no day.

    Attributes
    ----------
    line : int
        Its number, the first is 1.
    fault : str
        ``day``, ``backwards``, ``years`` or ``many``.
    text : str
    """

    line: int
    fault: str
    text: str


def closed_days_in(text: str) -> tuple[dict[date, str], list[LineFault]]:
    """Read days with what they are called: ``2027-01-01 New Year``, ``24.12.2027 bis 31.12.2027``.

    Days are written as ISO 8601 has them or with dots, the day first; from one day to another
    with a dash between. What follows is the name. Empty lines say nothing; of a day that stands
    there twice the last name counts.

    Returns
    -------
    tuple of dict and list
        Each day with its name, which may be empty, and the lines that say none.

    Examples
    --------
    >>> closed_days_in("2027-01-01 New Year")
    ({datetime.date(2027, 1, 1): 'New Year'}, [])
    """
    days: dict[date, str] = {}
    faults = []
    for number, line in enumerate(text.splitlines(), start=1):
        written = line.strip()
        if not written:
            continue
        found, fault = _line(written)
        if not fault and len(days) + len(found) > MOST_DAYS:
            fault = "many"
        if fault:
            faults.append(LineFault(number, fault, written[:60]))
        else:
            days |= found
    return days, faults


def _line(written: str) -> tuple[dict[date, str], str]:
    begin = DAY.match(written)
    first = _day(begin)
    if begin is None or first is None:
        return {}, "day"
    rest, last = written[begin.end() :], first
    between = UNTIL.match(rest)
    end = DAY.match(rest, between.end()) if between else None
    if end is not None:
        until = _day(end)
        if until is None:
            return {}, "day"
        rest, last = rest[end.end() :], until
    if rest and rest[0] not in BETWEEN:
        return {}, "day"
    if last < first:
        return {}, "backwards"
    if last.year > LAST_YEAR or first.year < 2000:
        return {}, "years"
    length = (last - first).days + 1
    if length > MOST_DAYS:
        return {}, "many"
    name = " ".join(rest.strip(BETWEEN).split())[:80]
    return {first + timedelta(days=n): name for n in range(length)}, ""


def _day(match: re.Match[str] | None) -> date | None:
    if match is None:
        return None
    year, month, day = match.group(1, 2, 3) if match[1] else match.group(6, 5, 4)
    try:
        return date(int(year), int(month), int(day))
    except ValueError:
        return None

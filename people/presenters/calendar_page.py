"""A site's year at a glance: its months by weeks, and what each day is."""

import calendar
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from people.domain.working_days import WorkingDays

WORKS, OFF, CLOSED = "works", "off", "closed"


@dataclass(frozen=True, slots=True)
class CalendarDay:
    """A day of a month's table: ``kind`` is `WORKS`, `OFF` by its weekday, or `CLOSED`."""

    day: date
    kind: str
    name: str = ""


@dataclass(frozen=True, slots=True)
class Month:
    """A month as weeks of seven days, None where a day is another month's."""

    first: date
    weeks: list[list[CalendarDay | None]]
    working: int


def year_of(year: int, days: WorkingDays, closed: Mapping[date, str]) -> list[Month]:
    """The twelve months of a year from 1 to 9999, weeks from Monday on."""
    return [_month(year, month, days, closed) for month in range(1, 13)]


def _month(year: int, month: int, days: WorkingDays, closed: Mapping[date, str]) -> Month:
    length = calendar.monthrange(year, month)[1]
    cells = [_cell(date(year, month, number), days, closed) for number in range(1, length + 1)]
    before: list[CalendarDay | None] = [None] * (cells[0].day.isoweekday() - 1)
    padded = [*before, *cells]
    padded += [None] * (-len(padded) % 7)
    weeks = [padded[start : start + 7] for start in range(0, len(padded), 7)]
    return Month(cells[0].day, weeks, sum(cell.kind == WORKS for cell in cells))


def _cell(day: date, days: WorkingDays, closed: Mapping[date, str]) -> CalendarDay:
    if day in closed:
        return CalendarDay(day, CLOSED, closed[day])
    return CalendarDay(day, WORKS if day in days else OFF)

"""What the pages of work-log checks show: the sum, and a look through the findings."""

import csv
import io
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import IO, Any

import polars as pl
from django.utils.translation import ngettext

from audit.domain.standing_spans import STANDINGS
from audit.domain.work_log_check import CERTIFICATE, DAY, SCOPE, STANDING
from audit.models import WorkLogCheck
from audit.services.log_practice import LogPractice
from people.models import Person, Role, User
from people.presenters import exported_tables as exports
from people.presenters.symbols import STANDING_SYMBOLS
from training.models import PracticeRecord

from .work_log_files import harmless_cells

ROWS_A_BATCH = 20_000
MOST_ROWS_OF_A_SHEET = 1_048_575
LINE = "line"


@dataclass(frozen=True, slots=True)
class Bar:
    """How many rows stand like this, and how long that is on a line of a hundred."""

    standing: str
    shape: str
    tone: str
    word: Any
    rows: int
    share: str
    length: str


def bars(check: WorkLogCheck) -> list[Bar]:
    """The rows of each standing, in the order of the rules; lengths are of the longest."""
    total = sum(check.counts.values())
    longest = max(check.counts.values(), default=1)
    shown = []
    for standing in STANDINGS:
        rows = check.counts.get(standing, 0)
        if not rows:
            continue
        shape, tone, word = STANDING_SYMBOLS[standing]
        share = 100 * rows / total
        share_text = (
            f"{share:.1f}" if 0.05 <= share < 99.95 else "<0.1" if share < 1 else f"{share:.0f}"
        )
        shown.append(
            Bar(
                standing,
                shape,
                tone,
                word,
                rows,
                share_text,
                f"{max(100 * rows / longest, 0.4):.2f}",
            )
        )
    return shown


@dataclass(frozen=True, slots=True)
class FindingsFilters:
    """Which findings to show; what is empty is left open."""

    number: str = ""
    standing: str = ""
    scope: str = ""
    first: date | None = None
    last: date | None = None


class FindingsFile:
    """The findings of a check, as they are kept.

    Reads columns and rows as they are asked for: a check may hold millions of rows.
    """

    def __init__(self, check: WorkLogCheck, filters: FindingsFilters) -> None:
        self.check = check
        # Storage elsewhere has no path, and then all of the file is fetched.
        with check.findings.open("rb") as file:
            self._frame = pl.scan_parquet(io.BytesIO(file.read()))
        self._number = check.columns[check.headings.index("employee_number")]
        self._frame = self._frame.filter(self._condition(filters))

    def _condition(self, filters: FindingsFilters) -> pl.Expr:
        condition = pl.lit(True)
        standing = pl.col(STANDING).cast(pl.String)
        if filters.number:
            condition &= pl.col(self._number) == filters.number
        if filters.standing == "not":
            condition &= standing != "certified"
        elif filters.standing:
            condition &= standing == filters.standing
        if filters.scope:
            condition &= pl.col(SCOPE) == filters.scope
        if filters.first:
            condition &= pl.col(DAY) >= filters.first
        if filters.last:
            condition &= pl.col(DAY) <= filters.last
        return condition

    def count(self) -> int:
        return int(self._frame.select(pl.len()).collect().item())

    def rows(self, start: int, length: int) -> list[dict[str, Any]]:
        """Some rows for a page: line, person, day, scope, standing and certificate."""
        kept = [
            (heading, column)
            for heading, column in zip(self.check.headings, self.check.columns, strict=True)
            if heading not in FILLED
        ]
        page = self._frame.slice(start, length).collect()
        return [
            {
                "line": row[LINE],
                "number": row[self._number],
                "day": row[DAY],
                "scope": row[SCOPE],
                "standing": row[STANDING],
                "certificate": row[CERTIFICATE],
                "kept": [(name, row[column]) for name, column in kept if row[column]],
            }
            for row in page.iter_rows(named=True)
        ]

    def csv_lots(self) -> Iterator[bytes]:
        """The findings as CSV for a spreadsheet program, some thousand rows at a time."""
        stream = io.StringIO()
        csv.writer(stream).writerow([exports.harmless(heading) for heading in self.check.headings])
        yield b"\xef\xbb\xbf" + stream.getvalue().encode()
        findings = self._frame.select(self.check.columns).collect()
        for batch in findings.iter_slices(ROWS_A_BATCH):
            lines = harmless_cells(batch)
            yield lines.write_csv(include_header=False, line_terminator="\r\n").encode()

    def workbook(self) -> IO[bytes]:
        findings = self._frame.select(self.check.columns).head(MOST_ROWS_OF_A_SHEET).collect()
        return exports.workbook("Findings", self.check.headings, findings.iter_rows())


@dataclass(frozen=True, slots=True)
class ToRecord:
    """Work of one person in one scope that a log would have recorded: days, first and last.

    ``withdrawn`` are the days of which work was recorded before, and withdrawn.
    """

    person: Person
    scope: str
    days: int
    first: date
    last: date
    withdrawn: int


def lines_to_record(plan: LogPractice) -> list[ToRecord]:
    """What would be recorded, a line for each person and scope, by name."""
    days: dict[tuple[int, str], list[date]] = {}
    for work in plan.works:
        days.setdefault((work.person_id, work.scope_code), []).append(work.performed_on)
    withdrawn = Counter((work.person_id, work.scope_code) for work in plan.withdrawn)
    lines = [
        ToRecord(
            plan.people[pk], scope, len(worked), min(worked), max(worked), withdrawn[pk, scope]
        )
        for (pk, scope), worked in days.items()
    ]
    return sorted(
        lines, key=lambda line: (line.person.full_name, line.person.employee_number, line.scope)
    )


def recorded_said(number: int) -> str:
    return ngettext(
        "%(n)d day of work is recorded.", "%(n)d days of work are recorded.", number
    ) % {"n": number}


FILLED = ("employee_number", "scope", "worked_on", STANDING, CERTIFICATE)
EXAMPLE_ROWS = 200
EXAMPLE_HEADING = ["row", "employee_number", "stamp", "scope", "operation", "worked_on", "unit"]


def example_of_work(user: User) -> list[tuple[str, str, str, str, str, str]]:
    """The latest practice at the user's sites as rows of a work log."""
    records = (
        PracticeRecord.objects.not_withdrawn()
        .filter(person__site__in=user.sites_as(Role.QUALITY))
        .select_related("person")
        .order_by("-performed_on", "-pk")[:EXAMPLE_ROWS]
    )
    return [
        (
            practice.person.employee_number,
            "",
            practice.scope_code,
            "",
            practice.performed_on.isoformat(),
            practice.reference,
        )
        for practice in records
    ]

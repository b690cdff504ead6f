"""The register bundle: a folder or zip of tables, read into typed rows.

Every row that does not fit is reported with file, line, column and reason; nothing here
touches the database. What rows say of one another is checked in `bundle_checks`.
"""

import re
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, tzinfo
from pathlib import Path, PurePath
from typing import Any

from audit.exceptions import CannotRead

from .bundle_rows import (
    CertificateRow,
    EventRow,
    OperationRow,
    PersonRow,
    PracticeRow,
    SchemeRow,
    StampRow,
    VisionTestRow,
)
from .tabular import Problem, Source, Table, read_table, sources_in

DAY = re.compile(r"(\d{4}-\d{2}-\d{2})(?:[T ]00:00(?::00(?:\.0+)?)?)?")
INSTANT = re.compile(
    r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(?::\d{2}(?:\.\d{1,6})?)?(?:Z|[+-]\d{2}:?\d{2})?"
)
MOST_MONTHS = 1200
FIRST_YEAR, LAST_YEAR = 1900, 2199
EVENT_KINDS = ("suspended", "reinstated", "revoked", "ended", "extended", "voided")
EXPIRY_RULES = ("same_day", "end_of_month")


@dataclass
class Bundle:
    """Everything a bundle says, and what of it cannot be taken in.

    ``unread`` holds what the first column of a bad row says: other rows that name it are
    not bad for that.
    """

    people: list[PersonRow] = field(default_factory=list)
    schemes: list[SchemeRow] = field(default_factory=list)
    certificates: list[CertificateRow] = field(default_factory=list)
    events: list[EventRow] = field(default_factory=list)
    vision_tests: list[VisionTestRow] = field(default_factory=list)
    practice: list[PracticeRow] = field(default_factory=list)
    stamps: list[StampRow] = field(default_factory=list)
    operations: list[OperationRow] = field(default_factory=list)
    files: dict[str, str] = field(default_factory=dict)
    columns: dict[str, frozenset[str]] = field(default_factory=dict)
    unread: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))
    hashes: dict[str, str] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)

    def rows(self, part: str) -> list[Any]:
        rows: list[Any] = getattr(self, part)
        return rows

    def file_of(self, part: str) -> str:
        """The name of the file that a part came in, as the reader knows it."""
        return self.files.get(part, f"{PARTS[part].stem}.csv")

    def refuse(self, part: str, line: int, column: str, reason: str) -> None:
        self.problems.append(Problem(self.file_of(part), line, column, reason))

    def remark(self, part: str, line: int, text: str) -> None:
        self.remarks.append(str(Problem(self.file_of(part), line, "", text)))


# How one cell is read


def read_text(text: str, zone: tzinfo) -> str:
    if any(ord(letter) < 32 for letter in text):
        raise ValueError("The text holds a line break or another control character.")
    return text


def read_code(text: str, zone: tzinfo) -> str:
    """Read a number or code that stands in the address of a page."""
    if "/" in text or "\\" in text or text in (".", ".."):
        raise ValueError(f"{text!r} cannot stand in an address: leave out slashes.")
    return read_text(text, zone)


def read_day(text: str, zone: tzinfo) -> date:
    found = DAY.fullmatch(text)
    if found:
        try:
            return _likely(date.fromisoformat(found[1]))
        except ValueError:
            pass
    raise ValueError(f"{text!r} is not a day: write it as in 2026-03-09.")


def _likely(day: date) -> date:
    """Refuse a slip of the keyboard, and years with which no month can be added."""
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise ValueError
    return day


def read_instant(text: str, zone: tzinfo) -> datetime:
    """Read an instant; without an offset it is on the clock of ``zone``."""
    if INSTANT.fullmatch(text):
        try:
            at = datetime.fromisoformat(text)
            _likely(at.date())
            return (at if at.tzinfo else at.replace(tzinfo=zone)).astimezone(UTC)
        except (ValueError, OverflowError):
            pass
    raise ValueError(f"{text!r} is not a day with a time: write it as in 2026-03-09T16:20:00.")


def read_count(text: str, zone: tzinfo) -> int:
    if not re.fullmatch(r"\d{1,5}", text):
        raise ValueError(f"{text!r} is not a whole number, 0 or more.")
    return int(text)


def read_months(text: str, zone: tzinfo) -> int:
    months = read_count(text, zone)
    if months > MOST_MONTHS:
        raise ValueError(f"{months} months are more than the {MOST_MONTHS} that can be counted.")
    return months


def one_of(*words: str) -> Callable[[str, tzinfo], str]:
    def read(text: str, zone: tzinfo) -> str:
        if text.lower() not in words:
            raise ValueError(f"{text!r} is not one of: {', '.join(words)}.")
        return text.lower()

    return read


@dataclass(frozen=True)
class Column:
    """How a column is read, whether it may be missing, and whether a cell may be empty."""

    name: str
    read: Callable[[str, tzinfo], Any] = read_text
    may_be_missing: bool = False
    may_be_empty: bool = False
    longest: int = 0
    empty: Any = None


def text(name: str, longest: int, *, empty: bool = False, missing: bool = False) -> Column:
    return Column(name, read_text, missing, empty or missing, longest, "")


def code(name: str, longest: int, *, missing: bool = False) -> Column:
    return Column(name, read_code, missing, missing, longest, "")


def day(name: str, *, empty: bool = False, missing: bool = False) -> Column:
    return Column(name, read_day, missing, empty or missing)


def instant(name: str, *, missing: bool = False) -> Column:
    return Column(name, read_instant, missing, missing)


@dataclass(frozen=True)
class Part:
    """One file of the bundle."""

    stem: str
    row: type
    columns: tuple[Column, ...]


PARTS = {
    "people": Part(
        "people",
        PersonRow,
        (
            code("employee_number", 32),
            text("full_name", 120),
            text("email", 254, empty=True),
            text("site", 80, empty=True),
            text("line_lead", 32, missing=True),
            day("started_on", missing=True),
            day("left_on", missing=True),
        ),
    ),
    "schemes": Part(
        "schemes",
        SchemeRow,
        (
            text("scheme", 80),
            Column("validity_months", read_months),
            Column("expiry_rule", one_of(*EXPIRY_RULES)),
            Column("renewal_window_days", read_count),
            Column("vision_months", read_months),
            Column("max_absence_months", read_months),
        ),
    ),
    "certificates": Part(
        "certificates",
        CertificateRow,
        (
            text("certificate_number", 40),
            code("employee_number", 32),
            text("scheme", 80),
            code("scope", 40),
            day("issued_on"),
            text("renews", 40, empty=True),
            instant("recorded_at"),
            instant("withdrawn_at", missing=True),
            text("restriction", 400, missing=True),
            text("issued_by", 160, missing=True),
        ),
    ),
    "events": Part(
        "certificate_events",
        EventRow,
        (
            text("event_id", 40),
            text("certificate_number", 40),
            Column("event", one_of(*EVENT_KINDS)),
            day("effective_on"),
            instant("recorded_at"),
            text("voids", 40, empty=True),
            text("reason", 400, empty=True),
            day("until", missing=True),
            text("authority", 160, missing=True),
        ),
    ),
    "vision_tests": Part(
        "vision_tests",
        VisionTestRow,
        (
            code("test_id", 40),
            code("employee_number", 32),
            day("tested_on"),
            Column("result", one_of("pass", "fail")),
            instant("recorded_at"),
            instant("withdrawn_at", missing=True),
        ),
    ),
    "practice": Part(
        "practice",
        PracticeRow,
        (
            code("employee_number", 32),
            code("scope", 40),
            day("performed_on"),
            instant("recorded_at"),
            instant("withdrawn_at", missing=True),
        ),
    ),
    "stamps": Part(
        "stamps",
        StampRow,
        (
            text("stamp", 32),
            code("employee_number", 32),
            day("issued_on"),
            day("returned_on", empty=True),
        ),
    ),
    "operations": Part("operations", OperationRow, (text("operation", 80), code("scope", 40))),
}


def read_bundle(path: Path, zone: tzinfo = UTC) -> Bundle:
    """Read a folder or zip of bundle files.

    Parameters
    ----------
    path : Path
        The folder or zip.
    zone : tzinfo
        The clock of the instants that carry no offset.

    Returns
    -------
    Bundle
        With ``problems`` for everything that did not fit; the rows that did are there too.

    Raises
    ------
    CannotRead
        If the path holds no bundle at all.
    """
    bundle = Bundle()
    for part, source in files_of(path, bundle):
        table = read_table(source.name, source.read())
        bundle.hashes[source.name] = table.sha256
        take_in(bundle, part, table, zone)
    return bundle


def files_of(path: Path, bundle: Bundle) -> list[tuple[str, Source]]:
    """Tell the parts among the files of a folder or zip, and note in the bundle what is none.

    Raises
    ------
    CannotRead
        If the path holds no bundle at all.
    """
    parts_by_stem = {part.stem: name for name, part in PARTS.items()}
    found = []
    for source in sources_in(path):
        name = PurePath(source.name.lower())
        part = parts_by_stem.get(name.stem)
        if part is None or name.suffix not in (".csv", ".xlsx"):
            bundle.remarks.append(f"{source.name} is no part of a register bundle: ignored.")
        elif part in bundle.files:
            bundle.refuse(part, 0, "", f"{source.name} is there as well: keep one of the two.")
        else:
            bundle.files[part] = source.name
            found.append((part, source))
    if "people" not in bundle.files:
        raise CannotRead(f"{path} holds no people.csv, which every register bundle begins with.")
    return found


def take_in(bundle: Bundle, part: str, table: Table, zone: tzinfo) -> None:
    """Read the rows of one file into a bundle; what does not fit becomes its problems."""
    columns = PARTS[part].columns
    bundle.problems += table.problems
    if not table.columns:
        return
    bundle.columns[part] = frozenset(table.columns)
    known = {column.name for column in columns}
    ignored = [name for name in table.columns if name not in known]
    if ignored:
        bundle.remarks.append(f"{table.file}: ignored these columns: {', '.join(ignored)}.")
    absent = [one.name for one in columns if one.name not in table.columns]
    needed = [one.name for one in columns if one.name in absent and not one.may_be_missing]
    for name in needed:
        bundle.refuse(part, 1, name, "The file has no column of this name.")
    if needed:
        return
    make, rows, before = PARTS[part].row, bundle.rows(part), len(bundle.problems)
    for row in table.rows:
        values = []
        for column in columns:
            if column.name in absent:
                values.append(column.empty)
                continue
            try:
                values.append(_read_cell(column, row.values[column.name], zone))
            except ValueError as error:
                bundle.refuse(part, row.line, column.name, str(error))
        if len(bundle.problems) == before:
            rows.append(make(row.line, *values))
        else:
            bundle.unread[part].add(row.values[columns[0].name])
        before = len(bundle.problems)


def _read_cell(column: Column, cell: str, zone: tzinfo) -> Any:
    if not cell:
        if column.may_be_empty:
            return column.empty
        raise ValueError("The cell is empty.")
    if column.longest and len(cell) > column.longest:
        raise ValueError(f"The text has {len(cell)} characters; at most {column.longest} fit.")
    return column.read(cell, zone)

"""The register bundle: which tables it has, their columns, and the typed rows that came of them.

What rows say of one another is checked in `bundle_checks`; files are read in
`audit.register_files`.
"""

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import tzinfo
from typing import Any

from people.domain.employee_numbers import LONGEST as LONGEST_NUMBER
from records.domain.problems import Problem

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
from .cells import (
    EMPTY,
    one_of,
    read_code,
    read_day,
    read_email,
    read_employee_number,
    read_instant,
    read_months,
    read_text,
    read_validity,
    read_window,
)

EVENT_KINDS = (
    "suspended",
    "reinstated",
    "revoked",
    "ended",
    "extended",
    "restricted",
    "unrestricted",
    "voided",
)
EXPIRY_RULES = ("same_day", "end_of_month")


@dataclass(frozen=True)
class Column:
    """How a column is read, whether it may be missing, and whether a cell may be empty."""

    name: str
    read: Callable[[str, tzinfo], Any] = read_text
    may_be_missing: bool = False
    may_be_empty: bool = False
    longest: int = 0
    empty: Any = None

    @property
    def holds_days(self) -> bool:
        return self.read in (read_day, read_instant)

    def value_of(self, cell: str, zone: tzinfo) -> Any:
        """Read a cell of the column; raise ValueError, with why, where it does not fit."""
        if not cell:
            if self.may_be_empty:
                return self.empty
            raise ValueError(EMPTY)
        if self.longest and len(cell) > self.longest:
            raise ValueError(f"The text has {len(cell)} characters; at most {self.longest} fit.")
        return self.read(cell, zone)


def text(name: str, longest: int, *, empty: bool = False, missing: bool = False) -> Column:
    return Column(name, read_text, missing, empty or missing, longest, "")


def code(name: str, longest: int, *, missing: bool = False) -> Column:
    return Column(name, read_code, missing, missing, longest, "")


def number(name: str, *, missing: bool = False) -> Column:
    return Column(name, read_employee_number, missing, missing, LONGEST_NUMBER, "")


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
            number("employee_number"),
            text("full_name", 120),
            Column("email", read_email, False, True, 254, ""),
            text("site", 80, empty=True),
            number("line_lead", missing=True),
            day("started_on", missing=True),
            day("left_on", missing=True),
        ),
    ),
    "schemes": Part(
        "schemes",
        SchemeRow,
        (
            text("scheme", 80),
            Column("validity_months", read_validity),
            Column("expiry_rule", one_of(*EXPIRY_RULES)),
            Column("renewal_window_days", read_window),
            Column("vision_months", read_months),
            Column("max_absence_months", read_months),
        ),
    ),
    "certificates": Part(
        "certificates",
        CertificateRow,
        (
            text("certificate_number", 40),
            number("employee_number"),
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
            text("restriction", 400, missing=True),
        ),
    ),
    "vision_tests": Part(
        "vision_tests",
        VisionTestRow,
        (
            code("test_id", 40),
            number("employee_number"),
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
            number("employee_number"),
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
            number("employee_number"),
            day("issued_on"),
            day("returned_on", empty=True),
        ),
    ),
    "operations": Part("operations", OperationRow, (text("operation", 80), code("scope", 40))),
}


@dataclass
class Bundle:
    """Everything a bundle says, and what of it cannot be taken in.

    ``unread`` holds what the first column of a bad row says: other rows that name it are
    not bad for that. ``unread_parts`` are those of whose file not every row is known: what
    others name of them may be there.
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
    unread_parts: set[str] = field(default_factory=set)
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

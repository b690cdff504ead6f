"""Work logs judged: whose work each row is, in which scope, and how they stood that day."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, tzinfo
from typing import Protocol

import numpy as np
import polars as pl

from certification.domain.known_at import end_of_day
from records.domain.problems import Problem

from .cells import DAY_FORMAT, EMPTY, read_work_day
from .frames import mapped
from .standing_spans import NEVER, STANDINGS, UNKNOWN, LoggedDays, Spans, keys_for
from .work_log import LINE, WorkLog

Progress = Callable[[str, int, int], None]
"""Told the stage, how much of it is done and how much there is."""

STANDING, CERTIFICATE = "standing", "certificate_number"
PERSON, DAY, SCOPE = "person", "day", "scope_code"
"""Columns beside the log's own: place in the register's people, day, and scope's code."""


@dataclass(frozen=True)
class CheckOptions:
    """What is asked about every row.

    Attributes
    ----------
    known_at : datetime or None
        Use only what had been recorded by then; None uses everything. Kept in UTC, as the
        instants in registers are: columns on different clocks cannot be compared.
    as_known_then : bool
        Judge each row as known at the end of its own day, on the clock of ``zone``.
    counts_as_practice : bool
        Add the log's own rows to the practice record first.
    """

    known_at: datetime | None = None
    as_known_then: bool = False
    counts_as_practice: bool = False
    zone: tzinfo = UTC

    def __post_init__(self) -> None:
        if self.known_at is not None:
            object.__setattr__(self, "known_at", self.known_at.astimezone(UTC))

    def end_of(self, day: date) -> datetime:
        return end_of_day(day, self.zone).astimezone(UTC)


class Register(Protocol):
    """What a log is held against.

    Attributes
    ----------
    people : dict of str to int
        Where somebody stands in ``numbers``, by employee number.
    numbers : list of str
        Employee numbers.
    scopes : dict of str to int
        Empty where none is named anywhere: then every scope is one that nobody holds.
    operations : dict of str to str
        The scope's code for each operation.
    stamps : polars.DataFrame
        Columns ``stamp``, ``number``, ``person`` (null for a number that is nobody's), ``first``
        and ``last``, the last two as ordinals.
    away : polars.DataFrame
        Days on which somebody of ``people`` was elsewhere and is nobody's here: columns
        ``person``, ``first`` and ``last``, the last two as ordinals.
    """

    people: dict[str, int]
    numbers: list[str]
    scopes: dict[str, int]
    operations: dict[str, str]
    stamps: pl.DataFrame
    away: pl.DataFrame

    def spans(self, logged: LoggedDays, check_options: CheckOptions, progress: Progress) -> Spans:
        """Work out how the pairs of a log stand; a pair is person × number of scopes + scope."""
        ...


@dataclass
class Findings:
    """The rows of a log that could be judged, and what is wrong with the others.

    Attributes
    ----------
    headings : list of str
        Those of the findings' file.
    columns : list of str
        The columns of ``frame`` under them.
    frame : polars.DataFrame
        The findings, with ``line``, ``person``, ``day`` and ``scope_code`` beside them.
    problems : list of Problem
        By line.
    """

    headings: list[str]
    columns: list[str]
    frame: pl.DataFrame
    problems: list[Problem]

    @property
    def bad_rows(self) -> int:
        return len({problem.line for problem in self.problems})

    def counts(self) -> dict[str, int]:
        """How many rows stand how, in the order of the rules."""
        counts = dict(self.frame[STANDING].value_counts().iter_rows())
        return {word: counts[word] for word in STANDINGS if counts.get(word)}

    def concerned(self) -> tuple[int, int]:
        """People and days with at least one row that was not certified."""
        rows = self.frame.select(PERSON, DAY, STANDING).filter(pl.col(STANDING) != "certified")
        return rows[PERSON].drop_nulls().n_unique(), rows[DAY].n_unique()


def check_log(
    log: WorkLog,
    register: Register,
    check_options: CheckOptions,
    progress: Progress = lambda stage, done, total: None,
) -> Findings:
    """Hold every row of a log against a register.

    A number says who it was; where it is empty, whoever held the stamp that day. A scope says
    what work it was; where it is empty, the scope of the operation.
    """
    rows = _LogRows(log)
    rows.read_days(check_options.zone)
    rows.identify_scopes(register)
    rows.identify_people(register)
    checkable = rows.checkable()
    days = checkable[DAY].to_numpy().astype(np.int64) + EPOCH
    checkable = checkable.with_columns(_here(checkable[PERSON], days, register.away))
    person, scope = checkable[PERSON], checkable["scope"]
    known = person.is_not_null().to_numpy()
    pairs = person.fill_null(0).to_numpy().astype(np.int64) * max(len(register.scopes), 1)
    pairs += scope.to_numpy()
    keys = keys_for(pairs, days)
    spans = register.spans(
        LoggedDays(keys if known.all() else keys[known]), check_options, progress
    )
    progress("judge", 0, len(keys))
    span_index = spans.look_up(keys)
    del keys, pairs, days
    codes = np.full(len(span_index), NEVER, dtype=np.uint8)
    has_span = span_index >= 0
    codes[has_span] = spans.standings[span_index[has_span]]
    codes[~known] = UNKNOWN
    span_index[~known] = -1
    index_or_null = pl.Series(span_index).set(pl.Series(span_index < 0), None)
    certificates = spans.certificates.gather(index_or_null).fill_null("")
    standing = pl.Series(codes).cat.to(pl.Enum(STANDINGS))
    return rows.findings(register, checkable, standing, certificates)


def away_frame(rows: Iterable[tuple[int, int, int]] = ()) -> pl.DataFrame:
    """Rows of person, first and last day as ``Register.away`` has them."""
    schema = {PERSON: pl.Int64, "first": pl.Int64, "last": pl.Int64}
    return pl.DataFrame(list(rows), schema=schema, orient="row")


def _here(person: pl.Series, days: np.ndarray, away: pl.DataFrame) -> pl.Series:
    """Who it was, and nobody on days on which they were elsewhere."""
    if away.is_empty():
        return person
    rows = pl.DataFrame({PERSON: person, DAY: days}).with_row_index("at")
    elsewhere = (
        rows.join(away, on=PERSON)
        .filter(pl.col(DAY).is_between(pl.col("first"), pl.col("last")))["at"]
        .unique()
    )
    return person.scatter(elsewhere, None).alias(PERSON) if len(elsewhere) else person


EPOCH = 719163  # date(1970, 1, 1).toordinal()


class _LogRows:
    """The rows of a log while it is worked out what they say."""

    def __init__(self, log: WorkLog) -> None:
        self.log = log
        self.frame = pl.DataFrame({LINE: log.frame[LINE]})
        self.problems = list(log.problems)
        self._bad: pl.Series | None = None

    def cells(self, name: str) -> pl.Series:
        """A column of the log; empty text where it has none of this name."""
        index = self.log.indexes.get(name)
        if index is None:
            return pl.Series([""], dtype=pl.String).new_from_index(0, self.frame.height)
        return self.log.frame[str(index)].str.strip_chars()

    def refuse(self, rows: pl.Series, column: str, reason: Callable[[int], str]) -> None:
        """Leave rows out; ``reason`` takes the index of each in the log."""
        if not rows.any():
            return
        lines = self.frame[LINE]
        for index in rows.arg_true().to_list():
            self.problems.append(Problem(self.log.name, lines[index], column, reason(index)))
        self._bad = rows if self._bad is None else self._bad | rows

    def read_days(self, zone: tzinfo) -> None:
        cells = self.cells("worked_on")
        known, days, why = [], [], {}
        for text in cells.unique().to_list():
            try:
                days.append(read_work_day(text, zone))
                known.append(text)
            except ValueError as error:
                why[text] = str(error) if text else EMPTY
        read = mapped(cells, known, days, pl.Date)
        self.frame = self.frame.with_columns(read.alias(DAY))
        self.refuse(read.is_null(), "worked_on", lambda index: why[cells[index]])

    def identify_scopes(self, register: Register) -> None:
        scopes, operations = self.cells("scope"), self.cells("operation")
        named = scopes != ""
        if not named.all():
            codes_of_operations = mapped(
                operations, list(register.operations), [*register.operations.values()], pl.String
            )
            self.refuse(
                ~named & (operations == ""),
                "scope",
                lambda index: "The row names neither a scope nor an operation.",
            )
            self.refuse(
                ~named & (operations != "") & codes_of_operations.is_null(),
                "operation",
                lambda index: f"There is no operation {operations[index]} in the register.",
            )
            scopes = scopes.zip_with(named, codes_of_operations.fill_null(""))
        codes = mapped(scopes, list(register.scopes), [*register.scopes.values()], pl.Int64)
        if not register.scopes:
            codes = pl.Series([0]).new_from_index(0, self.frame.height)
        self.refuse(
            codes.is_null() & (scopes != ""),
            "scope",
            lambda index: f"There is no scope {scopes[index]} in the register.",
        )
        self.frame = self.frame.with_columns(codes.alias("scope"), scopes.alias(SCOPE))

    def identify_people(self, register: Register) -> None:
        numbers, stamps = self.cells("employee_number"), self.cells("stamp")
        people = mapped(numbers, list(register.people), [*register.people.values()], pl.Int64)
        unnamed = numbers == ""
        if unnamed.any():
            self.refuse(
                unnamed & (stamps == ""),
                "employee_number" if "employee_number" in self.log.indexes else "stamp",
                lambda index: "The row names nobody: give an employee number or a stamp.",
            )
            stamps_and_days = pl.DataFrame({"stamp": stamps, DAY: self.frame[DAY]}).filter(
                unnamed & (stamps != "") & self.frame[DAY].is_not_null()
            )
            holders = _holders(stamps_and_days.unique(), register)
            holder_of_row = pl.DataFrame({"stamp": stamps, DAY: self.frame[DAY]}).join(
                holders, on=["stamp", DAY], how="left", maintain_order="left"
            )
            several = unnamed & (holder_of_row["holders"].fill_null(0) > 1)
            self.refuse(
                several,
                "stamp",
                lambda index: (
                    f"Stamp {stamps[index]} was with more than one person that day: "
                    "give the employee number."
                ),
            )
            people = people.zip_with(~unnamed, holder_of_row[PERSON])
            numbers = numbers.zip_with(~unnamed, holder_of_row["number"].fill_null(""))
        self.frame = self.frame.with_columns(people.alias(PERSON), numbers.alias("number"))

    def checkable(self) -> pl.DataFrame:
        """The rows that can be judged."""
        return self.frame if self._bad is None else self.frame.filter(~self._bad)

    def findings(
        self,
        register: Register,
        checkable: pl.DataFrame,
        standing: pl.Series,
        certificates: pl.Series,
    ) -> Findings:
        cells = self.log.frame if self._bad is None else self.log.frame.filter(~self._bad)
        identified = {
            "employee_number": checkable["number"],
            "scope": checkable[SCOPE],
            "worked_on": checkable[DAY].dt.to_string(DAY_FORMAT),
        }
        headings, columns, series = [], [], [cells[LINE]]
        names = {index: name for name, index in self.log.indexes.items()}
        before = {"stamp": "employee_number", "operation": "scope"}
        for index, heading in enumerate(self.log.headings):
            name = names.get(index)
            filled = before.get(name or "")
            if filled and filled not in self.log.indexes:
                headings.append(filled)
                columns.append(filled)
                series.append(identified[filled].alias(filled))
            headings.append(name or _kept_heading(heading))
            columns.append(str(index))
            series.append(
                (identified[name] if name in identified else cells[str(index)]).alias(str(index))
            )
        frame = pl.DataFrame(
            [
                *series,
                standing.alias(STANDING),
                certificates.alias(CERTIFICATE),
                checkable[PERSON].cast(pl.Int32),
                checkable[DAY],
                checkable[SCOPE],
            ]
        )
        problems = sorted(self.problems, key=lambda problem: (problem.line, problem.column))
        return Findings(
            [*headings, STANDING, CERTIFICATE], [*columns, STANDING, CERTIFICATE], frame, problems
        )


def _kept_heading(heading: str) -> str:
    """The heading of a column that is kept, told apart from those of the findings."""
    if heading.strip().lower() in (STANDING, CERTIFICATE):
        return f"logged_{heading.strip().lower()}"
    return heading


def _holders(stamps_and_days: pl.DataFrame, register: Register) -> pl.DataFrame:
    """Who held stamps on days: ``number`` and ``person``, and how many ``holders`` there were."""
    return (
        stamps_and_days.join(register.stamps, on="stamp", how="inner")
        .filter((pl.col(DAY).cast(pl.Int64) + EPOCH).is_between(pl.col("first"), pl.col("last")))
        .group_by("stamp", DAY)
        .agg(pl.col("number", PERSON).first(), pl.col("number").n_unique().alias("holders"))
    )

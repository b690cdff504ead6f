"""Rows of checked work logs that name a unit, a work order or a stamp.

Logs have up to millions of rows, so of each no more columns are read than answer the question;
the latest logs are looked through first, and no more of them than a page can wait for.
"""

import io
import time
from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date

import polars as pl

from audit.domain.work_log import LINE, names_a_unit
from audit.domain.work_log_check import DAY, SCOPE
from audit.models import WorkLogCheck
from audit.models.work_log import WorkLogCheckQuerySet

MOST_LOGS = 24
MOST_ROWS = 6_000_000
LONGEST_S = 2.0
MOST_ANSWERS = 50
LINES_NAMED = 3
CANDIDATES = 200


@dataclass(frozen=True, slots=True)
class LoggedRows:
    """Rows of one log that name the same person, day and scope, by their lines in the file."""

    check: WorkLogCheck
    heading: str
    value: str
    employee_number: str
    day: date
    scope_code: str
    lines: tuple[int, ...]
    count: int


@dataclass(slots=True)
class LookedThrough:
    """What logs answered, how many were looked through and how many were not."""

    rows: list[LoggedRows] = field(default_factory=list)
    logs: int = 0
    left: int = 0


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a row must name; ``stamp`` is asked for with a day alone."""

    units: Collection[str] = ()
    stamp: str = ""
    day: date | None = None


def rows_naming(
    checks: WorkLogCheckQuerySet, wanted: Wanted, clock: Callable[[], float] = time.monotonic
) -> LookedThrough:
    """Look through logs that were checked, the latest first, as far as the limits allow."""
    begun, rows_read, answer = clock(), 0, LookedThrough()
    finished = checks.filter(findings__gt="")
    latest = list(
        finished.defer("problems", "people", "counts")
        .prefetch_related("sites")
        .order_by("-recorded_at", "-pk")[:CANDIDATES]
    )
    for check in _each_log_once(latest):
        columns = _columns(check, wanted)
        if not columns:
            continue  # A log without such a column says nothing of it.
        spent = clock() - begun > LONGEST_S or rows_read + check.rows > MOST_ROWS
        if answer.logs and (spent or answer.logs >= MOST_LOGS):
            answer.left += 1
            continue
        rows = _rows_of(check, columns, wanted)
        if rows is None:
            answer.left += 1
            continue
        answer.logs += 1
        rows_read += check.rows
        answer.rows += rows
    if len(latest) == CANDIDATES:
        answer.left += finished.count() - CANDIDATES
    return answer


def _each_log_once(checks: Iterable[WorkLogCheck]) -> Iterator[WorkLogCheck]:
    """Each log by its latest check against the same sites."""
    seen = set()
    for check in checks:
        log = (check.sha256, frozenset(site.pk for site in check.sites.all()))
        if log not in seen:
            seen.add(log)
            yield check


def _columns(check: WorkLogCheck, wanted: Wanted) -> dict[str, str]:
    """The columns to look in, with their headings."""
    headings = dict(zip(check.columns, check.headings, strict=True))
    units = bool(wanted.units)
    stamp = bool(wanted.stamp and wanted.day)
    return {
        column: heading
        for column, heading in headings.items()
        if (units and names_a_unit(heading)) or (stamp and heading == "stamp")
    }


def _rows_of(
    check: WorkLogCheck, columns: dict[str, str], wanted: Wanted
) -> list[LoggedRows] | None:
    """Rows of one log; None where its findings are not to be had."""
    number = check.columns[check.headings.index("employee_number")]
    units, stamp = [unit.upper() for unit in wanted.units], [wanted.stamp.upper()]
    found: list[LoggedRows] = []
    try:
        findings = _scan(check)
        if wanted.day is not None:
            findings = findings.filter(pl.col(DAY) == wanted.day)
        for column, heading in columns.items():
            cells = pl.col(column).str.strip_chars()
            asked = stamp if heading == "stamp" else units
            rows = (
                findings.filter(cells.str.to_uppercase().is_in(asked))
                .select(
                    cells.alias("value"),
                    pl.col(number).alias("number"),
                    pl.col(DAY).alias("on"),
                    pl.col(SCOPE).alias("scope"),
                    pl.col(LINE).alias("at"),
                )
                .group_by("value", "number", "on", "scope")
                .agg(pl.len().alias("count"), pl.col("at").sort().head(LINES_NAMED))
                .sort(["on", "number", "scope", "value"], descending=[True, False, False, False])
                .head(MOST_ANSWERS)
                .collect()
            )
            found += [
                LoggedRows(check, heading, value, person, on, scope, tuple(lines), count)
                for value, person, on, scope, count, lines in rows.iter_rows()
            ]
    except FileNotFoundError:
        return None
    return found


def _scan(check: WorkLogCheck) -> pl.LazyFrame:
    try:
        return pl.scan_parquet(check.findings.path)
    except NotImplementedError:  # Storage elsewhere has no path, so all of the file is fetched.
        with check.findings.open("rb") as file:
            return pl.scan_parquet(io.BytesIO(file.read()))

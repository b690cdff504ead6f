"""Bringing an earlier register over: a bundle is checked, then taken in whole or not at all."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Any

from django.db import transaction

from audit.domain import bundle_checks
from audit.domain.bundle import PARTS, Bundle
from audit.exceptions import BundleRefused, CannotImportNow
from audit.queries.register_rows import Stored, StoredRow, people_named, read_stored
from audit.register_files.bundle import read_bundle
from certification.services import standing
from people.models import Site, User
from people.services.people import lock_people
from records.domain.problems import Problem
from records.exceptions import SiteIsServed
from records.services import site_to_oneself, trail

from . import import_writes as writes

MOST_BESIDE_OTHERS = 500
"""Rows of a register that are taken in while others go on writing: they wait for less than two
seconds, which `benchmarks/importing.py` measures."""


@dataclass
class Summary:
    """What an import did, or would do."""

    added: Counter[str] = field(default_factory=Counter)
    same: Counter[str] = field(default_factory=Counter)
    amended: Counter[str] = field(default_factory=Counter)
    scopes_created: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    hashes: dict[str, str] = field(default_factory=dict)
    written: bool = False

    def lines(self) -> list[str]:
        """One line for each file that came, in the bundle's order."""
        lines = []
        for part, described in PARTS.items():
            counts = [
                (self.added[part], "new"),
                (self.amended[part], "withdrawn or returned since"),
                (self.same[part], "there already"),
            ]
            counted = ", ".join(f"{count} {word}" for count, word in counts if count)
            if counted:
                lines.append(f"{described.stem}: {counted}")
        return lines


class RegisterRefused(BundleRefused):
    """Carries every problem that was found."""

    def __init__(self, problems: list[Problem], remarks: list[str]) -> None:
        self.problems = sorted(
            problems, key=lambda problem: (problem.file, problem.line, problem.column)
        )
        self.remarks = remarks
        super().__init__(f"{len(problems)} rows or cells cannot be taken in, so nothing was.")


def import_register(
    *,
    path: Path,
    zone: tzinfo,
    at: datetime,
    actor: User | str | None,
    default_site: Site | None = None,
    check_only: bool = False,
) -> Summary:
    """Load a register bundle, all or nothing.

    Rows that are in the register already and say the same are left alone; rows that say
    something else are refused, since a record is not overwritten. A row that was withdrawn
    since, and a stamp that was returned since, are taken in as that.

    All of it is written in one transaction, in which nobody else can write: on SQLite at all, on
    PostgreSQL to the trail, in which every change ends. So more than `MOST_BESIDE_OTHERS` rows
    are taken in only while nobody serves the site, and nobody begins to meanwhile.

    Raises
    ------
    CannotRead
        If the path holds no bundle.
    Refused
        If any row cannot be taken in; its ``problems`` are all there are.
    CannotImportNow
        If it is large and the site is served.
    """
    bundle = read_bundle(path, zone)
    if check_only:
        comparison = _compared(bundle, default_site, at)
        return comparison.summary
    rows = sum(len(bundle.rows(part)) for part in PARTS)
    if rows <= MOST_BESIDE_OTHERS:
        return _take_in(bundle, path.name, default_site, at, actor)
    try:
        with site_to_oneself.alone("a register is imported"):
            return _take_in(bundle, path.name, default_site, at, actor)
    except SiteIsServed as served:
        raise CannotImportNow(
            f"The register has {rows} rows, and more than {MOST_BESIDE_OTHERS} are taken in only "
            "while the site is not served, since nobody else can write meanwhile. Stop it: Ctrl-C "
            "where it was started, `docker compose stop web worker reminders beat`, or as your "
            "system stops services. Then run this again, and start the site after it. --check can "
            "be run at any time. Nothing was taken in."
        ) from served


def _compared(bundle: Bundle, default_site: Site | None, at: datetime) -> "Comparison":
    """Check a bundle and hold it against the register; raise RegisterRefused if it does not fit."""
    stored = read_stored(bundle, default_site)
    bundle_checks.check(bundle, stored.known)
    comparison = _compare_with_register(bundle, stored)
    if bundle.problems:
        raise RegisterRefused(bundle.problems, bundle.remarks)
    summary = comparison.summary
    summary.hashes = bundle.hashes
    summary.scopes_created = writes.scopes_to_create(bundle, stored)
    summary.remarks = bundle.remarks + _remarks_on_times(bundle, at)
    return comparison


@transaction.atomic
def _take_in(
    bundle: Bundle,
    name: str,
    default_site: Site | None,
    at: datetime,
    actor: User | str | None,
) -> Summary:
    lock_people(people_named(bundle))
    comparison = _compared(bundle, default_site, at)
    summary = comparison.summary
    writer = writes.Writer(bundle=bundle, stored=comparison.stored, at=at, actor=actor)
    writer.write(comparison.rows, comparison.withdrawn, comparison.returned)
    standing.rebuild_people(writer.touched)
    writer.write_trail()
    trail.record(
        actor=actor,
        act="register imported",
        about=("register-file", name),
        payload={
            "files": bundle.hashes,
            "added": dict(summary.added),
            "amended": dict(summary.amended),
            "scopes_created": summary.scopes_created,
        },
        at=at,
    )
    summary.written = True
    return summary


@dataclass
class Comparison:
    """Rows to write, by part, apart from those that the register holds already."""

    summary: Summary
    stored: Stored
    rows: dict[str, list[Any]] = field(default_factory=dict)
    withdrawn: list[tuple[str, Any]] = field(default_factory=list)
    returned: list[Any] = field(default_factory=list)


def _compare_with_register(bundle: Bundle, stored: Stored) -> Comparison:
    """Hold every row against the register; add to the bundle's problems where they differ."""
    comparison = Comparison(Summary(), stored)
    for part in PARTS:
        new = comparison.rows.setdefault(part, [])
        seen: dict[Any, int] = {}
        for row in bundle.rows(part):
            key = writes.key_of(part, row)
            if part == "practice" and key in seen:
                bundle.remark(part, row.line, f"Says the same as line {seen[key]}: left out.")
                continue
            seen.setdefault(key, row.line)
            stored_row = stored.rows[part].get(key)
            if stored_row is None:
                new.append(row)
                comparison.summary.added[part] += 1
                continue
            differing = _differing(bundle, stored, part, row, stored_row)
            if differing == ["withdrawn_at"] and stored_row.values["withdrawn_at"] is None:
                comparison.withdrawn.append((part, row))
                comparison.summary.amended[part] += 1
            elif (
                part == "stamps"
                and differing == ["returned_on"]
                and not stored_row.values["returned_on"]
            ):
                comparison.returned.append(row)
                comparison.summary.amended[part] += 1
            elif differing:
                _refuse_different(bundle, part, row, stored_row.values, differing)
            else:
                comparison.summary.same[part] += 1
    for part, count in comparison.summary.same.items():
        bundle.remarks.append(
            f"{bundle.file_of(part)}: {count} rows are in the register already: left alone."
        )
    return comparison


def _differing(
    bundle: Bundle, stored: Stored, part: str, row: Any, stored_row: StoredRow
) -> list[str]:
    """Columns that came with the file and say something else than the register."""
    return [
        column
        for column, value in stored_row.values.items()
        if column in bundle.columns[part] and stored.value_of(row, column) != value
    ]


def _refuse_different(
    bundle: Bundle, part: str, row: Any, values: dict[str, Any], differing: Iterable[str]
) -> None:
    for column in differing:
        stored_value = values[column]
        shown = "nothing" if stored_value in (None, "") else stored_value
        bundle.refuse(
            part,
            row.line,
            column,
            f"The register holds this already and says {shown} here. Records are not overwritten: "
            "mend the row, or correct the register first.",
        )


def _remarks_on_times(bundle: Bundle, at: datetime) -> list[str]:
    """Point out what is recorded in the future: nobody can have known it yet."""
    later = [
        str(Problem(bundle.file_of(part), row.line, "", "It is recorded in the future."))
        for part in ("certificates", "events", "vision_tests", "practice")
        for row in bundle.rows(part)
        if row.recorded_at > at
    ]
    shown = later[:20]
    if len(later) > len(shown):
        shown.append(f"{len(later) - len(shown)} more rows are recorded in the future.")
    return shown

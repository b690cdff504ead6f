"""A register bundle on the disk: a folder or zip of tables, read into typed rows.

Every row that does not fit is reported with file, line, column and reason; nothing here
touches the database.
"""

import re
from collections.abc import Sequence
from datetime import UTC, tzinfo
from pathlib import Path, PurePath

from audit.domain.bundle import PARTS, Bundle
from records.exceptions import CannotRead
from records.tables.reading import Source, Table, read_table, sources_in


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
        table = read_table(source.name, source.read(), is_heading)
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
    part_sources = []
    for source in sources_in(path):
        name = PurePath(source.name.lower())
        part = parts_by_stem.get(name.stem)
        if part is None or name.suffix not in (".csv", ".xlsx"):
            bundle.remarks.append(f"{source.name} is no part of a register bundle: ignored.")
        elif part in bundle.files:
            bundle.refuse(part, 0, "", f"{source.name} is there as well: keep one of the two.")
        else:
            bundle.files[part] = source.name
            part_sources.append((part, source))
    if "people" not in bundle.files:
        raise CannotRead(f"{path} holds no people.csv, which every register bundle begins with.")
    return part_sources


def misspelt(part: str, names: Sequence[str]) -> dict[str, str]:
    """The columns that are a letter away from one that is not there, and which that is."""
    absent = [column.name for column in PARTS[part].columns if column.name not in names]
    known = {column.name for column in PARTS[part].columns}
    wrong = {}
    for name in names:
        if name not in known:
            meant = next((other for other in absent if _is_a_letter_away(name, other)), None)
            if meant:
                wrong[name] = meant
    return wrong


def _is_a_letter_away(name: str, other: str) -> bool:
    """Whether a letter was left out, added, mistyped or changed places with its neighbour."""
    name, other = (re.sub(r"[\s_.-]+", "_", word) for word in (name, other))
    if name == other or name.replace("_", "") == other.replace("_", ""):
        return True
    begin = next((i for i, (a, b) in enumerate(zip(name, other, strict=False)) if a != b), None)
    if begin is None:
        return abs(len(name) - len(other)) == 1
    rest, other_rest = name[begin:], other[begin:]
    return (
        rest[1:] == other_rest[1:]
        or rest[1:] == other_rest
        or rest == other_rest[1:]
        or (rest[:2] == other_rest[1::-1] and rest[2:] == other_rest[2:])
    )


def is_heading(names: list[str]) -> bool:
    """Whether a heading has all that some part of a bundle needs."""
    return any(
        all(column.may_be_missing or column.name in names for column in part.columns)
        for part in PARTS.values()
    )


def take_in(bundle: Bundle, part: str, table: Table, zone: tzinfo) -> None:
    """Read the rows of one file into a bundle; what does not fit becomes its problems."""
    columns = PARTS[part].columns
    bundle.problems += table.problems
    bundle.remarks += table.remarks
    if not table.is_whole:
        bundle.unread_parts.add(part)
    if not table.columns:
        return
    bundle.columns[part] = frozenset(table.columns)
    known = {column.name for column in columns}
    wrong = misspelt(part, table.columns)
    for name, meant in wrong.items():
        bundle.refuse(part, 1, name, f"There is no such column: is it {meant}?")
    ignored = [name for name in table.columns if name not in known and name not in wrong]
    if ignored:
        bundle.remarks.append(f"{table.file}: ignored these columns: {', '.join(ignored)}.")
    absent = [column.name for column in columns if column.name not in table.columns]
    needed = [
        column.name for column in columns if column.name in absent and not column.may_be_missing
    ]
    for name in needed:
        if name not in wrong.values():
            bundle.refuse(part, 1, name, "The file has no column of this name.")
    if needed or wrong:
        bundle.unread_parts.add(part)
        return
    make, rows, before = PARTS[part].row, bundle.rows(part), len(bundle.problems)
    for row in table.rows:
        values = []
        for column in columns:
            if column.name in absent:
                values.append(column.empty)
                continue
            doubt = row.doubts.get(column.name)
            if doubt is not None and not (doubt.is_day and column.holds_days):
                bundle.refuse(part, row.line, column.name, doubt.reason)
                continue
            try:
                values.append(column.value_of(row.values[column.name], zone))
            except ValueError as error:
                bundle.refuse(part, row.line, column.name, str(error))
        if len(bundle.problems) == before:
            rows.append(make(row.line, *values))
        else:
            bundle.unread[part].add(row.values[columns[0].name])
        before = len(bundle.problems)

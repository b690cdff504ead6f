"""Everything that is kept about one person as a zip: CSV for a spreadsheet, JSON for a program."""

import json
import tempfile
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, date, datetime
from decimal import Decimal
from io import TextIOWrapper
from typing import IO, Any

from django.utils.translation import gettext as _

from people.models import Installation, Person
from people.ports import DataTable, personal_data

from .exported_tables import csv_lines

AT_ONCE = 500  # rows held in memory


def personal_data_zip(person: Person, *, at: datetime, in_full: bool) -> IO[bytes]:
    """Write the file to disk, row by row, and hand it over at its beginning.

    Parameters
    ----------
    in_full : bool
        Whether results and standing are in it; else the tables of them are left out and named.
    """
    tables = personal_data(person)
    given = [table for table in tables if in_full or not table.is_result]
    left_out = [table for table in tables if table not in given]
    file = tempfile.TemporaryFile()  # noqa: SIM115 - the response closes it
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("README.txt", _read_me(person, at, given, left_out))
        _write(archive, "columns.csv", csv_lines(("file", "column", "meaning"), _columns(given)))
        for table in given:
            lines = csv_lines(list(table.columns), map(_cells, _rows(table)))
            _write(archive, f"{table.name}.csv", lines)
        _write(archive, "data.json", _json(person, at, given))
    file.seek(0)
    return file


def _write(archive: zipfile.ZipFile, name: str, parts: Iterable[str]) -> None:
    with archive.open(name, "w") as member, TextIOWrapper(member, "utf-8", newline="") as text:
        for part in parts:
            text.write(part)


def _rows(table: DataTable) -> Iterator[Sequence[Any]]:
    fields = [path for path, _meaning in table.columns.values()]
    return table.rows.values_list(*fields).iterator(chunk_size=AT_ONCE)


def _columns(tables: Iterable[DataTable]) -> Iterator[tuple[str, str, str]]:
    for table in tables:
        for name, (_path, meaning) in table.columns.items():
            yield f"{table.name}.csv", name, str(meaning)


def _cells(row: Sequence[Any]) -> list[Any]:
    return ["" if (value := _plain(cell)) is None else value for cell in row]


def _plain(value: Any) -> Any:
    """A value as JSON has it: instants in UTC, and numbers of which no digit is lost as text."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, date):
        return value.isoformat()
    return str(value) if isinstance(value, Decimal) else value


def _json(person: Person, at: datetime, tables: Sequence[DataTable]) -> Iterator[str]:
    head = {"employee_number": person.employee_number, "made_at": _plain(at)}
    yield json.dumps(head, ensure_ascii=False)[:-1] + ', "tables": {'
    for place, table in enumerate(tables):
        names = list(table.columns)
        about = {
            "about": str(table.about),
            "columns": {name: str(table.columns[name][1]) for name in names},
        }
        said = json.dumps(about, ensure_ascii=False)[:-1]
        yield f'{"," if place else ""}\n"{table.name}": {said}, "rows": ['
        for number, row in enumerate(_rows(table)):
            line = dict(zip(names, map(_plain, row), strict=True))
            yield f"{',' if number else ''}\n{json.dumps(line, ensure_ascii=False)}"
        yield "]}"
    yield "}}\n"


def _read_me(
    person: Person, at: datetime, given: Sequence[DataTable], left_out: Sequence[DataTable]
) -> str:
    lines = [
        _("What %(organisation)s keeps about %(name)s, employee number %(number)s.")
        % {
            "organisation": Installation.current().organisation,
            "name": person.full_name,
            "number": person.employee_number,
        },
        _("Made at %(instant)s. Instants are in UTC.") % {"instant": _plain(at)},
        _(
            "Each table is a CSV file (UTF-8, commas) that columns.csv describes; data.json holds "
            "them all once more."
        ),
        "",
        *(f"{table.name}.csv: {table.about}" for table in given),
    ]
    if left_out:
        lines += [
            "",
            _(
                "Left out, since whoever had this file made may not read results: quality or the "
                "person themself has it made with them."
            ),
            *(f"{table.name}: {table.about}" for table in left_out),
        ]
    lines += [
        "",
        _(
            "Not in it: photographs themselves, and work logs that were held against the register, "
            "which are files of others."
        ),
    ]
    return "\n".join(lines) + "\n"

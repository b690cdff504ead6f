"""A register bundle as typed frames, for questions about all of it at once.

Columns are read as a whole. A row with a cell that is not plainly right goes to the reader of
`bundle`, which takes it in or says why not, so that both give the same rows and reasons.
"""

from collections.abc import Sequence
from datetime import UTC, tzinfo
from pathlib import Path
from typing import Any

import polars as pl

from audit.domain.bundle import PARTS, Bundle, Column
from audit.domain.cells import (
    EMAIL,
    read_code,
    read_day,
    read_email,
    read_employee_number,
    read_instant,
    read_text,
)
from audit.domain.frames import mapped
from audit.domain.work_log import LINE
from people.domain.employee_numbers import RESERVED, SPELLING
from records.exceptions import CannotRead
from records.tables.reading import Row, Table, read_table

from .bundle import files_of, is_heading, misspelt, take_in
from .plain_csv import Columns, read_plain

INSTANT_UTC = pl.Datetime("us", "UTC")
PLAIN_INSTANT = r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:[0-5]\d(?:\.\d{1,6})?(?:Z|[+-]\d{2}:?\d{2})?$"
FEW = 50_000
TEXTS = (read_text, read_code, read_email, read_employee_number)


class BundleFrames:
    """The files of a bundle; each is read when it is asked for, and not kept.

    Parameters
    ----------
    path : Path
        A folder or zip.
    zone : tzinfo
        The clock of the instants that carry no offset.

    Attributes
    ----------
    bundle : Bundle
        Its problems and remarks are those of the files read so far.
    """

    def __init__(self, path: Path, zone: tzinfo) -> None:
        self.bundle = Bundle()
        self._sources = dict(files_of(path, self.bundle))
        self._zone = zone

    def part(self, part: str) -> pl.DataFrame:
        """Read one part; a frame without rows where the bundle has no such file."""
        source = self._sources.get(part)
        if source is None:
            return _frame(part, [])
        content = source.read()
        columns = _plain_columns(source.name, content)
        if columns is not None:
            del content
            frame = self._read_columns(part, source.name, columns)
            if frame is not None:
                return frame
            content = source.read()
        return self._take_in(part, read_table(source.name, content, is_heading))

    def _read_columns(self, part: str, file: str, columns: Columns) -> pl.DataFrame | None:
        names = [heading.strip().lower() for heading in columns.headings]
        expected = PARTS[part].columns
        if "" in names or len(set(names)) != len(names):
            return None
        if any(column.name not in names and not column.may_be_missing for column in expected):
            return None
        known = {column.name for column in expected}
        if misspelt(part, names):
            return None
        if ignored := [name for name in names if name not in known]:
            self.bundle.remarks.append(f"{file}: ignored these columns: {', '.join(ignored)}.")
        read = [columns.frame[LINE].cast(pl.Int64)]
        doubtful = pl.repeat(False, columns.frame.height, dtype=pl.Boolean, eager=True)
        for column in expected:
            if column.name not in names:
                empty = pl.Series([column.empty], dtype=_type_of(column))
                read.append(empty.new_from_index(0, columns.frame.height).alias(column.name))
                continue
            text = columns.frame[str(names.index(column.name))].str.strip_chars()
            series, doubts = _read_column(column, text, self._zone)
            read.append(series.alias(column.name))
            if doubts is not None:
                doubtful |= doubts
        frame = pl.DataFrame(read)
        if not doubtful.any():
            return frame
        doubtful_rows = columns.frame.filter(doubtful)
        table = Table(file, "", names)
        for line, *cells in doubtful_rows.iter_rows():
            values = dict(zip(names, (cell.strip() for cell in cells), strict=True))
            table.rows.append(Row(line, values))
        again = self._take_in(part, table, remark=False)
        return pl.concat([frame.filter(~doubtful), again]).sort(LINE, maintain_order=True)

    def _take_in(self, part: str, table: Table, remark: bool = True) -> pl.DataFrame:
        remarks = list(self.bundle.remarks)
        take_in(self.bundle, part, table, self._zone)
        if not remark:
            self.bundle.remarks = remarks
        rows = self.bundle.rows(part)
        frame = _frame(part, rows)
        rows.clear()
        return frame


def _plain_columns(name: str, content: bytes) -> Columns | None:
    """The columns of a file that is read in one go; the reader of rows says what is too large."""
    if name.lower().endswith(".xlsx"):
        return None
    try:
        return read_plain(name, content)
    except CannotRead:
        return None


def _frame(part: str, rows: Sequence[Any]) -> pl.DataFrame:
    """Rows of a part as the reader makes them, in columns."""
    schema = {LINE: pl.Int64} | {column.name: _type_of(column) for column in PARTS[part].columns}
    return pl.DataFrame(
        [
            pl.Series(name, [getattr(row, name) for row in rows], kind)
            for name, kind in schema.items()
        ]
    )


def _type_of(column: Column) -> pl.DataType | type[pl.DataType]:
    if column.read is read_day:
        return pl.Date
    if column.read is read_instant:
        return INSTANT_UTC
    return pl.String if column.read in TEXTS or not _counts(column) else pl.Int64


def _counts(column: Column) -> bool:
    return column.name.endswith(("_months", "_days"))


def _read_column(
    column: Column, text: pl.Series, zone: tzinfo
) -> tuple[pl.Series, pl.Series | None]:
    """Read a column, and say which cells the reader of rows has to look at, if any."""
    if column.read is read_instant:
        series = _instants(text, zone)
        doubts = series.is_null() & (text != "") if column.may_be_empty else series.is_null()
        return series, doubts if doubts.any() else None
    distinct = text.unique()
    if column.read in TEXTS:
        bad = distinct.filter(_is_odd(column, distinct))
        return text, text.is_in(bad.implode()) if bad.len() else None
    if distinct.len() > FEW:
        # So many different days or figures are mostly none.
        return _nothing(column, text), pl.repeat(True, text.len(), dtype=pl.Boolean, eager=True)
    known, values = [], []
    for cell in distinct.to_list():
        try:
            values.append(column.read(cell, zone))
            known.append(cell)
        except ValueError:
            continue
    series = mapped(text, known, values, _type_of(column))
    doubts = series.is_null() & (text != "") if column.may_be_empty else series.is_null()
    return series, doubts if doubts.any() else None


def _nothing(column: Column, text: pl.Series) -> pl.Series:
    return pl.Series([None], dtype=_type_of(column)).new_from_index(0, text.len())


def _is_odd(column: Column, distinct: pl.Series) -> pl.Series:
    odd = distinct.str.contains(r"[\x00-\x1f]")
    if column.read is read_code:
        odd |= distinct.str.contains(r"[/\\]") | distinct.is_in([".", ".."])
    if column.read is read_email:
        odd |= (distinct != "") & ~distinct.str.contains(rf"^{EMAIL}$")
    if column.read is read_employee_number:
        plain = distinct.str.contains(SPELLING.replace(r"\Z", r"\z"))
        odd |= (distinct != "") & (~plain | distinct.str.to_lowercase().is_in(list(RESERVED)))
    if column.longest:
        odd |= distinct.str.len_chars() > column.longest
    return odd if column.may_be_empty else odd | (distinct == "")


def _instants(text: pl.Series, zone: tzinfo) -> pl.Series:
    """Read the instants that are written in the usual ways; null for all others."""
    plain = text.str.contains(PLAIN_INSTANT)
    bare = text.str.to_datetime("%Y-%m-%dT%H:%M:%S", strict=False, time_unit="us")
    if (rest := bare.is_null() & plain).any():
        # Much slower, and seldom needed.
        parts = text.set(~rest, None).str.to_datetime(
            "%Y-%m-%dT%H:%M:%S%.f", strict=False, time_unit="us"
        )
        bare = bare.zip_with(~rest, parts)
    name = "UTC" if zone is UTC else getattr(zone, "key", None)
    if name is None:
        bare = bare.clear().extend_constant(None, text.len())
    at = bare.dt.replace_time_zone(
        name or "UTC", ambiguous="earliest", non_existent="null"
    ).dt.convert_time_zone("UTC")
    rest = at.is_null() & plain
    if rest.any():
        other = text.set(~rest, None).str.to_datetime(
            "%Y-%m-%dT%H:%M:%S%.f%#z", strict=False, time_unit="us", time_zone="UTC"
        )
        at = at.zip_with(~rest, other)
    likely = at.dt.year().is_between(1901, 2198) & plain
    return at.set(~likely.fill_null(False), None)

"""Plain CSV as columns of text, read in one go.

Most large files are plain: UTF-8, as many cells in every line, no quotation mark inside a cell
and no cell over two lines. Anything else is left to the readers that go line by line and can
say what is wrong with one.
"""

import csv
import re
from dataclasses import dataclass

import polars as pl

from audit.domain.work_log import LINE
from records.tables.limits import refuse_too_many_cells
from records.tables.reading import delimiter_of

LONGEST_HEADING = 64 * 1024


@dataclass(frozen=True)
class Columns:
    """A file's cells: the heading as it is written, and one text column for each of its names.

    Column ``n`` is named ``str(n)``, since headings may repeat or be empty; ``line`` stands
    beside them. Lines without any text are left out.
    """

    headings: list[str]
    frame: pl.DataFrame


def read_plain(name: str, content: bytes) -> Columns | None:
    """Read a plain CSV file; None if it is not plain and has to be read line by line.

    Raises
    ------
    CannotRead
        If it has more cells than are read, named as ``name``.
    """
    begin = 3 if content.startswith(b"\xef\xbb\xbf") else 0
    head_end = content.find(b"\n", begin, begin + LONGEST_HEADING)
    if head_end < 0 or b"\0" in content:
        return None
    if content.count(b"\r") not in (0, content.count(b"\r\n")):
        return None
    try:
        heading = content[begin:head_end].decode("utf-8").rstrip("\r")
    except UnicodeDecodeError:
        return None
    quotes = content.count(b'"')
    if heading.lower().startswith("sep="):
        return None
    separator = delimiter_of(content)
    if quotes and not _quotes_whole_cells(content, separator, quotes):
        return None
    headings = next(csv.reader([heading], delimiter=separator))
    while headings and not headings[-1].strip():
        headings.pop()
    if len(headings) < 2:
        return None
    names = [str(index) for index in range(len(headings))]
    lines = content.count(b"\n", head_end + 1) + (not content.endswith(b"\n"))
    if not lines:
        return None
    refuse_too_many_cells(name, lines, len(headings))
    try:
        frame = pl.read_csv(
            content,
            has_header=False,
            skip_lines=1,
            separator=separator,
            quote_char='"' if quotes else None,
            schema=dict.fromkeys(names, pl.String),
            empty_string_is_null=False,
            row_index_name=LINE,
            row_index_offset=2,
        )
    except pl.exceptions.PolarsError:
        return None
    if frame.height != lines:
        return None
    blank = pl.all_horizontal(pl.col(name).str.strip_chars() == "" for name in names)
    if frame.select((pl.all_horizontal(pl.col(name) == "" for name in names[:2])).any()).item():
        frame = frame.filter(~blank)
    return Columns(headings, frame)


def _quotes_whole_cells(content: bytes, separator: str, quotes: int) -> bool:
    """Whether all quotation marks stand around whole cells, none of them over two lines."""
    mark = re.escape(separator.encode())
    cell = re.compile(rb"(?:^|[\n\xbf" + mark + rb'])"[^"\r\n]*"(?=[\r\n' + mark + rb"]|$)")
    return 2 * sum(1 for _cell in cell.finditer(content)) == quotes


def from_lines(headings: list[str], lines: list[int], rows: list[list[str]]) -> pl.DataFrame:
    """The same shape from rows that were read one by one, all as long as the heading."""
    cells = zip(*rows, strict=True) if rows else ([] for _name in headings)
    return pl.DataFrame(
        [
            pl.Series(LINE, lines, pl.UInt32),
            *(pl.Series(str(index), column, pl.String) for index, column in enumerate(cells)),
        ]
    )

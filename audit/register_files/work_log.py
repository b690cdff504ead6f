"""A work log on the disk: CSV or XLSX, any columns, one line of work in each row.

A row that cannot be read is reported with its line and left out; the others are read all the
same. What the columns say is worked out in `audit.domain.work_log_check`.
"""

import csv
import io
from collections import deque
from collections.abc import Container, Iterator
from typing import IO

import polars as pl

from audit.domain.work_log import KNOWN_COLUMNS, WorkLog
from records.exceptions import CannotRead
from records.tables.limits import refuse_too_many_cells
from records.tables.reading import Table, delimiter_of, is_hint, xlsx_lines
from records.tables.workbook import Doubt, Line

from .plain_csv import from_lines, read_plain

MOST_BYTES = 256 * 1024 * 1024
ROWS_A_BATCH = 50_000
JUDGED_BY = ("employee_number", "stamp", "scope", "operation", "worked_on")
NOT_UTF8 = "This line is not UTF-8 text: save the file as CSV in UTF-8."


def read_log(name: str, content: bytes) -> WorkLog:
    """Read a work log.

    Raises
    ------
    CannotRead
        If nothing of it can be judged: it is no table, or lacks a column that every row needs.
    """
    if len(content) > MOST_BYTES:
        raise CannotRead(f"{name} has more than {MOST_BYTES // 1024**2} MB: split the log.")
    plain = None if name.lower().endswith(".xlsx") else read_plain(name, content)
    if plain is not None:
        log = WorkLog(name, plain.headings, _places(name, plain.headings), plain.frame)
    else:
        log = _read_line_by_line(name, content)
    refuse_too_many_cells(name, log.frame.height, len(log.headings))
    return log


def _places(name: str, headings: list[str]) -> dict[str, int]:
    """Find the columns that mean something; refuse a log without those it takes."""
    indexes: dict[str, int] = {}
    for index, heading in enumerate(headings):
        word = heading.strip().lower()
        if word in indexes:
            raise CannotRead(f"{name}, line 1: the heading names the column {word} twice.")
        if word in KNOWN_COLUMNS:
            indexes[word] = index
    absent = _absent(indexes)
    if absent:
        raise CannotRead(
            f"{name}, line 1: the file has no column named {', nor one named '.join(absent)}, "
            "so none of its rows can be judged."
        )
    return indexes


def _absent(names: Container[str]) -> list[str]:
    """The columns that a log needs and that are not among these, in words."""
    needed = {
        "employee_number (or stamp)": ("employee_number", "stamp"),
        "scope (or operation)": ("scope", "operation"),
        "worked_on": ("worked_on",),
    }
    return [
        words for words, any_of in needed.items() if not any(column in names for column in any_of)
    ]


def _read_line_by_line(name: str, content: bytes) -> WorkLog:
    table = Table(name, "")
    if name.lower().endswith(".xlsx"):
        lines = xlsx_lines(table, content, lambda names: not _absent(names))
    else:
        lines = _csv_lines(table, content)
    _line, heading, _doubts = next(lines, Line(0, []))
    if not any(cell.strip() for cell in heading):
        reason = str(table.problems[0]) if table.problems else f"{name} is empty."
        raise CannotRead(f"{reason} The first line of a work log names its columns.")
    while not heading[-1].strip():
        heading.pop()
    refuse_too_many_cells(name, 0, len(heading))
    indexes = _places(name, heading)
    batches = list(_batches(table, heading, indexes, lines))
    frame = pl.concat([batch for batch in batches if batch.height] or batches[:1])
    return WorkLog(name, heading, indexes, frame, table.problems)


def _batches(
    table: Table, heading: list[str], indexes: dict[str, int], lines: Iterator[Line]
) -> Iterator[pl.DataFrame]:
    """Gather rows some thousand at a time, since a frame takes less room than lists of them."""
    width, count, at, rows = len(heading), 0, [], []
    judged = {indexes[column]: column for column in JUDGED_BY if column in indexes}
    for line, cells, doubts in lines:
        if doubts and _refuse_doubts(table, line, doubts, judged):
            continue
        if not any(cell.strip() for cell in cells):
            continue
        if any(cell.strip() for cell in cells[width:]):
            table.refuse(
                line,
                f"The row has more cells than the {width} columns of the heading: "
                "put text that holds a separator in quotation marks.",
            )
            continue
        at.append(line)
        rows.append((cells + [""] * (width - len(cells)))[:width])
        if len(rows) == ROWS_A_BATCH:
            count += ROWS_A_BATCH
            refuse_too_many_cells(table.file, count, width)
            yield from_lines(heading, at, rows)
            at, rows = [], []
    yield from_lines(heading, at, rows)


def _refuse_doubts(
    table: Table, line: int, doubts: dict[int, Doubt], judged: dict[int, str]
) -> bool:
    """Refuse what a row is judged by and does not say plainly; return whether anything was."""
    before = len(table.problems)
    for index, doubt in doubts.items():
        column = judged.get(index)
        if column and not (doubt.is_day and column == "worked_on"):
            table.refuse(line, doubt.reason, column)
    return len(table.problems) > before


def _csv_lines(table: Table, content: bytes) -> Iterator[Line]:
    """Go through a CSV file; a line that is no CSV or no UTF-8 does not end it."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        table.refuse(0, "The file is saved as UTF-16: save it as CSV in UTF-8.")
        return
    text = io.TextIOWrapper(
        io.BytesIO(content), encoding="utf-8-sig", errors="surrogateescape", newline=""
    )
    lines = _Lines(text)
    if is_hint(next(lines, "")):
        lines.forget()
    else:
        lines.give_back()
    delimiter = delimiter_of(content)
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    while True:
        line = lines.number + 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            table.refuse(line, f"The line cannot be read as CSV: {error}.")
            lines.give_back(but=1)
            reader = csv.reader(lines, delimiter=delimiter, strict=True)
            continue
        lines.forget()
        if any(not cell.isascii() and _is_broken(cell) for cell in cells):
            table.refuse(line, NOT_UTF8)
            continue
        yield Line(line, cells)


def _is_broken(cell: str) -> bool:
    """Whether the cell holds bytes that are no UTF-8."""
    return any("\udc80" <= letter <= "\udcff" for letter in cell)


class _Lines:
    """The lines of a text, which can be given back: a quotation mark that is never closed
    takes lines that it has no right to."""

    def __init__(self, text: IO[str]) -> None:
        self._text = text
        self._taken: list[str] = []
        self._waiting: deque[str] = deque()
        self.number = 0

    def __iter__(self) -> "_Lines":
        return self

    def __next__(self) -> str:
        line = self._waiting.popleft() if self._waiting else next(self._text)
        self._taken.append(line)
        self.number += 1
        return line

    def forget(self) -> None:
        """What was taken so far has been read."""
        self._taken.clear()

    def give_back(self, but: int = 0) -> None:
        """Take what was not read yet once more, but for the first so many lines of it."""
        again = self._taken[but:]
        self._waiting.extendleft(reversed(again))
        self.number -= len(again)
        self._taken.clear()

"""Tables as spreadsheet programs save them: CSV or XLSX in, rows of text out.

Knows nothing of what the columns mean. A file that cannot be read as a table, or a row that
does not fit its heading, becomes a `Problem` that names file, line and column.
"""

import csv
import hashlib
import io
import lzma
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path, PurePosixPath
from typing import IO

from records.domain.problems import Problem
from records.exceptions import CannotRead

from .limits import MOST_MEMBERS, refuse_too_many_cells
from .limits import MOST_UNPACKED_BYTES as MOST_BYTES
from .workbook import Doubt, Line, Workbook

DELIMITERS = "\t;,"
"""Of two that a file may mean, the first: a comma is also written within a cell."""
HEAD_BYTES = 64 * 1024
HEAD_ROWS = 20
Fits = Callable[[list[str]], bool]
"""Whether a heading, in lower case, is that of a table which is read."""
UNPACKING_FAILS = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    struct.error,
    EOFError,
    OSError,
    ValueError,
    RuntimeError,
)
"""What the library raises of a damaged zip, NotImplementedError as a RuntimeError among it."""
ROWS_BETWEEN_LOOKS = 10_000


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table; ``line`` is where it begins in the file, the heading being line 1."""

    line: int
    values: dict[str, str]
    doubts: dict[str, Doubt] = field(default_factory=dict)


@dataclass
class Table:
    """One file: its columns in order, and its rows."""

    file: str
    sha256: str
    columns: list[str] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    is_whole: bool = True
    """Whether every row that the file has was gone through."""

    def refuse(self, line: int, reason: str, column: str = "") -> None:
        self.problems.append(Problem(self.file, line, column, reason))

    def refuse_rest(self, line: int, reason: str) -> None:
        """Refuse all that was not gone through yet."""
        self.is_whole = False
        self.refuse(line, reason)


@dataclass(frozen=True)
class Source:
    """One file of a folder or zip, not read yet."""

    name: str
    data: Path | tuple[zipfile.ZipFile, zipfile.ZipInfo]

    def read(self) -> bytes:
        if isinstance(self.data, Path):
            return self.data.read_bytes()
        archive, info = self.data
        try:
            with archive.open(info) as stream:
                content = stream.read(info.file_size + 1)
        except UNPACKING_FAILS as error:
            raise CannotRead(f"{self.name} cannot be unpacked: save the zip again.") from error
        if len(content) > info.file_size:
            raise CannotRead(f"{self.name} unpacks to more than the zip file says it holds.")
        return content


def sources_in(path: Path) -> list[Source]:
    """List the files of a folder or a zip, at its top or in the one folder at its top.

    Raises
    ------
    CannotRead
        If there is nothing there, or the zip is damaged, encrypted or too large to unpack.
    """
    if path.is_dir():
        entries = sorted(entry for entry in path.iterdir() if entry.is_file())
        total = sum(entry.stat().st_size for entry in entries)
        if total > MOST_BYTES:
            raise CannotRead(f"{path} holds more than {MOST_BYTES // 1024**2} MB.")
        return [Source(entry.name, entry) for entry in entries if _is_visible(entry.name)]
    if not path.exists():
        raise CannotRead(f"There is no file or folder {path}.")
    return sources_in_zip(str(path), path)


def sources_in_zip(name: str, file: Path | IO[bytes]) -> list[Source]:
    """The same of a zip that may have no path; a refusal calls it by the name."""
    try:
        archive = zipfile.ZipFile(file)
    except UNPACKING_FAILS as error:
        raise CannotRead(f"{name} is neither a folder nor a zip file.") from error
    return [source for source in _members(name, archive) if _is_visible(source.name)]


def _members(path: str, archive: zipfile.ZipFile) -> Iterator[Source]:
    infos = [info for info in archive.infolist() if not info.is_dir()]
    if len(infos) > MOST_MEMBERS or sum(info.file_size for info in infos) > MOST_BYTES:
        raise CannotRead(
            f"{path} holds more than {MOST_MEMBERS} files or unpacks to more than "
            f"{MOST_BYTES // 1024**2} MB."
        )
    for info in infos:
        # Nothing is unpacked to disk, so a name leads nowhere; an odd one is refused all the same.
        name = PurePosixPath(info.filename.replace("\\", "/"))
        if name.is_absolute() or ".." in name.parts:
            raise CannotRead(f"{path} holds a file named {info.filename}, which points outside it.")
        if info.flag_bits & 0x1:
            raise CannotRead(f"{info.filename} in {path} is encrypted: save it without a password.")
        if name.parts and name.parts[0] != "__MACOSX" and len(name.parts) <= 2:
            yield Source(name.name, (archive, info))


def _is_visible(name: str) -> bool:
    return not name.startswith((".", "~$"))


def read_table(name: str, content: bytes, fits: Fits = bool) -> Table:
    """Read one CSV or XLSX file; of a workbook, its first sheet, if no other fits as well."""
    table = Table(name, hashlib.sha256(content).hexdigest())
    try:
        if name.lower().endswith(".xlsx"):
            _take_in(table, xlsx_lines(table, content, fits))
        else:
            _take_in(table, csv_lines(table, content))
    except CannotRead as error:
        # What was read of it so far is no more of a table than the rest.
        table.columns, table.rows, table.is_whole = [], [], False
        table.problems = [Problem(name, 0, "", str(error).removeprefix(f"{name}: "))]
    return table


def _take_in(table: Table, lines: Iterator[Line]) -> None:
    line, heading, _doubts = next(lines, Line(0, []))
    names = [cell.strip().lower() for cell in heading]
    while names and not names[-1]:
        names.pop()
    if not names:
        if not table.problems:
            table.refuse_rest(0, "The file is empty: its first line must name the columns.")
        return
    refuse_too_many_cells(table.file, 0, len(names))
    for index, column in enumerate(names, start=1):
        if not column:
            table.refuse(line, f"Column {index} has no name.")
        elif names.index(column) != index - 1:
            table.refuse(line, "The heading names this column twice.", column)
    if table.problems:
        table.is_whole = False
        return
    table.columns = names
    for line, cells, doubts in lines:
        if not doubts and not any(cell.strip() for cell in cells):
            continue
        if any(cell.strip() for cell in cells[len(names) :]):
            table.refuse(
                line,
                f"The row has more cells than the {len(names)} columns of the heading: "
                "put text that holds a separator in quotation marks.",
            )
            continue
        cells += [""] * (len(names) - len(cells))
        values = {column: cells[index].strip() for index, column in enumerate(names)}
        doubtful = {names[index]: doubt for index, doubt in doubts.items() if index < len(names)}
        table.rows.append(Row(line, values, doubtful))
        if not len(table.rows) % ROWS_BETWEEN_LOOKS:
            refuse_too_many_cells(table.file, len(table.rows), len(names))


def csv_lines(table: Table, content: bytes) -> Iterator[Line]:
    """Read CSV in UTF-8 line by line; what cannot be read becomes the table's problems."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        table.refuse_rest(0, "The file is saved as UTF-16: save it as CSV in UTF-8.")
        return
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        table.refuse_rest(line, "This is not UTF-8 text: save the file as CSV in UTF-8.")
        return
    null = content.find(b"\0")
    if null >= 0:
        line = content.count(b"\n", 0, null) + 1
        table.refuse_rest(line, "A null character stands here: save the file as CSV in UTF-8.")
        return
    skipped = 0
    if is_hint(text.split("\n", 1)[0]):
        text = text.partition("\n")[2]
        skipped = 1
    delimiter = delimiter_of(content)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    begins = 1 + skipped
    try:
        for cells in reader:
            yield Line(begins, cells)
            begins = reader.line_num + 1 + skipped
    except csv.Error as error:
        table.refuse_rest(begins, f"The file cannot be read on from here: {error}.")


def is_hint(first: str) -> bool:
    """Whether a first line is the hint that one spreadsheet program leaves for itself."""
    return first.strip("\r\n").lower().startswith("sep=") and len(first.strip("\r\n")) == 5


def delimiter_of(content: bytes) -> str:
    """Tell what stands between the cells of a CSV file: a tab, a semicolon or a comma.

    As the file's own hint has it. Otherwise that of the heading by which most of the first 20 rows
    have as many cells as the heading; of several, that which makes the most columns.
    """
    head = content[:HEAD_BYTES].decode("utf-8-sig", errors="replace")
    if len(content) > HEAD_BYTES and "\n" in head:
        head = head[: head.rindex("\n") + 1]
    hint = head.split("\n", 1)[0]
    if is_hint(hint):
        if hint[4] in DELIMITERS:
            return hint[4]
        head = head.partition("\n")[2]

    def fitting(delimiter: str) -> tuple[int, int]:
        reader = csv.reader(io.StringIO(head, newline=""), delimiter=delimiter)
        widths = []
        with suppress(csv.Error):
            for cells in islice(reader, 1 + HEAD_ROWS):
                while cells and not cells[-1].strip():
                    cells.pop()
                widths.append(len(cells))
        columns = widths[0] if widths else 0
        return (widths.count(columns) if columns > 1 else 0), columns

    # Of equals the first is taken; a table of one column holds a separator in its cells alone.
    best = max(DELIMITERS, key=fitting)
    return best if fitting(best)[1] > 1 else ","


def xlsx_lines(table: Table, content: bytes, fits: Fits) -> Iterator[Line]:
    """Read the sheet of a workbook that is read; raise CannotRead where there is none."""
    workbook = Workbook(table.file, content)
    sheet = workbook.sheet_to_read(fits)
    ignored = [other.name for other in workbook.sheets if other is not sheet]
    if ignored:
        table.remarks.append(
            f"{table.file}: only its first sheet, {sheet.name}, is read; "
            f"ignored: {', '.join(ignored)}."
        )
    yield from workbook.lines(sheet)

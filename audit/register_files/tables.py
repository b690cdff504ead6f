"""Tables as spreadsheet programs save them: CSV or XLSX in, rows of text out.

Knows nothing of what the columns mean. A file that cannot be read as a table, or a row that
does not fit its heading, becomes a `Problem` that names file, line and column.
"""

import csv
import hashlib
import io
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from xml.etree.ElementTree import ParseError

import openpyxl
from openpyxl.utils.exceptions import InvalidFileException

from audit.domain.cells import text_of
from audit.domain.problems import Problem
from audit.exceptions import CannotRead

MOST_BYTES = 512 * 1024 * 1024
MOST_MEMBERS = 200
DELIMITERS = ",;\t"


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table; ``line`` is where it begins in the file, the heading being line 1."""

    line: int
    values: dict[str, str]


@dataclass
class Table:
    """One file: its columns in order, and its rows."""

    file: str
    sha256: str
    columns: list[str] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def refuse(self, line: int, reason: str, column: str = "") -> None:
        self.problems.append(Problem(self.file, line, column, reason))


@dataclass(frozen=True)
class Source:
    """One file of a folder or zip, not read yet."""

    name: str
    data: Path | tuple[zipfile.ZipFile, zipfile.ZipInfo]

    def read(self) -> bytes:
        if isinstance(self.data, Path):
            return self.data.read_bytes()
        archive, info = self.data
        with archive.open(info) as stream:
            content = stream.read(info.file_size + 1)
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
    try:
        archive = zipfile.ZipFile(path)
    except zipfile.BadZipFile as error:
        raise CannotRead(f"{path} is neither a folder nor a zip file.") from error
    return [source for source in _members(path, archive) if _is_visible(source.name)]


def _members(path: Path, archive: zipfile.ZipFile) -> Iterator[Source]:
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
        if name.parts[0] != "__MACOSX" and len(name.parts) <= 2:
            yield Source(name.name, (archive, info))


def _is_visible(name: str) -> bool:
    return not name.startswith((".", "~$"))


def read_table(name: str, content: bytes) -> Table:
    """Read one CSV or XLSX file."""
    table = Table(name, hashlib.sha256(content).hexdigest())
    reader = xlsx_lines if name.lower().endswith(".xlsx") else _csv_lines
    lines = reader(table, content)
    line, heading = next(lines, (0, []))
    if not heading:
        if not table.problems:
            table.refuse(0, "The file is empty: its first line must name the columns.")
        return table
    names = [cell.strip().lower() for cell in heading]
    while names and not names[-1]:
        names.pop()
    for index, column in enumerate(names, start=1):
        if not column:
            table.refuse(line, f"Column {index} has no name.")
        elif names.index(column) != index - 1:
            table.refuse(line, "The heading names this column twice.", column)
    if table.problems:
        return table
    table.columns = names
    for line, cells in lines:
        if not any(cell.strip() for cell in cells):
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
        table.rows.append(Row(line, values))
    return table


def _csv_lines(table: Table, content: bytes) -> Iterator[tuple[int, list[str]]]:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        table.refuse(0, "The file is saved as UTF-16: save it as CSV in UTF-8.")
        return
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        table.refuse(line, "This is not UTF-8 text: save the file as CSV in UTF-8.")
        return
    skipped = 0
    first = text.split("\n", 1)[0].strip("\r")
    if first.lower().startswith("sep=") and len(first) == 5:
        # A hint that one spreadsheet program leaves for itself.
        text = text.partition("\n")[2]
        first, skipped = text.split("\n", 1)[0], 1
    delimiter = max(DELIMITERS, key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    begins = 1 + skipped
    try:
        for cells in reader:
            yield begins, cells
            begins = reader.line_num + 1 + skipped
    except csv.Error as error:
        table.refuse(begins, f"The file cannot be read on from here: {error}.")


def xlsx_lines(table: Table, content: bytes) -> Iterator[tuple[int, list[str]]]:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            if sum(info.file_size for info in archive.infolist()) > MOST_BYTES:
                table.refuse(0, "The workbook unpacks to more than can be read.")
                return
        workbook = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=True)
        for line, cells in enumerate(workbook.worksheets[0].iter_rows(values_only=True), start=1):
            yield line, [text_of(cell) for cell in cells]
    except (
        zipfile.BadZipFile,
        InvalidFileException,
        ParseError,
        KeyError,
        IndexError,
        ValueError,
    ) as error:
        table.refuse(0, f"The file cannot be read as an XLSX workbook: {error}.")

"""XLSX workbooks row by row: every cell as it is shown, and what is wrong with one.

Reads as much XML as the workbook holds and nothing that it only claims to hold, such as its
dimensions or the rows between two others. Nothing outside the workbook is looked at.
"""

import io
import posixpath
import re
import time
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import IO, NamedTuple
from xml.parsers import expat

from records.domain.number_formats import (
    BUILT_IN,
    GENERAL,
    CannotShow,
    day_of,
    holds_days,
    shown_number,
    shown_text,
)
from records.exceptions import CannotRead

from .limits import (
    LAST_SHEET_ROW,
    LONGEST_CELL,
    LONGEST_READING_S,
    MOST_CELLS,
    MOST_COLUMNS,
    MOST_SHEETS,
    MOST_TEXT,
    MOST_UNPACKED_BYTES,
)

CHUNK_BYTES = 1 << 16
MOST_CACHED = 100_000
REFERENCE = re.compile(r"([A-Z]{1,3})([1-9]\d{0,6})")
ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")
OLE = b"\xd0\xcf\x11\xe0"
Attributes = dict[str, str]


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why the text of a cell cannot be taken for what the cell says.

    ``is_day`` is where it is a day or an instant, which is right in a column of days alone.
    """

    sheet: str
    cell: str
    why: str
    is_day: bool = False

    @property
    def reason(self) -> str:
        return (
            f"Sheet {self.sheet}, cell {self.cell} {self.why}: "
            "write there, as text, what it should say."
        )


class Line(NamedTuple):
    """One row: where it begins, its cells as text, and the doubts by place among them."""

    number: int
    cells: list[str]
    doubts: dict[int, Doubt] = {}


@dataclass(frozen=True)
class Sheet:
    name: str
    path: str
    hidden: bool


@dataclass
class _Sheet:
    name: str
    hidden: bool
    relation: str


@dataclass
class _Styles:
    """The number format of each style of cells."""

    named: dict[int, str] = field(default_factory=dict)
    ids: list[int] = field(default_factory=list)

    def formats(self) -> list[str]:
        formats = {**BUILT_IN, **self.named}
        return [formats.get(number, GENERAL) for number in self.ids] or [GENERAL]


class Workbook:
    """A workbook that is read from bytes.

    Raises
    ------
    CannotRead
        Here or while lines are read: if it is none, is damaged, or is larger than is read.
    """

    def __init__(self, name: str, content: bytes) -> None:
        self.name = name
        self._until = time.monotonic() + LONGEST_READING_S
        if content.startswith(OLE):
            raise CannotRead(
                f"{name} is an old workbook or has a password: save it as XLSX without one."
            )
        try:
            self._archive = zipfile.ZipFile(io.BytesIO(content))
        except (zipfile.BadZipFile, ValueError, NotImplementedError) as error:
            raise self._is_none(error) from error
        infos = self._archive.infolist()
        if sum(info.file_size for info in infos) > MOST_UNPACKED_BYTES:
            raise CannotRead(
                f"{name} unpacks to more than {MOST_UNPACKED_BYTES // 1024**2} MB: split it."
            )
        if len({info.filename for info in infos}) != len(infos):
            raise self._is_none("two of its parts have one name")
        self._from_1904 = False
        self._strings: list[str] = []
        self._formats = [GENERAL]
        self.sheets = self._read_sheets()

    def _is_none(self, why: object) -> CannotRead:
        return CannotRead(f"{self.name} cannot be read as an XLSX workbook: {why}.")

    # Its parts

    def _read_sheets(self) -> list[Sheet]:
        """Read what the workbook says of itself; return its sheets that hold cells."""
        [book, *_more] = [*self._related("", "officeDocument").values(), "xl/workbook.xml"]
        sheets: list[_Sheet] = []

        def start(name: str, attributes: Attributes) -> None:
            if name == "sheet":
                relation = attributes.get("id", "")
                hidden = attributes.get("state", "visible") != "visible"
                sheets.append(_Sheet(attributes.get("name", ""), hidden, relation))
            elif name == "workbookPr":
                self._from_1904 = attributes.get("date1904", "0") in ("1", "true")

        self._walk(book, start)
        if len(sheets) > MOST_SHEETS:
            raise CannotRead(f"{self.name} has more than {MOST_SHEETS} sheets: leave some out.")
        for path in self._related(book, "sharedStrings").values():
            self._strings = self._read_strings(path)
        for path in self._related(book, "styles").values():
            self._formats = self._read_formats(path)
        paths = self._related(book, "worksheet")
        return [
            Sheet(sheet.name, paths[sheet.relation], sheet.hidden)
            for sheet in sheets
            if sheet.relation in paths
        ]

    def _related(self, path: str, kind: str) -> dict[str, str]:
        """The parts of a kind that a part names, by the names it gives them."""
        folder, file = posixpath.split(path)
        relations = posixpath.join(folder, "_rels", f"{file}.rels")
        parts: dict[str, str] = {}

        def start(name: str, attributes: Attributes) -> None:
            if name != "Relationship" or attributes.get("TargetMode") == "External":
                return
            if attributes.get("Type", "").rpartition("/")[2] == kind:
                target = posixpath.join("/", folder, attributes.get("Target", ""))
                parts[attributes.get("Id", "")] = posixpath.normpath(target).lstrip("/")

        self._walk(relations, start)
        return parts

    def _read_strings(self, path: str) -> list[str]:
        strings: list[str] = []
        parts: list[str] = []
        state = {"text": False, "spoken": False}

        def start(name: str, attributes: Attributes) -> None:
            if name == "rPh":
                state["spoken"] = True  # how it is spoken, which no cell shows
            elif name == "t":
                state["text"] = not state["spoken"]

        def end(name: str) -> None:
            if name == "t":
                state["text"] = False
            elif name == "rPh":
                state["spoken"] = False
            elif name == "si":
                strings.append(_unescaped("".join(parts)))
                parts.clear()
                if len(strings) > MOST_CELLS:
                    raise CannotRead(f"{self.name} has too many texts: split it.")

        def text(part: str) -> None:
            if state["text"]:
                parts.append(part)

        self._walk(path, start, end, text)
        return strings

    def _read_formats(self, path: str) -> list[str]:
        styles = _Styles()
        inside: list[bool] = []

        def start(name: str, attributes: Attributes) -> None:
            if name == "numFmt" and attributes.get("numFmtId", "").isdecimal():
                styles.named[int(attributes["numFmtId"])] = attributes.get("formatCode", "")
            elif name == "cellXfs":
                inside.append(True)
            elif name == "xf" and inside:
                number = attributes.get("numFmtId", "0")
                styles.ids.append(int(number) if number.isdecimal() else 0)

        def end(name: str) -> None:
            if name == "cellXfs":
                inside.clear()

        self._walk(path, start, end)
        return styles.formats()

    def _walk(
        self,
        path: str,
        start: Callable[[str, Attributes], None],
        end: Callable[[str], None] | None = None,
        text: Callable[[str], None] | None = None,
    ) -> None:
        parser = _parser(start, end, text)
        for _chunk in self._parse(path, parser):
            pass

    def _parse(self, path: str, parser: expat.XMLParserType) -> Iterator[None]:
        """Go through one part, a chunk at a time."""
        try:
            with self._open(path) as stream:
                while chunk := stream.read(CHUNK_BYTES):
                    if time.monotonic() > self._until:
                        raise CannotRead(
                            f"{self.name} takes longer to read than {LONGEST_READING_S:.0f} s: "
                            "save it as CSV."
                        )
                    parser.Parse(chunk, False)
                    yield
                parser.Parse(b"", True)
                yield
        except (
            zipfile.BadZipFile,
            zlib.error,
            expat.ExpatError,
            EOFError,
            NotImplementedError,
            RuntimeError,
        ) as error:
            raise self._is_none(error) from error

    def _open(self, path: str) -> IO[bytes]:
        try:
            return self._archive.open(path)
        except KeyError as error:
            raise self._is_none(f"it has no part {path}") from error

    # Its sheets

    def sheet_to_read(self, fits: Callable[[list[str]], bool]) -> Sheet:
        """Give the first sheet; refuse to choose between it and another of the same kind.

        Parameters
        ----------
        fits : callable
            Whether a heading, its cells in lower case without spaces around them, is one of a
            table that is read.
        """
        if not self.sheets:
            raise self._is_none("it has no sheet with cells")
        first, *others = self.sheets
        if first.hidden:
            raise CannotRead(
                f"{self.name}: its first sheet, {first.name}, is hidden. The first sheet is the "
                "one that is read: show it, or put another before it."
            )
        for other in others:
            if fits(self._heading(other)):
                raise CannotRead(
                    f"{self.name}: sheet {other.name}{' (hidden)' if other.hidden else ''} holds a "
                    f"table as well, and the first sheet, {first.name}, is the only one that is "
                    "read: save each table as a file of its own."
                )
        return first

    def _heading(self, sheet: Sheet) -> list[str]:
        for line in self.lines(sheet):
            if any(cell.strip() for cell in line.cells):
                return [cell.strip().lower() for cell in line.cells]
        return []

    def lines(self, sheet: Sheet) -> Iterator[Line]:
        """Read the rows that have any cell with something in it."""
        rows = _Rows(self.name, sheet.name, self._strings, self._formats, self._from_1904)
        for _chunk in self._parse(sheet.path, _parser(rows.start, rows.end, rows.text)):
            yield from rows.ready
            rows.ready.clear()


class _Rows:
    """Gathers the rows of one sheet from the elements of its XML."""

    def __init__(
        self, file: str, sheet: str, strings: list[str], formats: list[str], from_1904: bool
    ) -> None:
        self.ready: list[Line] = []
        self._file, self._sheet = file, sheet
        self._strings, self._formats, self._from_1904 = strings, formats, from_1904
        self._days = [holds_days(number_format) for number_format in formats]
        self._cache: dict[tuple[str, int], tuple[str, str, bool]] = {}
        self._inside = self._collects = self._spoken = False
        self._row = self._column = 0
        self._cells: dict[int, str] = {}
        self._doubts: dict[int, Doubt] = {}
        self._cell: Attributes = {}
        self._parts: list[str] = []
        self._has_value = self._has_formula = False
        self._count = self._characters = 0

    def start(self, name: str, attributes: Attributes) -> None:
        if not self._inside:
            self._inside = name == "sheetData"
        elif name == "c":
            self._begin_cell(attributes)
        elif name in ("v", "t"):
            self._collects = not self._spoken
            self._has_value = True
        elif name == "f":
            self._has_formula = True
        elif name == "rPh":
            self._spoken = True
        elif name == "row":
            self._begin_row(attributes)

    def text(self, part: str) -> None:
        if self._collects:
            self._parts.append(part)

    def end(self, name: str) -> None:
        if not self._inside:
            return
        if name in ("v", "t"):
            self._collects = False
        elif name == "c":
            self._end_cell()
        elif name == "row":
            self._end_row()
        elif name == "rPh":
            self._spoken = False
        elif name == "sheetData":
            self._inside = False

    def _begin_row(self, attributes: Attributes) -> None:
        given = attributes.get("r", str(self._row + 1))
        row = int(given) if given.isdecimal() and len(given) < 8 else 0
        if not self._row < row <= LAST_SHEET_ROW:
            raise self._damaged(f"row {given[:20]} does not follow row {self._row}")
        self._row, self._column = row, -1

    def _begin_cell(self, attributes: Attributes) -> None:
        column = self._column + 1
        if given := attributes.get("r"):
            match = REFERENCE.fullmatch(given)
            if match is None or int(match[2]) != self._row:
                raise self._damaged(f"row {self._row} has a cell {given[:20]}")
            column = column_number(match[1])
        if column <= self._column:
            raise self._damaged(f"the cells of row {self._row} are not in order")
        self._column, self._cell = column, attributes
        self._parts.clear()
        self._has_value = self._has_formula = False

    def _damaged(self, why: str) -> CannotRead:
        return CannotRead(f"{self._file}, sheet {self._sheet} is damaged: {why}.")

    def _end_cell(self) -> None:
        if not (self._has_value or self._has_formula):
            return
        text, why, is_day = self._read_cell()
        if not text and not why:
            return
        if self._column >= MOST_COLUMNS:
            raise CannotRead(
                f"{self._file}, sheet {self._sheet} has something in cell {self._reference()}, "
                f"beyond the {MOST_COLUMNS} columns that are read: leave it out."
            )
        self._count += 1
        self._characters += len(text)
        if self._count > MOST_CELLS or self._characters > MOST_TEXT:
            raise CannotRead(f"{self._file}, sheet {self._sheet} holds too much: split it.")
        self._cells[self._column] = text
        if why:
            self._doubts[self._column] = Doubt(self._sheet, self._reference(), why, is_day)

    def _reference(self) -> str:
        return f"{column_letters(self._column)}{self._row}"

    def _read_cell(self) -> tuple[str, str, bool]:
        """The text of the cell, why it is doubtful if it is, and whether it is a day."""
        kind, value = self._cell.get("t", "n"), "".join(self._parts)
        if self._has_formula and (not self._has_value or (not value and kind == "n")):
            return "", "holds a formula without what it came to", False
        style = self._cell.get("s", "0")
        number = int(style) if style.isdecimal() and len(style) < 9 else -1
        if not 0 <= number < len(self._formats):
            raise self._damaged(f"cell {self._reference()} has a format that is not there")
        if kind == "s":
            if not value.isdecimal() or int(value[:9]) >= len(self._strings):
                raise self._damaged(f"cell {self._reference()} has a text that is not there")
            return self._shown_text(self._strings[int(value[:9])], number)
        if kind in ("str", "inlineStr"):
            return self._shown_text(_unescaped(value), number)
        if not value:
            return "", "", False
        if kind == "n":
            key = value, number
            read = self._cache.get(key)
            if read is None:
                read = self._shown_number(value, number)
                if len(self._cache) < MOST_CACHED:
                    self._cache[key] = read
            return read
        if kind == "d":
            return value, "holds a day, which is no text", True
        if kind == "b":
            return ("true" if value == "1" else "false"), "holds true or false", False
        return value, f"shows {value[:20]}, an error", False

    def _shown_text(self, text: str, style: int) -> tuple[str, str, bool]:
        if len(text) > LONGEST_CELL:
            raise CannotRead(
                f"{self._file}, sheet {self._sheet}: cell {self._reference()} holds more than "
                f"{LONGEST_CELL} characters."
            )
        if self._formats[style] == GENERAL or not text:
            return text, "", False
        try:
            return shown_text(text, self._formats[style]), "", False
        except CannotShow as error:
            return text, str(error), False

    def _shown_number(self, value: str, style: int) -> tuple[str, str, bool]:
        number_format = self._formats[style]
        try:
            if self._days[style]:
                day = day_of(value, from_1904=self._from_1904)
                return day.isoformat(), "holds a day, which is no text", True
            return shown_number(value, number_format), "", False
        except CannotShow as error:
            return value[:LONGEST_CELL], str(error), False

    def _end_row(self) -> None:
        if self._cells:
            cells = [""] * (max(self._cells) + 1)
            for column, text in self._cells.items():
                cells[column] = text
            self.ready.append(Line(self._row, cells, self._doubts))
        self._cells, self._doubts = {}, {}


def column_number(letters: str) -> int:
    """The place of a column, the first being 0."""
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number - 1


def column_letters(number: int) -> str:
    letters = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def _unescaped(text: str) -> str:
    """Put the letters that XML cannot hold in place of what stands for them."""
    if "_x" not in text:
        return text
    unescaped = ESCAPED.sub(lambda match: chr(int(match[1], 16)), text)
    if "\0" in unescaped:
        raise CannotRead("A cell holds a null character: type its text anew.")
    return unescaped.encode("utf-16", "surrogatepass").decode("utf-16", "replace")


def _parser(
    start: Callable[[str, Attributes], None],
    end: Callable[[str], None] | None,
    text: Callable[[str], None] | None,
) -> expat.XMLParserType:
    """A parser that leaves prefixes out of names and follows no entity."""
    parser = expat.ParserCreate()
    parser.buffer_text = True

    def start_bare(name: str, attributes: Attributes) -> None:
        if ":" in name or any(":" in key for key in attributes):
            name = name.rpartition(":")[2]
            attributes = {key.rpartition(":")[2]: value for key, value in attributes.items()}
        start(name, attributes)

    def end_bare(name: str) -> None:
        if end is not None:
            end(name.rpartition(":")[2])

    def refuse(*_declaration: object) -> None:
        raise CannotRead("The workbook declares a document type, which no XLSX workbook does.")

    parser.StartElementHandler = start_bare
    parser.EndElementHandler = end_bare
    if text is not None:
        parser.CharacterDataHandler = text
    parser.StartDoctypeDeclHandler = refuse
    return parser

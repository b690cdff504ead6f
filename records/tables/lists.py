"""A list as it comes: pasted, or a file of any spreadsheet program, as rows of text."""

import hashlib
import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from django.utils.translation import gettext as _

from records.domain.lists import ListRow
from records.exceptions import CannotRead

from .reading import Table, csv_lines, xlsx_lines
from .workbook import Doubt, Line

MOST_ROWS = 30_000
MOST_COLUMNS = 60
MOST_BYTES = 10 * 1024 * 1024
MOST_TEXT = 10 * 1024 * 1024
"""Characters in all cells together, which a workbook unpacks to: a list is kept in one row."""
LONGEST_CELL = 400
ZIP = b"PK\x03\x04"
UTF_16 = (b"\xff\xfe", b"\xfe\xff")
BLANKS = re.compile(r"\s+")
UNSEEN = dict.fromkeys(
    [
        *range(9),
        *range(0x0E, 0x1C),
        *range(0x7F, 0xA0),
        *range(0x200B, 0x2010),
        *range(0x202A, 0x202F),
        *range(0xD800, 0xE000),
        0x2060,
        0xFEFF,
        0xAD,
    ]
)
"""What is in a cell and nobody sees: control characters, halves of letters, marks of direction, of
joining, or of where a line may end."""
AS_TEXT = re.compile(r'="([^"]*)"|\'(\d.*)')
"""How spreadsheet programs are told that 00471 is text, where that came along into the file."""


@dataclass
class ReadList:
    """A list as rows of text, and what there is to say of how it was read.

    ``doubts`` are cells, by line and place, whose text is not what the cell says, and why.
    """

    name: str
    sha256: str
    headings: list[str] = field(default_factory=list)
    rows: list[ListRow] = field(default_factory=list)
    doubts: dict[tuple[int, int], str] = field(default_factory=dict)
    encoding: str = "utf-8"


def clean_cell(text: str) -> str:
    """A cell without what nobody sees: blanks at its ends, unbreakable ones, and marks.

    Examples
    --------
    >>> clean_cell("\\ufeff Ada\\xa0 Byrne\\n"), clean_cell('="00471"'), clean_cell("'00471")
    ('Ada Byrne', '00471', '00471')
    """
    plain = BLANKS.sub(" ", text.translate(UNSEEN)).strip()
    match = AS_TEXT.fullmatch(plain)
    return (match[1] or match[2] or "").strip() if match else plain


def in_utf8(content: bytes) -> tuple[bytes, str]:
    """A text file as UTF-8 without a mark at its beginning, and what it was saved as.

    What is no UTF-8 is taken for Windows-1252, in which spreadsheet programs save CSV in western
    Europe; it reads nearly any bytes, so whoever brings the list sees the names first.
    """
    if content.startswith(UTF_16):
        try:
            return content.decode("utf-16").encode(), "utf-16"
        except (UnicodeDecodeError, UnicodeEncodeError) as error:
            raise CannotRead(
                _(
                    "The file begins like UTF-16 and does not go on like it: save it as CSV in "
                    "UTF-8."
                )
            ) from error
    try:
        return content.decode("utf-8-sig").encode(), "utf-8"
    except UnicodeDecodeError:
        pass
    try:
        return content.decode("cp1252").encode(), "cp1252"
    except UnicodeDecodeError as error:
        raise CannotRead(
            _(
                "The file is text in none of UTF-8, UTF-16 and Windows-1252: save it as CSV in "
                "UTF-8."
            )
        ) from error


def read_list(name: str, content: bytes) -> ReadList:
    """Read a list, its first row being the heading.

    Raises
    ------
    CannotRead
        If it is no table, or has more rows, columns or bytes than are read.
    """
    if len(content) > MOST_BYTES:
        raise CannotRead(
            _("%(name)s has more than %(most)s MB: split it.")
            % {"name": name, "most": MOST_BYTES // 1024**2}
        )
    read = ReadList(name, hashlib.sha256(content).hexdigest())
    table = Table(name, read.sha256)
    if content.startswith(ZIP) or name.lower().endswith(".xlsx"):
        lines = xlsx_lines(table, content, bool)
    else:
        text, read.encoding = in_utf8(content)
        lines = csv_lines(table, text)
    _take_in(read, lines)
    if table.problems:
        problem = table.problems[0]
        raise CannotRead(
            _("%(name)s, line %(line)s: %(reason)s")
            % {"name": name, "line": problem.line, "reason": problem.reason}
        )
    if not read.rows:
        raise CannotRead(
            _("%(name)s has no row beneath its heading: the first row names the columns.")
            % {"name": name}
        )
    return read


def list_of(name: str, rows: Sequence[Mapping[str, str]]) -> ReadList:
    """Rows that a program hands over, by the names of fields; the first row is line 1."""
    headings = sorted({heading for row in rows for heading in row})
    content = json.dumps([dict(row) for row in rows], sort_keys=True).encode()
    read = ReadList(name, hashlib.sha256(content).hexdigest(), headings)
    for line, row in enumerate(rows, start=1):
        cells = [clean_cell(row.get(heading, "")) for heading in headings]
        read.rows.append(ListRow(line, cells))
    return read


def _take_in(read: ReadList, lines: Iterator[Line]) -> None:
    text = 0
    for line, cells, doubts in lines:
        cleaned = [clean_cell(cell) for cell in cells]
        while cleaned and not cleaned[-1]:
            cleaned.pop()
        if not cleaned:
            continue
        if len(cleaned) > MOST_COLUMNS:
            raise CannotRead(
                _("%(name)s has more than %(most)s columns: leave some out.")
                % {"name": read.name, "most": MOST_COLUMNS}
            )
        if not read.headings:
            read.headings = [heading[:LONGEST_CELL] for heading in cleaned]
            continue
        if len(read.rows) >= MOST_ROWS:
            raise CannotRead(
                _("%(name)s has more than %(most)s rows: split it.")
                % {"name": read.name, "most": MOST_ROWS}
            )
        text += sum(map(len, cleaned))
        if text > MOST_TEXT:
            raise CannotRead(
                _("%(name)s holds more than %(most)s million characters: split it.")
                % {"name": read.name, "most": MOST_TEXT // 1024**2}
            )
        _take_in_row(read, line, cleaned, doubts)
    width = max([len(read.headings), *(len(row.cells) for row in read.rows)])
    read.headings += [""] * (width - len(read.headings))
    for row in read.rows:
        row.cells.extend([""] * (width - len(row.cells)))


def _take_in_row(read: ReadList, line: int, cells: list[str], doubts: dict[int, Doubt]) -> None:
    if any(len(cell) > LONGEST_CELL for cell in cells):
        raise CannotRead(
            _("%(name)s, line %(line)s: a cell has more than %(most)s characters.")
            % {"name": read.name, "line": line, "most": LONGEST_CELL}
        )
    for place, doubt in doubts.items():
        if doubt.is_day:
            cells[place] = cells[place].removesuffix("T00:00:00")
        else:
            read.doubts[line, place] = doubt.reason
    read.rows.append(ListRow(line, cells))

"""Lists as files that a spreadsheet program opens without harm."""

import csv
import io
import re
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import IO, Any

STARTS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r")
FORMULA = r"^ *[=+\-@\t\r]"
"""The same as a pattern."""
NUMBER = r"^[+-]?[0-9]+([.,][0-9]+)?([eE][+-]?[0-9]+)?$"
"""What begins like a formula and is a number."""


class Echo:
    """What csv.writer writes to when each row is to be handed on at once."""

    def write(self, value: str) -> str:
        return value


def csv_lines(heading: Sequence[str], rows: Iterable[Iterable[Any]]) -> Iterator[str]:
    """A table as a CSV file that spreadsheet programs know as UTF-8, line by line."""
    writer = csv.writer(Echo())
    yield "\ufeff" + writer.writerow([harmless(name) for name in heading])
    for row in rows:
        yield writer.writerow([harmless(cell) for cell in row])


def line_of(cells: Sequence[str]) -> str:
    """One line of a CSV file."""
    stream = io.StringIO(newline="")
    csv.writer(stream, lineterminator="\n").writerow(cells)
    return stream.getvalue()


def harmless(cell: Any) -> str:
    """A cell as text that no spreadsheet program takes for a formula; a number stays one.

    Names and restrictions are typed by people; one that begins like a formula gets an
    apostrophe in front, as spreadsheet programs themselves mark text.
    """
    text = cell.isoformat() if isinstance(cell, date) else str(cell)
    if text.lstrip(" ").startswith(STARTS_A_FORMULA) and not re.fullmatch(NUMBER, text):
        return f"'{text}"
    return text


def workbook(title: str, columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> IO[bytes]:
    """Write one sheet, row by row, to a file that is gone when it is closed.

    Cells hold text and dates, never formulas; control characters, which the format cannot
    hold, are left out.
    """
    # Every process of the site imports this module, and few of them ever write a workbook.
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
    from openpyxl.styles import Font

    def text(value: str) -> Any:
        """A cell that holds text, whatever it begins with."""
        cell = WriteOnlyCell(sheet, value=ILLEGAL_CHARACTERS_RE.sub("", value))
        cell.data_type = "s"
        return cell

    book = Workbook(write_only=True)
    sheet = book.create_sheet(title[:31])
    head = []
    for name in columns:
        cell = text(name)
        cell.font = Font(bold=True)
        head.append(cell)
    sheet.append(head)
    for row in rows:
        cells = []
        for value in row:
            is_text = isinstance(value, str)
            cells.append(text(value) if is_text else WriteOnlyCell(sheet, value=value))
        sheet.append(cells)
    file = tempfile.TemporaryFile()  # noqa: SIM115 - the response closes it
    book.save(file)
    file.seek(0)
    return file

"""Workbooks for tests, down to the XML that no spreadsheet program writes."""

import io
import zipfile
from collections.abc import Callable, Sequence
from typing import Any

import openpyxl
from openpyxl.worksheet.worksheet import Worksheet

RELATIONS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
PACKAGE = "http://schemas.openxmlformats.org/package/2006/relationships"


def workbook(*sheets: tuple[str, Sequence[Sequence[object]], str]) -> bytes:
    """A workbook of sheets: name, rows and state."""
    book = openpyxl.Workbook()
    del book["Sheet"]
    for name, rows, state in sheets:
        sheet = book.create_sheet(name)
        sheet.sheet_state = state
        for row in rows:
            sheet.append(list(row))
    return _saved(book)


def changed_workbook(rows: Sequence[Sequence[object]], change: Callable[[Worksheet], Any]) -> bytes:
    """A workbook of one sheet, People, after a change to it."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert isinstance(sheet, Worksheet)
    sheet.title = "People"
    for row in rows:
        sheet.append(list(row))
    change(sheet)
    return _saved(book)


def _saved(book: openpyxl.Workbook) -> bytes:
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def raw_workbook(sheet: str, *, before: str = "", prolog: str = "") -> bytes:
    """A workbook whose one sheet holds this XML as its rows."""
    parts = {
        "_rels/.rels": f'<Relationships xmlns="{PACKAGE}"><Relationship Id="a" '
        f'Type="{RELATIONS}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{MAIN}" xmlns:r="{RELATIONS}"><sheets>'
        '<sheet name="People" sheetId="1" r:id="s"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{PACKAGE}"><Relationship Id="s" '
        f'Type="{RELATIONS}/worksheet" Target="worksheets/sheet1.xml"/></Relationships>',
        "xl/worksheets/sheet1.xml": f'{prolog}<worksheet xmlns="{MAIN}">{before}'
        f"<sheetData>{sheet}</sheetData></worksheet>",
    }
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return stream.getvalue()


def raw_row(number: int, *texts: str) -> str:
    """A row as XML, with its texts inline."""
    cells = "".join(f'<c t="inlineStr"><is><t>{text}</t></is></c>' for text in texts)
    return f'<row r="{number}">{cells}</row>'

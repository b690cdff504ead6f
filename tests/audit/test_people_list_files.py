"""Lists as spreadsheet programs write them: encodings, separators, blanks, workbooks."""

from datetime import date

import pytest

from records.exceptions import CannotRead
from records.tables import lists
from records.tables.lists import read_list
from tests.audit.workbooks import changed_workbook

TEXT = "Personalnr.;Name\r\n00471;Łucja Müller\r\n00472;Søren Ødegård\r\n"
WESTERN = TEXT.replace("Łu", "Lu")


@pytest.mark.parametrize(
    ("content", "encoding"),
    [
        (TEXT.encode(), "utf-8"),
        (TEXT.encode("utf-8-sig"), "utf-8"),
        (TEXT.replace(";", "\t").encode("utf-16"), "utf-16"),
        (WESTERN.encode("cp1252"), "cp1252"),
        (TEXT.replace(";", ",").encode(), "utf-8"),
        (b"sep=;\r\n" + TEXT.encode(), "utf-8"),
    ],
    ids=["utf-8", "utf-8 with a mark", "utf-16 with tabs", "windows-1252", "commas", "sep line"],
)
def test_text_is_read_however_it_was_saved(content, encoding):
    read = read_list("list.csv", content)
    assert (read.headings, read.encoding) == (["Personalnr.", "Name"], encoding)
    assert [row.cells[0] for row in read.rows] == ["00471", "00472"]
    assert read.rows[0].cells[1].endswith("Müller")


def test_unseen_marks_and_blanks_are_dropped_and_quoted_separators_kept():
    content = 'No,Name,\n"=""00471""","Byrne,\xa0Ada\u200b",\n\xa0,,\n7,\'007\n'.encode()
    read = read_list("list.csv", content)
    assert [(row.line, row.cells) for row in read.rows] == [
        (2, ["00471", "Byrne, Ada"]),
        (4, ["7", "007"]),
    ]


def test_pasted_cells_without_a_heading_get_one_without_a_name():
    read = read_list("pasted", b"No\tName\n7\tAda\tremark\n")
    assert (read.headings, read.rows[0].cells) == (["No", "Name", ""], ["7", "Ada", "remark"])


def test_workbook_shows_what_its_cells_show():
    def formats(sheet):
        sheet["A2"].number_format = "00000"
        sheet["C2"].number_format = "DD/MM/YYYY"

    rows = [["No", "Name", "Started"], [471, "Ada", date(2026, 4, 3)], ["00472", "Bo", "3.4.2026"]]
    read = read_list("list.xlsx", changed_workbook(rows, formats))
    assert [row.cells for row in read.rows] == [
        ["00471", "Ada", "2026-04-03"],
        ["00472", "Bo", "3.4.2026"],
    ]
    assert read.doubts == {}


def test_cell_that_shows_an_error_is_doubted():
    rows = [["No", "Name"], [7, "Ada"]]

    def break_it(sheet):
        sheet["B2"] = "#REF!"
        sheet["B2"].data_type = "e"

    read = read_list("list.xlsx", changed_workbook(rows, break_it))
    assert list(read.doubts) == [(2, 1)]


@pytest.mark.parametrize(
    "content",
    [b"", b"No,Name\n", b"\x81\x8d", b"\xff\xfea", b"No,Name\n7,a\0b\n", b'No,Name\n"7,a\n',
     b"No\n" + b"x" * 401, b"x," * 61 + b"\n1", b"PK\x03\x04nothing"],
    ids=["empty", "heading alone", "no text", "half utf-16", "null", "quote", "long cell",
         "columns", "no workbook"],
)  # fmt: skip
def test_what_is_no_list_is_refused_with_a_sentence(content):
    with pytest.raises(CannotRead, match=r"\.$"):
        read_list("list.csv", content)


def test_lists_are_bounded(monkeypatch):
    monkeypatch.setattr(lists, "MOST_ROWS", 2)
    monkeypatch.setattr(lists, "MOST_BYTES", 20)
    with pytest.raises(CannotRead, match="2 rows"):
        read_list("list.csv", b"No\n1\n2\n3\n")
    with pytest.raises(CannotRead, match="0 MB"):
        read_list("list.csv", b"x" * 21)

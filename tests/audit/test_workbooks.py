"""What is read of a workbook is what its cells show; what they do not show plainly is refused."""

import io
import re
import time
import zipfile
from datetime import UTC, date, datetime

import pytest
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from audit.register_files.bundle import read_bundle
from audit.register_files.work_log import read_log
from records.domain.number_formats import CannotShow, shown_number, shown_text
from records.exceptions import CannotRead
from records.tables import limits, workbook
from tests.audit.bundles import OPERATIONS, PEOPLE, STAMPS, csv_bytes, write_bundle
from tests.audit.workbooks import changed_workbook, raw_row, raw_workbook
from tests.audit.workbooks import workbook as book_of

LOG = ["row", "employee_number", "stamp", "scope", "operation", "worked_on", "note"]


@pytest.mark.parametrize(
    ("number", "number_format", "shown"),
    [
        ("377", "00000", "00377"),
        ("377", "General", "377"),
        ("377.0", "General", "377"),
        ("3.77E2", "0", "377"),
        ("377", "@", "377"),
        ("123456", "00000", "123456"),
        ("0", "00000", "00000"),
        ("0", "#", None),
        ("377", "#", "377"),
        ("-5", "000", "-005"),
        ("12", '"P-"0000', "P-0012"),
        ("12", '"P"\\-0000', "P-0012"),
        ("1203", "00-00", "12-03"),
        ("51203", "00-00", "512-03"),
        ("20260309", "0000-00-00", "2026-03-09"),
        ("10.5", "0.00", "10.50"),
        ("10.1", "General", "10.1"),
        ("0.30000000000000004", "General", "0.3"),
        ("10.25", "0.0", None),
        ("3.7", "0", None),
        ("377", "#,##0", "377"),
        ("1377", "#,##0", None),
        ("5", "0%", None),
        ("5", "0.00E+00", None),
        ("5", "# ?/?", None),
        ("5", ";;;", None),
        ("5", '"hidden"', None),
        ("5", "[>3]0;00", None),
        ("5", "[Red]000", "005"),
        ("5", '0" kg"', "5 kg"),
        ("-5", "0;(0)", "(5)"),
        ("0", '0;-0;"none"', None),
        ("12345678901", "General", "12345678901"),
        ("123456789012", "General", None),
        ("123456789012", "0", "123456789012"),
        ("1.2345678901234567E+17", "0", None),
        ("0.00001", "General", None),
        ("NaN", "General", None),
        ("1E999999999", "0", None),
        ("377", "0,", None),
        ("377", "P0000", None),
    ],
)
def test_number_is_what_its_format_shows_or_cannot_be_told(number, number_format, shown):
    if shown is None:
        with pytest.raises(CannotShow):
            shown_number(number, number_format)
    else:
        assert shown_number(number, number_format) == shown


@pytest.mark.parametrize(
    ("number_format", "shown"),
    [("@", "7A"), ("General", "7A"), ("00000", "7A"), ('"P-"@', "P-7A"), ("0;-0;0;@", "7A")],
)
def test_text_is_what_its_format_shows(number_format, shown):
    assert shown_text("7A", number_format) == shown


def test_text_that_its_format_hides_is_not_told():
    with pytest.raises(CannotShow):
        shown_text("7A", ";;;")


def people_of(tmp_path, content, **others):
    folder = write_bundle(tmp_path / "bundle", people=None, **others)
    (folder / "people.xlsx").write_bytes(content)
    return read_bundle(folder)


def test_number_shown_with_leading_zeros_is_not_another_persons(tmp_path):
    rows = [PEOPLE[0], [377, "Ines Okafor", "", "North"], [377, "Zoë Lindqvist", "", "North"]]

    def change(sheet):
        sheet["A2"].number_format = "00000"

    bundle = people_of(tmp_path, changed_workbook(rows, change))

    assert bundle.problems == []
    assert [row.employee_number for row in bundle.people] == ["00377", "377"]


CELLS = {
    "error": ("#N/A", "shows #N/A, an error"),
    "formula": ("=B2", "holds a formula without what it came to"),
    "day": (date(2026, 3, 9), "holds a day"),
    "instant": (datetime(2026, 3, 9, 8, 30), "holds a day"),  # noqa: DTZ001
    "truth": (True, "holds true or false"),
    "rounded": (3.14159265358979, "shows it shortened"),
    "long": (123456789012, "shows it shortened"),
}


@pytest.mark.parametrize("name", CELLS)
@pytest.mark.parametrize("column", ["A", "B", "D"])
def test_cell_that_does_not_say_plainly_what_it_is_is_refused_by_its_name(name, column, tmp_path):
    value, why = CELLS[name]
    rows = [PEOPLE[0], ["P1", "Ines Okafor", "", "North"], ["P2", "Zoë Lindqvist", "", "North"]]

    def change(sheet):
        sheet[f"{column}3"] = value

    bundle = people_of(tmp_path, changed_workbook(rows, change))

    [problem] = bundle.problems
    assert (problem.file, problem.line) == ("people.xlsx", 3)
    assert problem.column == PEOPLE[0]["ABCD".index(column)]
    assert f"Sheet People, cell {column}3 " in problem.reason
    assert why in problem.reason
    assert [row.employee_number for row in bundle.people] == ["P1"]


def test_days_are_read_in_columns_of_days_however_they_are_shown(tmp_path):
    rows = [
        [*PEOPLE[0], "started_on", "left_on"],
        ["P1", "Ines Okafor", "", "North", date(2026, 3, 9), 20260310],
    ]

    def change(sheet):
        sheet["E2"].number_format = "d mmm yy"
        sheet["F2"].number_format = "0000-00-00"

    bundle = people_of(tmp_path, changed_workbook(rows, change))

    assert bundle.problems == []
    assert (bundle.people[0].started_on, bundle.people[0].left_on) == (
        date(2026, 3, 9),
        date(2026, 3, 10),
    )


def test_days_count_from_1904_where_the_workbook_says_so():
    rows = [LOG, ["1", "P1", "", "T", "", date(2026, 3, 9), ""]]

    def change(sheet):
        sheet.parent.epoch = CALENDAR_MAC_1904

    content = changed_workbook(rows, change)
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert b"<v>44628</v>" in archive.read("xl/worksheets/sheet1.xml")
    assert first_row(content)[5] == "2026-03-09T00:00:00"


def first_row(content):
    log = read_log("log.xlsx", content)
    assert log.problems == []
    return list(log.frame.drop("line").row(0))


def test_work_log_is_read_as_it_is_shown():
    def change(sheet):
        sheet["B2"].number_format = "00000"
        sheet["C2"].number_format = "000"
        sheet["E2"].number_format = '"OP-"000'

    rows = [LOG, [1, 377, 47, "turret", 12, date(2026, 3, 9), 3.14159265358979]]

    assert first_row(changed_workbook(rows, change)) == [
        *("1", "00377", "047", "turret", "OP-012", "2026-03-09T00:00:00", "3.14159265358979")
    ]


@pytest.mark.parametrize("column", ["B", "C", "D", "E", "F"])
def test_row_of_a_work_log_with_an_error_in_it_is_not_judged(column):
    def change(sheet):
        sheet[f"{column}2"] = "#REF!"

    rows = [LOG, *(["1", "P1", "47", "T", "OP", "2026-03-09", ""] for _row in range(2))]
    log = read_log("log.xlsx", changed_workbook(rows, change))

    assert log.frame["line"].to_list() == [3]
    [problem] = log.problems
    assert (problem.line, problem.column) == (2, LOG["ABCDEF".index(column)])
    assert f"Sheet People, cell {column}2 shows #REF!, an error" in problem.reason


def test_error_in_a_column_that_is_only_kept_hinders_nothing():
    rows = [LOG, ["#N/A", "P1", "", "T", "", "2026-03-09", "#N/A"]]
    assert first_row(changed_workbook(rows, lambda sheet: None))[-1] == "#N/A"


# Sheets


def people(number):
    return [PEOPLE[0], [number, "Ines Okafor", "", "North"]]


@pytest.mark.parametrize(
    ("sheets", "reason"),
    [
        (
            [("Now", people("P1"), "visible"), ("Before", people("P9"), "visible")],
            "sheet Before holds a table as well",
        ),
        (
            [("Now", people("P1"), "visible"), ("Before", people("P9"), "veryHidden")],
            r"sheet Before \(hidden\) holds a table as well",
        ),
        (
            [("Now", people("P1"), "visible"), ("Marks", STAMPS, "visible")],
            "sheet Marks holds a table as well",
        ),
        (
            [("Before", people("P9"), "hidden"), ("Now", people("P1"), "visible")],
            "its first sheet, Before, is hidden",
        ),
    ],
    ids=["second", "second hidden", "another part", "first hidden"],
)
def test_workbook_with_two_tables_or_a_hidden_first_sheet_is_refused(sheets, reason, tmp_path):
    bundle = people_of(tmp_path, book_of(*sheets))

    assert bundle.people == []
    [problem] = [problem for problem in bundle.problems if problem.file == "people.xlsx"]
    assert problem.line == 0
    assert re.search(reason, problem.reason)


def test_sheet_that_is_no_table_is_named_as_ignored(tmp_path):
    sheets = [("Now", people("P1"), "visible"), ("Notes", [["by hand"]], "visible")]

    bundle = people_of(tmp_path, book_of(*sheets), operations=OPERATIONS)

    assert [row.employee_number for row in bundle.people] == ["P1"]
    assert "people.xlsx: only its first sheet, Now, is read; ignored: Notes." in bundle.remarks


@pytest.mark.parametrize("state", ["visible", "hidden"])
def test_work_log_with_a_second_log_in_it_is_refused(state):
    rows = [LOG, ["1", "P1", "47", "T", "OP", "2026-03-09", ""]]
    content = book_of(("March", rows, "visible"), ("April", rows, state))

    with pytest.raises(CannotRead, match="sheet April"):
        read_log("log.xlsx", content)


# Bounds

HEADING = raw_row(1, "employee_number", "scope", "worked_on")
WORK = ("P1", "turret", "2026-03-09")


@pytest.mark.parametrize(
    ("before", "rows"),
    [
        ('<dimension ref="A1:XFD1048576"/>', raw_row(2, *WORK)),
        ("", raw_row(1_048_576, *WORK)),
        ('<dimension ref="A1:XFD1048576"/>', raw_row(2, *WORK) + raw_row(1_048_576, *WORK)),
    ],
    ids=["dimension", "row", "both"],
)
def test_small_file_that_claims_a_whole_sheet_is_read_at_once(before, rows):
    content = raw_workbook(HEADING + rows, before=before)
    begun = time.process_time()

    log = read_log("log.xlsx", content)

    assert time.process_time() - begun < 5  # A whole sheet takes minutes.
    assert log.frame.height == rows.count("<row")


@pytest.mark.parametrize(
    ("rows", "reason"),
    [
        ('<row r="1048577"><c><v>1</v></c></row>', "does not follow"),
        ('<row r="99999999999999999999"/>', "does not follow"),
        (raw_row(2, *WORK) + raw_row(2, *WORK), "does not follow"),
        ('<row r="2"><c r="XFD2"><v>1</v></c></row>', "cell XFD2, beyond the 500 columns"),
        ('<row r="2"><c r="B2"><v>1</v></c><c r="A2"><v>1</v></c></row>', "not in order"),
        ('<row r="2"><c r="A3"><v>1</v></c></row>', "has a cell A3"),
        ('<row r="2"><c r="A2" t="s"><v>7</v></c></row>', "has a text that is not there"),
        ('<row r="2"><c r="A2" s="7"><v>7</v></c></row>', "has a format that is not there"),
        (raw_row(2, "x" * 32_768), "more than 32767 characters"),
        ("<row", "cannot be read as an XLSX workbook"),
    ],
)
def test_workbook_that_no_program_writes_is_refused_as_a_whole(rows, reason):
    with pytest.raises(CannotRead, match=reason):
        read_log("log.xlsx", raw_workbook(HEADING + rows))


def test_styled_cells_without_content_take_no_room():
    cells = '<row r="2"><c t="inlineStr"><is><t>P1</t></is></c><c r="XFD2"/></row>'
    log = read_log("log.xlsx", raw_workbook(HEADING + cells))
    assert log.frame.row(0) == (2, "P1", "", "")


def test_entities_are_not_followed():
    prolog = '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>'
    with pytest.raises(CannotRead, match="document type"):
        read_log("log.xlsx", raw_workbook(HEADING + raw_row(2, "&b;"), prolog=prolog))


@pytest.mark.parametrize(
    ("module", "name", "value", "reason"),
    [
        (workbook, "MOST_UNPACKED_BYTES", 1000, "unpacks to more"),
        (workbook, "MOST_CELLS", 5, "holds too much"),
        (workbook, "MOST_TEXT", 50, "holds too much"),
        (workbook, "LONGEST_READING_S", -1, "takes longer to read"),
        (limits, "MOST_ROWS", 1, "more than 1 rows"),
        (limits, "MOST_COLUMNS", 2, "more than 2 columns"),
        (limits, "MOST_CELLS", 5, "more than 5 cells"),
    ],
)
def test_what_is_larger_than_is_read_is_refused(module, name, value, reason, monkeypatch):
    content = raw_workbook(HEADING + raw_row(2, *WORK) + raw_row(3, *WORK))
    monkeypatch.setattr(module, name, value)

    with pytest.raises(CannotRead, match=reason):
        read_log("log.xlsx", content)


@pytest.mark.parametrize("quoted", [False, True], ids=["plain", "quoted"])
def test_csv_with_more_columns_than_are_read_is_refused(quoted):
    heading = ["employee_number", "scope", "worked_on", *(f"c{n}" for n in range(500))]
    row = ["P1", "turret", "2026-03-09", *("" for _column in range(500))]
    if quoted:
        row[3] = 'say "so"'

    with pytest.raises(CannotRead, match="more than 500 columns"):
        read_log("log.csv", csv_bytes([heading, row]))


def test_bundle_with_more_columns_than_are_read_says_so_once(tmp_path):
    heading = [*PEOPLE[0], *(f"c{n}" for n in range(500))]
    bundle = read_bundle(write_bundle(tmp_path / "bundle", people=[heading, ["P1"], ["P2"]]), UTC)
    [problem] = [problem for problem in bundle.problems if problem.file == "people.csv"]
    assert "more than 500 columns" in problem.reason


def test_workbook_with_a_password_is_named_as_one():
    with pytest.raises(CannotRead, match="has a password"):
        read_log("log.xlsx", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 512)

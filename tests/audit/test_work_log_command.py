"""check_work_log: the findings of the worked registers, from a bundle and from the database."""

import csv
import io
import shutil
from datetime import UTC, date, datetime

import openpyxl
import pytest
from django.core.management import CommandError, call_command

from audit.services import importing
from certification.models import Certificate, Operation
from people.models import FormerEmployeeNumber, Person
from tests.audit.bundles import csv_bytes, tables, write_bundle, xlsx_bytes
from tests.certification.standing_bundles import FOLDER
from tests.factories import NOW, make_site

FILES = sorted(FOLDER.glob("*/findings*.csv"))
OPTIONS = {
    "findings": [],
    "findings_as_known_then": ["--as-known-then"],
    "findings_counts_as_practice": ["--counts-as-practice"],
    "findings_as_known_2023-06-01T00-00-00": ["--as-known-at", "2023-06-01T00:00:00"],
    "findings_as_known_2023-08-10T00-00-00": ["--as-known-at", "2023-08-10 00:00"],
    "findings_as_known_2024-02-10T10-00-00": ["--as-known-at", "2024-02-10T10:00:00Z"],
    "findings_as_known_2024-03-01": ["--as-known-at", "2024-03-01"],
}


@pytest.fixture
def check(tmp_path, capsys):
    """Run the command; return the findings' bytes, what it said, and what it warned of."""

    def run(log, *options):
        output = tmp_path / "findings.csv"
        output.unlink(missing_ok=True)
        summary, warned = io.StringIO(), io.StringIO()
        call_command(
            "check_work_log",
            str(log),
            "--output",
            str(output),
            *map(str, options),
            stdout=summary,
            stderr=warned,
        )
        return output.read_bytes(), summary.getvalue(), warned.getvalue()

    return run


def import_without_refused_renewals(folder):
    """Take a bundle in; the engine gives no effect to renewals that an import refuses."""
    try:
        importing.import_register(path=folder, zone=UTC, at=NOW, actor="test")
    except importing.RegisterRefused as error:
        refused = error.problems
    else:
        return
    assert {problem.column for problem in refused} == {"renews"}
    path = folder / "certificates.csv"
    with path.open(newline="") as stream:
        rows = list(csv.reader(stream))
    for problem in refused:
        rows[problem.line - 1][rows[0].index("renews")] = ""
    path.write_bytes(csv_bytes(rows))
    importing.import_register(path=folder, zone=UTC, at=NOW, actor="test")


@pytest.mark.parametrize("path", FILES, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_findings_from_a_bundle_are_those_expected_byte_for_byte(path, check):
    """Without the database: the test may not touch it."""
    log = path.parent / "work_log.csv"

    findings_csv, _summary, _warned = check(log, "--register", path.parent, *OPTIONS[path.stem])

    assert findings_csv == path.read_bytes()


@pytest.mark.django_db
@pytest.mark.parametrize("name", ["edges", "random_a", "random_b", "worked"])
def test_findings_from_the_database_are_those_expected_byte_for_byte(name, check, tmp_path):
    for site, prefix in [("North", "NO"), ("South", "SO"), ("A", "A"), ("B", "B")]:
        make_site(site, prefix)
    folder = tmp_path / name
    shutil.copytree(FOLDER / name, folder)
    import_without_refused_renewals(folder)

    for path in sorted(folder.glob("findings*.csv")):
        findings_csv, _summary, _warned = check(folder / "work_log.csv", *OPTIONS[path.stem])
        assert findings_csv == path.read_bytes(), path.stem


@pytest.mark.parametrize("options", OPTIONS.values(), ids=OPTIONS)
def test_log_without_any_certificate_to_hold_it_against_is_judged_too(options, check, tmp_path):
    folder = write_bundle(
        tmp_path / "bundle",
        schemes=None,
        certificates=None,
        certificate_events=None,
        vision_tests=None,
        practice=None,
        stamps=None,
    )
    log = tmp_path / "log.csv"
    log.write_bytes(
        b"row,employee_number,scope,worked_on\n1,P1,turret,2024-01-01\n2,XX,turret,2024-01-01\n"
    )

    findings_csv, _summary, _warned = check(log, "--register", folder, *options)

    assert findings_csv.splitlines()[1:] == [
        b"1,P1,turret,2024-01-01,never_certified,",
        b"2,XX,turret,2024-01-01,unknown_person,",
    ]


def test_bundle_of_people_alone_says_of_everybody_that_they_were_never_certified(check, tmp_path):
    folder = tmp_path / "bundle"
    folder.mkdir()
    (folder / "people.csv").write_bytes(csv_bytes(tables()["people"]))
    log = tmp_path / "log.csv"
    log.write_bytes(
        b"row,employee_number,scope,worked_on\n1,P1,turret,2024-01-01\n2,P1,,2024-01-01\n"
    )

    findings_csv, summary, _warned = check(log, "--register", folder)

    assert findings_csv.splitlines()[1:] == [b"1,P1,turret,2024-01-01,never_certified,"]
    assert "could not be judged: 1" in summary


@pytest.mark.parametrize("line_end", [b"", b"\n", b"\r\n\r\n"], ids=["bare", "ended", "blank"])
def test_log_without_rows_has_findings_without_rows(line_end, check, bundle, tmp_path):
    log = tmp_path / "log.csv"
    log.write_bytes(b"row,employee_number,scope,worked_on" + line_end)

    findings_csv, summary, _warned = check(log, "--register", bundle)

    assert findings_csv == b"row,employee_number,scope,worked_on,standing,certificate_number\n"
    assert summary.startswith("0 rows were judged")


# The log as it comes

LOG = [
    ["row", "employee_number", "scope", "worked_on", "Order", "", "Order"],
    ["1", "P1", "turret", "2022-03-15", "W-1", "-5", "é, ü"],
    ["2", "P2", "turret", "2022-03-16", "W-2", "", " kept as it is "],
]
FOUND = [
    [*LOG[0], "standing", "certificate_number"],
    [*LOG[1], "certified", "C1"],
    [*LOG[2], "never_certified", ""],
]
ROW_BY_ROW = 'row,employee_number,scope,worked_on\n1,"P1",turret,2022-03-15\n'


def as_rows(findings_csv):
    return list(csv.reader(findings_csv.decode().splitlines()))


@pytest.fixture
def bundle(tmp_path):
    return write_bundle(tmp_path / "bundle")


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("log.csv", csv_bytes(LOG)),
        ("log.csv", csv_bytes(LOG, delimiter=";", line_end="\r\n", bom=True)),
        ("log.csv", csv_bytes(LOG, delimiter="\t")),
        ("log.csv", b"sep=;\r\n" + csv_bytes(LOG, delimiter=";", line_end="\r\n")),
        ("log.csv", csv_bytes(LOG).replace(b"\n2,", b"\n\n,,,,,,\n2,") + b"\n\n"),
        ("log.CSV", csv_bytes(LOG).replace(b"scope,worked_on", b" Scope ,WORKED_ON")),
        ("log.xlsx", xlsx_bytes(LOG)),
    ],
    ids=["plain", "semicolons, BOM, CRLF", "tabs", "hint", "blank lines", "headings", "XLSX"],
)
def test_logs_as_spreadsheet_programs_save_them_keep_every_column(
    name, content, bundle, check, tmp_path
):
    log = tmp_path / name
    log.write_bytes(content)

    findings_csv, _summary, warned = check(log, "--register", bundle)

    assert as_rows(findings_csv) == FOUND
    assert name not in warned


def test_plain_log_is_read_as_one_with_quotation_marks_is(bundle, check, tmp_path):
    log, rows = tmp_path / "log.csv", [row[:5] for row in LOG]
    log.write_bytes(csv_bytes(rows))
    plain, *_more = check(log, "--register", bundle)
    log.write_bytes(csv_bytes(rows).replace(b"P1", b'"P1"'))
    quoted, *_more = check(log, "--register", bundle)

    assert plain == quoted


def test_days_of_a_workbook_come_out_as_days(bundle, check, tmp_path):
    log = tmp_path / "log.xlsx"
    log.write_bytes(
        xlsx_bytes(
            [
                ["row", "stamp", "operation", "worked_on"],
                [1, 47, "OP-120", datetime(2022, 3, 15)],  # noqa: DTZ001
            ]
        )
    )

    findings_csv, _summary, _warned = check(log, "--register", bundle)

    assert as_rows(findings_csv) == [
        [
            "row",
            "employee_number",
            "stamp",
            "scope",
            "operation",
            "worked_on",
            "standing",
            "certificate_number",
        ],
        ["1", "P1", "47", "turret", "OP-120", "2022-03-15", "certified", "C1"],
    ]


def test_findings_can_be_a_workbook_whose_cells_are_text(bundle, tmp_path):
    log, output = tmp_path / "log.csv", tmp_path / "findings.xlsx"
    log.write_bytes(csv_bytes([[*LOG[0][:4], "note"], [*LOG[1][:4], "=1+1"]]))

    call_command("check_work_log", str(log), "--register", str(bundle), "--output", str(output))

    rows = list(openpyxl.load_workbook(output).active.iter_rows())
    assert [cell.value for cell in rows[1]] == [*LOG[1][:4], "=1+1", "certified", "C1"]
    assert rows[1][4].data_type == "s"


def test_findings_held_up_again_keep_what_they_said_before(bundle, check, tmp_path):
    log = tmp_path / "log.csv"
    log.write_bytes(ROW_BY_ROW.encode())
    first, *_more = check(log, "--register", bundle)
    log.write_bytes(first)

    findings_csv, *_more = check(log, "--register", bundle)

    assert as_rows(findings_csv) == [
        [
            *["row", "employee_number", "scope", "worked_on", "logged_standing"],
            *["logged_certificate_number", "standing", "certificate_number"],
        ],
        ["1", "P1", "turret", "2022-03-15", "certified", "C1", "certified", "C1"],
    ]


# Who, and what work

STAMPS = [
    ["stamp", "employee_number", "issued_on", "returned_on"],
    ["47", "P1", "2022-01-01", "2022-03-20"],
    ["47", "P2", "2022-03-20", ""],
    ["9", "P1", "2022-01-01", ""],
    ["9", "P1", "2022-03-01", ""],
]


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        (["P2", "47", "2022-03-15"], ["P2", "never_certified"]),
        (["", "47", "2022-03-15"], ["P1", "certified"]),
        (["", "47", "2021-12-31"], ["", "unknown_person"]),
        (["", "47", "2022-01-01"], ["P1", "never_certified"]),
        (["", "47", "2022-03-19"], ["P1", "certified"]),
        (["", "47", "2022-03-21"], ["P2", "never_certified"]),
        (["", "9", "2022-03-15"], ["P1", "certified"]),
        (["", "047", "2022-03-15"], ["", "unknown_person"]),
        (["p1", "", "2022-03-15"], ["p1", "unknown_person"]),
        ([" P1 ", "", " 2022-03-15"], ["P1", "certified"]),
    ],
    ids=lambda cells: "/".join(cells),
)
def test_number_says_who_and_where_it_is_empty_whoever_held_the_stamp(
    cells, expected, check, tmp_path
):
    folder = write_bundle(tmp_path / "bundle", stamps=STAMPS)
    log = tmp_path / "log.csv"
    log.write_bytes(
        csv_bytes(
            [
                ["employee_number", "stamp", "scope", "worked_on"],
                [cells[0], cells[1], "turret", cells[2]],
            ]
        )
    )

    findings_csv, _summary, _warned = check(log, "--register", folder)

    row = as_rows(findings_csv)[1]
    assert [row[0], row[4]] == expected


def test_stamp_of_somebody_who_is_not_among_the_people_is_filled_in_all_the_same(check, tmp_path):
    stamps = [*STAMPS, ["8", "GONE-1", "2022-01-01", ""]]
    folder = write_bundle(tmp_path / "bundle", stamps=stamps)
    log = tmp_path / "log.csv"
    log.write_bytes(b"row,stamp,scope,worked_on\n1,8,turret,2022-03-20\n")

    findings_csv, _summary, _warned = check(log, "--register", folder)

    assert findings_csv.splitlines()[1] == b"1,GONE-1,8,turret,2022-03-20,unknown_person,"


def test_stamp_in_two_hands_on_a_day_is_nobodys_word(check, tmp_path):
    folder = write_bundle(tmp_path / "bundle", stamps=STAMPS)
    log = tmp_path / "log.csv"
    log.write_bytes(b"row,stamp,scope,worked_on\n1,47,turret,2022-03-20\n2,47,turret,2022-03-21\n")

    findings_csv, summary, warned = check(log, "--register", folder)

    assert [row[0] for row in as_rows(findings_csv)[1:]] == ["2"]
    assert "log.csv, line 2, stamp: Stamp 47 was with more than one person that day" in warned
    assert "could not be judged: 1" in summary


@pytest.mark.django_db
def test_number_that_somebody_had_before_is_theirs_still(check, tmp_path):
    make_site("North", "NO")
    importing.import_register(
        path=write_bundle(tmp_path / "bundle"), zone=UTC, at=NOW, actor="test"
    )
    person = Person.objects.get(employee_number="P1")
    FormerEmployeeNumber.objects.create(
        person=person, employee_number="OLD-1", until_on=date(2022, 1, 1)
    )
    log = tmp_path / "log.csv"
    log.write_bytes(b"row,employee_number,scope,worked_on\n1,OLD-1,turret,2022-03-15\n")

    findings_csv, _summary, _warned = check(log)

    assert findings_csv.splitlines()[1] == b"1,OLD-1,turret,2022-03-15,certified,C1"


@pytest.mark.django_db
def test_nothing_in_the_database_is_asked_or_changed_for_a_bundle(
    bundle, check, tmp_path, django_assert_num_queries
):
    log = tmp_path / "log.csv"
    log.write_bytes(ROW_BY_ROW.encode())

    with django_assert_num_queries(0):
        check(log, "--register", bundle, "--as-known-then", "--counts-as-practice")

    assert not Certificate.objects.exists()
    assert not Operation.objects.exists()


# Rows and files that cannot be read

BAD = """row,employee_number,stamp,scope,operation,worked_on,note
1,P1,,turret,,2022-03-15,good
2,P1,,welding,,2022-03-15,a scope that nobody knows
3,P1,,,OP-999,2022-03-15,an operation that nobody knows
4,P1,,turret,,2022-02-30,a day that there is not
5,P1,,turret,,15/03/2022,a day in another order
6,P1,,turret
7,,,turret,,2022-03-15,nobody
8,P1,,,,2022-03-15,no work
9,P1,,turret,,2022-03-15,more,cells,than,columns
10,,,,,,nothing at all
11,P2,,turret,,2022-03-15,good
"""
REASONS = {
    3: "scope: There is no scope welding in the register.",
    4: "operation: There is no operation OP-999 in the register.",
    5: "worked_on: '2022-02-30' is not a day: write it as in 2026-03-09.",
    6: "worked_on: '15/03/2022' is not a day: write it as in 2026-03-09.",
    7: "worked_on: The cell is empty.",
    8: "employee_number: The row names nobody: give an employee number or a stamp.",
    9: "scope: The row names neither a scope nor an operation.",
    10: "The row has more cells than the 7 columns of the heading",
    11: "scope: The row names neither a scope nor an operation.",
}


@pytest.mark.parametrize("mark", ["", '"'], ids=["plain", "quoted"])
def test_bad_rows_are_told_by_line_and_reason_and_the_rest_is_judged(mark, bundle, check, tmp_path):
    log = tmp_path / "log.csv"
    log.write_text(BAD.replace("good\n", f"{mark}good{mark}\n"))

    findings_csv, summary, warned = check(log, "--register", bundle)

    assert [(row[0], row[-2]) for row in as_rows(findings_csv)[1:]] == [
        ("1", "certified"),
        ("11", "never_certified"),
    ]
    for line, reason in REASONS.items():
        assert any(
            warning.startswith(f"log.csv, line {line}") and reason in warning
            for warning in warned.splitlines()
        ), (line, warned)
    assert "2 rows were judged" in summary
    assert "Rows that could not be judged: 9" in summary


def test_lines_in_another_encoding_are_told_and_the_rest_is_judged(bundle, check, tmp_path):
    log = tmp_path / "log.csv"
    log.write_bytes(
        "row,employee_number,scope,worked_on,note\n"
        "1,P1,turret,2022-03-15,fine\n"
        "2,P1,turret,2022-03-15,größer\n"
        "3,P2,turret,2022-03-15,fine\n".encode("latin-1")
    )

    findings_csv, summary, warned = check(log, "--register", bundle)

    assert [row[0] for row in as_rows(findings_csv)[1:]] == ["1", "3"]
    assert "log.csv, line 3: This line is not UTF-8 text" in warned
    assert "could not be judged: 1" in summary


def test_quotation_mark_that_is_never_closed_costs_its_own_line_alone(bundle, check, tmp_path):
    log = tmp_path / "log.csv"
    log.write_text(
        "row,employee_number,scope,worked_on,note\n"
        '1,P1,turret,2022-03-15,"two\nlines"\n'
        '2,P1,turret,2022-03-15,"never closed\n'
        '3,P2,turret,2022-03-15,"closed"\n'
        "4,P2,turret,2022-03-15,fine\n"
    )

    findings_csv, _summary, warned = check(log, "--register", bundle)

    assert [row[0] for row in csv.reader(io.StringIO(findings_csv.decode())) if row][1:] == [
        "1",
        "3",
        "4",
    ]
    assert "log.csv, line 4: The line cannot be read as CSV" in warned


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"row,employee_number,scope\n1,P1,turret\n", "no column named worked_on"),
        (b"row,scope,worked_on\n1,turret,2022-03-15\n", "employee_number (or stamp)"),
        (b"row,stamp,worked_on\n1,47,2022-03-15\n", "scope (or operation)"),
        (b"scope,stamp,worked_on,Scope\na,b,2022-03-15,c\n", "names the column scope twice"),
        (b"", "is empty"),
        ("row,employee_number,scope,worked_on\n".encode("utf-16"), "UTF-16"),
    ],
    ids=["day", "person", "work", "twice", "empty", "UTF-16"],
)
def test_log_of_which_nothing_can_be_judged_is_refused(content, reason, bundle, check, tmp_path):
    log = tmp_path / "log.csv"
    log.write_bytes(content)

    with pytest.raises(CommandError, match=r".") as refused:
        check(log, "--register", bundle)

    assert reason in str(refused.value)


def test_rows_of_the_bundle_that_cannot_be_read_are_told_and_left_out(check, tmp_path):
    folder = write_bundle(tmp_path / "bundle")
    with (folder / "certificates.csv").open("a") as stream:
        stream.write("C2,P2,HAND-24,turret,2022-13-15,,2022-03-15T10:00:00\n")
        stream.write("C3,P2,NO-SUCH,turret,2022-03-15,,2022-03-15T10:00:00\n")
        stream.write("C1,P2,HAND-24,turret,2022-03-15,,2022-03-15T10:00:00\n")
    log = tmp_path / "log.csv"
    log.write_bytes(ROW_BY_ROW.encode() + b"2,P2,turret,2022-03-15\n")

    findings_csv, _summary, warned = check(log, "--register", folder)

    assert [row[-2] for row in as_rows(findings_csv)[1:]] == ["certified", "never_certified"]
    assert "certificates.csv, line 3, issued_on: '2022-13-15' is not a day" in warned
    assert "certificates.csv, line 4, scheme: There is no scheme NO-SUCH" in warned
    assert "certificates.csv, line 5, certificate_number: C1 stands further up already" in warned


@pytest.mark.parametrize(
    "options",
    [
        ["--as-known-at", "last week"],
        ["--as-known-at", "2024-02-30"],
        ["--as-known-at", "2024-02-10", "--as-known-then"],
        ["--register", "nowhere"],
        ["--zone", "Nowhere/Land"],
    ],
    ids=" ".join,
)
def test_questions_that_make_no_sense_are_refused(options, check, tmp_path):
    log = tmp_path / "log.csv"
    log.write_bytes(ROW_BY_ROW.encode())

    with pytest.raises(CommandError):
        check(log, *options)


def test_log_that_is_not_there_is_said(tmp_path):
    with pytest.raises(CommandError, match="cannot be read"):
        call_command("check_work_log", str(tmp_path / "none.csv"), "--register", str(tmp_path))

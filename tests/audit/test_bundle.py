"""Register bundles: what is read, from which kinds of file, and how a bad row is named."""

import zipfile
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from audit.register_files.bundle import read_bundle
from records.exceptions import CannotRead
from tests.audit.bundles import (
    CERTIFICATES,
    PEOPLE,
    csv_bytes,
    tables,
    write_bundle,
    xlsx_bytes,
)


def described(bundle):
    return [(problem.file, problem.line, problem.column) for problem in bundle.problems]


def test_plain_bundle_is_read_into_typed_rows(tmp_path):
    bundle = read_bundle(write_bundle(tmp_path / "bundle"))

    assert bundle.problems == []
    assert bundle.people[1].full_name == "Zoë Lindqvist"
    [certificate] = bundle.certificates
    assert certificate.issued_on == date(2022, 3, 15)
    assert certificate.recorded_at == datetime(2022, 3, 15, 10, tzinfo=UTC)
    assert (certificate.withdrawn_at, certificate.restriction) == (None, "")
    assert bundle.schemes[0].max_absence_months == 6
    assert bundle.stamps[1].returned_on is None
    assert [len(digest) for digest in bundle.hashes.values()] == [64] * 8


@pytest.mark.parametrize(
    "how",
    [
        pytest.param({"bom": True, "delimiter": ";", "line_end": "\r\n"}, id="bom-semicolon-crlf"),
        pytest.param({"delimiter": "\t", "line_end": "\r\n"}, id="tab"),
        pytest.param({"bom": True}, id="bom"),
    ],
)
def test_csv_of_a_spreadsheet_program_reads_like_the_plain_file(tmp_path, how):
    plain = read_bundle(write_bundle(tmp_path / "plain"))
    folder = tmp_path / "saved"
    folder.mkdir()
    for stem, rows in tables().items():
        (folder / f"{stem.upper()}.CSV").write_bytes(csv_bytes(rows, **how))

    saved = read_bundle(folder)

    assert saved.problems == []
    for part in ("people", "schemes", "certificates", "vision_tests", "practice", "stamps"):
        assert saved.rows(part) == plain.rows(part)


def test_separator_hint_of_a_spreadsheet_program_is_not_taken_for_the_heading(tmp_path):
    folder = write_bundle(tmp_path / "bundle")
    (folder / "people.csv").write_bytes(b"sep=;\r\n" + csv_bytes(PEOPLE, delimiter=";"))

    bundle = read_bundle(folder)

    assert bundle.problems == []
    assert [row.line for row in bundle.people] == [3, 4]


def test_workbook_with_real_dates_and_numbers_reads_like_the_plain_file(tmp_path):
    folder = write_bundle(
        tmp_path / "bundle",
        certificates=None,
        schemes=None,
        stamps=None,
        people=[PEOPLE[0], ["10377", "Ada Holm", "", "North"]],
        vision_tests=None,
        practice=None,
    )
    (folder / "schemes.xlsx").write_bytes(
        xlsx_bytes([tables()["schemes"][0], ["HAND-24", 24, "same_day", 90.0, 24, 6]])
    )
    (folder / "certificates.xlsx").write_bytes(
        xlsx_bytes(
            [
                CERTIFICATES[0],
                [
                    2031,
                    10377,
                    "HAND-24",
                    "turret",
                    datetime(2022, 3, 15),  # noqa: DTZ001
                    None,
                    datetime(2022, 3, 15, 10, 0, 30),  # noqa: DTZ001
                ],
            ]
        )
    )
    (folder / "stamps.xlsx").write_bytes(
        xlsx_bytes([tables()["stamps"][0], [47, 10377, date(2022, 1, 1), None]])
    )

    bundle = read_bundle(folder)

    assert bundle.problems == []
    [certificate] = bundle.certificates
    assert (certificate.certificate_number, certificate.employee_number) == ("2031", "10377")
    assert certificate.issued_on == date(2022, 3, 15)
    assert certificate.recorded_at == datetime(2022, 3, 15, 10, 0, 30, tzinfo=UTC)
    assert bundle.schemes[0].renewal_window_days == 90
    assert bundle.stamps[0].issued_on == date(2022, 1, 1)


def test_instant_without_offset_is_on_the_given_clock(tmp_path):
    rows = [
        CERTIFICATES[0],
        ["C1", "P1", "HAND-24", "turret", "2024-07-01", "", "2024-07-01 10:00"],
        ["C2", "P1", "HAND-24", "turret", "2024-07-02", "", "2024-07-02T10:00:00+09:00"],
        ["C3", "P1", "HAND-24", "turret", "2024-07-03", "", "2024-07-03T10:00:00Z"],
    ]

    bundle = read_bundle(
        write_bundle(tmp_path / "bundle", certificates=rows), ZoneInfo("Europe/Madrid")
    )

    assert [row.recorded_at.hour for row in bundle.certificates] == [8, 1, 10]


def test_zip_is_read_with_its_one_folder_and_without_unpacking(tmp_path):
    path = tmp_path / "bundle.zip"
    with zipfile.ZipFile(path, "w") as archive:
        for stem, rows in tables().items():
            archive.writestr(f"register/{stem}.csv", csv_bytes(rows))
        archive.writestr("__MACOSX/register/._people.csv", b"\x00")
        archive.writestr("register/notes.txt", "kept by hand")

    bundle = read_bundle(path)

    assert bundle.problems == []
    assert len(bundle.people) == 2
    assert bundle.remarks == ["notes.txt is no part of a register bundle: ignored."]


@pytest.mark.parametrize("name", ["../people.csv", "/etc/people.csv", "..\\people.csv"])
def test_zip_that_points_outside_itself_is_refused(tmp_path, name):
    path = tmp_path / "bundle.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(name, csv_bytes(PEOPLE))

    with pytest.raises(CannotRead, match="points outside"):
        read_bundle(path)


def test_zip_that_unpacks_to_too_much_is_refused_unread(tmp_path, monkeypatch):
    monkeypatch.setattr("records.tables.reading.MOST_BYTES", 1000)
    path = tmp_path / "bundle.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("people.csv", b"0" * 1001)

    with pytest.raises(CannotRead, match="unpacks to more"):
        read_bundle(path)


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        pytest.param(None, "There is no file", id="nothing-there"),
        pytest.param(b"employee_number\n", "neither a folder nor a zip", id="single-file"),
    ],
)
def test_path_that_is_no_bundle_is_refused(tmp_path, content, reason):
    path = tmp_path / "people.csv"
    if content is not None:
        path.write_bytes(content)

    with pytest.raises(CannotRead, match=reason):
        read_bundle(path)


def test_bundle_without_people_is_refused(tmp_path):
    with pytest.raises(CannotRead, match=r"no people\.csv"):
        read_bundle(write_bundle(tmp_path / "bundle", people=None))


def test_columns_marked_optional_may_be_missing_and_others_are_ignored_with_a_remark(tmp_path):
    people = [[*PEOPLE[0], "shoe_size", "line_lead"], [*PEOPLE[1], "41", ""]]

    bundle = read_bundle(write_bundle(tmp_path / "bundle", people=people))

    assert bundle.problems == []
    assert bundle.remarks == ["people.csv: ignored these columns: shoe_size."]


def test_missing_column_is_named_once_and_its_file_left_alone(tmp_path):
    people = [row[:-1] for row in PEOPLE]

    bundle = read_bundle(write_bundle(tmp_path / "bundle", people=people))

    assert described(bundle) == [("people.csv", 1, "site")]
    assert bundle.people == []


@pytest.mark.parametrize(
    ("cells", "column", "reason"),
    [
        pytest.param({4: "15/03/2022"}, "issued_on", "not a day", id="day-with-slashes"),
        pytest.param({4: "2022-02-30"}, "issued_on", "not a day", id="no-such-day"),
        pytest.param({4: "2022-03-15T09:00"}, "issued_on", "not a day", id="day-with-a-time"),
        pytest.param({4: "0202-03-15"}, "issued_on", "not a day", id="slip-in-the-year"),
        pytest.param({4: ""}, "issued_on", "empty", id="day-missing"),
        pytest.param({6: "2022-03-15"}, "recorded_at", "day with a time", id="no-time"),
        pytest.param({6: "20220315T100000"}, "recorded_at", "day with a time", id="run-together"),
        pytest.param({0: ""}, "certificate_number", "empty", id="number-missing"),
        pytest.param({0: "C" * 41}, "certificate_number", "at most 40", id="number-too-long"),
        pytest.param({1: "P/1"}, "employee_number", "slashes", id="slash-in-an-address"),
        pytest.param({3: ".."}, "scope", "slashes", id="dots-in-an-address"),
        pytest.param({3: "tur\nret"}, "scope", "line break", id="line-break-inside"),
    ],
)
def test_bad_cell_is_named_with_file_line_column_and_reason(tmp_path, cells, column, reason):
    row = list(CERTIFICATES[1])
    for index, cell in cells.items():
        row[index] = cell
    good = ["C9", *CERTIFICATES[1][1:]]

    bundle = read_bundle(
        write_bundle(tmp_path / "bundle", certificates=[CERTIFICATES[0], good, row])
    )

    [problem] = bundle.problems
    assert (problem.file, problem.line, problem.column) == ("certificates.csv", 3, column)
    assert reason in problem.reason
    assert str(problem).startswith(f"certificates.csv, line 3, {column}: ")
    assert [certificate.certificate_number for certificate in bundle.certificates] == ["C9"]


@pytest.mark.parametrize(
    ("cells", "column"),
    [
        pytest.param({1: "two years"}, "validity_months", id="months-in-words"),
        pytest.param({1: "-1"}, "validity_months", id="months-negative"),
        pytest.param({5: "1201"}, "max_absence_months", id="months-without-end"),
        pytest.param({2: "same day"}, "expiry_rule", id="unknown-rule"),
    ],
)
def test_bad_scheme_figure_is_named(tmp_path, cells, column):
    row = list(tables()["schemes"][1])
    for index, cell in cells.items():
        row[index] = cell

    bundle = read_bundle(write_bundle(tmp_path / "bundle", schemes=[tables()["schemes"][0], row]))

    assert described(bundle) == [("schemes.csv", 2, column)]


def test_line_is_where_the_row_begins_even_after_cells_with_line_breaks(tmp_path):
    people = [
        [*PEOPLE[0], "note"],
        [*PEOPLE[1], "first\nsecond\nthird"],
        ["", "Nobody", "", "North", ""],
    ]

    bundle = read_bundle(write_bundle(tmp_path / "bundle", people=people))

    assert described(bundle) == [("people.csv", 5, "employee_number")]


@pytest.mark.parametrize(
    ("content", "line", "reason"),
    [
        pytest.param("Zoë;".encode("latin-1"), 1, "not UTF-8", id="latin-1"),
        pytest.param("a,b\nZoë".encode("utf-16"), 0, "UTF-16", id="utf-16"),
        pytest.param(b"", 0, "empty", id="empty"),
        pytest.param(b"a,,b\n", 1, "no name", id="unnamed-column"),
        pytest.param(b"a,b,a\n", 1, "twice", id="column-twice"),
        pytest.param(b'a,b\n"open,1\n', 2, "cannot be read on", id="quotation-not-closed"),
    ],
)
def test_file_that_is_no_table_is_named(tmp_path, content, line, reason):
    folder = write_bundle(tmp_path / "bundle")
    (folder / "people.csv").write_bytes(content)

    bundle = read_bundle(folder)

    assert bundle.problems[0].file == "people.csv"
    assert bundle.problems[0].line == line
    assert reason in bundle.problems[0].reason


def test_row_with_more_cells_than_the_heading_is_named(tmp_path):
    folder = write_bundle(tmp_path / "bundle")
    (folder / "people.csv").write_bytes(
        b"employee_number,full_name,email,site\nP1,Okafor, Ines,,North\nP2,B,,North,,\n"
    )

    bundle = read_bundle(folder)

    assert described(bundle) == [("people.csv", 2, "")]
    assert [row.employee_number for row in bundle.people] == ["P2"]


def test_workbook_that_is_none_is_named(tmp_path):
    folder = write_bundle(tmp_path / "bundle", people=None)
    (folder / "people.xlsx").write_bytes(b"PK not really")

    bundle = read_bundle(folder)

    assert described(bundle) == [("people.xlsx", 0, "")]


def test_same_part_twice_is_refused(tmp_path):
    folder = write_bundle(tmp_path / "bundle")
    (folder / "people.xlsx").write_bytes(xlsx_bytes(PEOPLE))

    bundle = read_bundle(folder)

    assert described(bundle) == [("people.csv", 0, "")]

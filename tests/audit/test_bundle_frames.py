"""Bundles read by column give the same rows, reasons and remarks as those read by row."""

import zipfile
from datetime import UTC
from zoneinfo import ZoneInfo

import polars as pl
import pytest

from audit.domain.bundle import PARTS
from audit.register_files.bundle import read_bundle
from audit.register_files.bundle_frames import BundleFrames
from tests.audit.bundles import CERTIFICATES, csv_bytes, tables, write_bundle, xlsx_bytes
from tests.certification.standing_bundles import FOLDER

ZONES = [UTC, ZoneInfo("Europe/Madrid"), ZoneInfo("America/New_York")]


def assert_same(path, zone=UTC):
    frames, bundle = BundleFrames(path, zone), read_bundle(path, zone)
    compared = 0
    for part in PARTS:
        expected = [
            {name: getattr(row, name) for name in row.__slots__} for row in bundle.rows(part)
        ]
        assert list(frames.part(part).iter_rows(named=True)) == expected, part
        compared += len(expected)
    assert sorted(map(str, frames.bundle.problems)) == sorted(map(str, bundle.problems))
    assert sorted(frames.bundle.remarks) == sorted(bundle.remarks)
    assert compared
    return bundle


@pytest.mark.parametrize("zone", ZONES, ids=str)
@pytest.mark.parametrize("name", ["worked", "edges", "random_a", "random_b", "restricted"])
def test_worked_registers(name, zone):
    assert_same(FOLDER / name, zone)


INSTANTS = [
    "2024-03-31T02:30:00",  # not on the clocks of Madrid that night
    "2024-10-27T02:30:00",  # twice on the clocks of Madrid that night
    "2024-07-01 10:00",
    "2024-07-01 10:00:30.25",
    "2024-07-01T10:00:00Z",
    "2024-07-01T10:00:00+09:00",
    "2024-07-01T10:00:00.123456-0530",
    "2199-12-31T23:59:59",
    "1900-01-01T00:00:00",
]
NO_INSTANTS = [
    "2024-07-01T10:00:60",
    "2024-07-01T24:00:00",
    "2024-02-30T10:00:00",
    "2024-07-01T 1:00:00",
    "2024-7-01T10:00:00",
    "+024-07-01T10:00:00",
    "2200-01-01T10:00:00",
    "2024-07-01",
    "yesterday",
    "",
]


@pytest.mark.parametrize("zone", ZONES, ids=str)
def test_instants_in_every_way_they_may_and_may_not_be_written(zone, tmp_path):
    rows = [
        [f"C{place}", "P1", "HAND-24", "turret", "2024-07-01", "", instant]
        for place, instant in enumerate([*INSTANTS, *NO_INSTANTS])
    ]
    bundle = assert_same(
        write_bundle(tmp_path / "bundle", certificates=[CERTIFICATES[0], *rows]), zone
    )
    assert [row.certificate_number for row in bundle.certificates] == [
        f"C{place}" for place in range(len(INSTANTS))
    ]
    assert len(bundle.problems) == len(NO_INSTANTS)


CELLS = {
    "certificate_number": ["C/1", "", "x" * 40, "x" * 41, "tab\there", " C9 "],
    "employee_number": ["P/1", "..", "P\\1", "", "P1\x1f"],
    "issued_on": ["2024-02-30", "2024-1-05", "2024-07-01 00:00", "2024-07-01T00:00:00.0", ""],
    "renews": ["", "none", "y" * 41],
    "scope": ["turret ", "cups/holes", "s" * 41],
}


def test_cells_that_fit_and_cells_that_do_not(tmp_path):
    rows, heading = [], CERTIFICATES[0]
    for name, cells in CELLS.items():
        for cell in cells:
            row = [f"N{len(rows)}", "P1", "HAND-24", "turret", "2024-07-01", "", INSTANTS[3]]
            row[heading.index(name)] = cell
            rows.append(row)
    bundle = assert_same(write_bundle(tmp_path / "bundle", certificates=[heading, *rows]))
    assert len(bundle.problems) > 10
    assert len(bundle.certificates) > 8


@pytest.mark.parametrize(
    "content",
    [
        csv_bytes(tables()["practice"], delimiter=";", line_end="\r\n", bom=True),
        csv_bytes(tables()["practice"]).replace(b"P1", b'"P1"'),
        csv_bytes(tables()["practice"]) + b"\n\n , , , \nP2,turret\nP2,turret,2024-01-01,x,y,z\n",
        csv_bytes(tables()["practice"]).replace(b"scope,", b"SCOPE ,"),
        csv_bytes(tables()["practice"]).replace(b"recorded_at", b"note"),
        csv_bytes(tables()["practice"]).replace(b"turret", "türret".encode("latin-1")),
        csv_bytes(tables()["practice"]).replace(b"turret", "türret".encode()),
        b"employee_number,scope,performed_on,recorded_at\n",
        b"",
    ],
    ids=["spreadsheet", "quoted", "ragged", "heading", "column", "latin", "utf-8", "bare", "empty"],
)
def test_files_as_programs_save_them(content, tmp_path):
    folder = write_bundle(tmp_path / "bundle", practice=None)
    (folder / "practice.csv").write_bytes(content)
    assert_same(folder)


def test_workbooks_and_zips(tmp_path):
    path = tmp_path / "bundle.zip"
    with zipfile.ZipFile(path, "w") as archive:
        for stem, rows in tables().items():
            archive.writestr(f"register/{stem}.xlsx", xlsx_bytes(rows))
    assert_same(path)


def test_bundle_of_people_alone_has_parts_without_rows(tmp_path):
    folder = tmp_path / "bundle"
    folder.mkdir()
    (folder / "people.csv").write_bytes(csv_bytes(tables()["people"]))
    frames = BundleFrames(folder, UTC)
    assert frames.part("people").height == 2
    assert frames.part("practice").is_empty()
    assert frames.part("practice").schema["performed_on"] == pl.Date

"""Small register bundles for tests, written as different programs would save them."""

import csv
import io
from collections.abc import Sequence
from pathlib import Path

import openpyxl

PEOPLE = [
    ["employee_number", "full_name", "email", "site"],
    ["P1", "Ines Okafor", "ines@example.test", "North"],
    ["P2", "Zoë Lindqvist", "", "North"],
]
SCHEMES = [
    [
        "scheme",
        "validity_months",
        "expiry_rule",
        "renewal_window_days",
        "vision_months",
        "max_absence_months",
    ],
    ["HAND-24", "24", "same_day", "90", "24", "6"],
]
CERTIFICATES = [
    [
        "certificate_number",
        "employee_number",
        "scheme",
        "scope",
        "issued_on",
        "renews",
        "recorded_at",
    ],
    ["C1", "P1", "HAND-24", "turret", "2022-03-15", "", "2022-03-15T10:00:00"],
]
EVENTS = [
    [
        "event_id",
        "certificate_number",
        "event",
        "effective_on",
        "recorded_at",
        "voids",
        "reason",
        "until",
        "authority",
        "restriction",
    ],
]
VISION_TESTS = [
    ["test_id", "employee_number", "tested_on", "result", "recorded_at"],
    ["T1", "P1", "2022-03-01", "pass", "2022-03-01T08:00:00"],
]
PRACTICE = [
    ["employee_number", "scope", "performed_on", "recorded_at"],
    ["P1", "turret", "2022-09-15", "2022-09-15T16:00:00"],
]
STAMPS = [
    ["stamp", "employee_number", "issued_on", "returned_on"],
    ["47", "P1", "2022-01-01", "2024-03-31"],
    ["47", "P2", "2024-04-01", ""],
]
OPERATIONS = [["operation", "scope"], ["OP-120", "turret"]]

Rows = list[list[str]]


def tables(**changed: Rows | None) -> dict[str, Rows]:
    """The bundle's files by stem; a keyword replaces one, None leaves it out."""
    bundle_tables = {
        "people": PEOPLE,
        "schemes": SCHEMES,
        "certificates": CERTIFICATES,
        "certificate_events": EVENTS,
        "vision_tests": VISION_TESTS,
        "practice": PRACTICE,
        "stamps": STAMPS,
        "operations": OPERATIONS,
        **changed,
    }
    return {stem: rows for stem, rows in bundle_tables.items() if rows is not None}


def event(event_id, kind, *, voids="", until="", authority="", only="", certificate="C1"):
    at = "2023-01-01T08:00:00"
    of = [event_id, certificate, kind, "2023-01-01", at]
    return [*of, voids, "a reason", until, authority, only]


def certificate(number, issued_on, renews, person="P1", scope="turret"):
    return [number, person, "HAND-24", scope, issued_on, renews, f"{issued_on}T10:00:00"]


def csv_bytes(
    rows: Rows, *, delimiter: str = ",", line_end: str = "\n", bom: bool = False
) -> bytes:
    stream = io.StringIO(newline="")
    csv.writer(stream, delimiter=delimiter, lineterminator=line_end).writerows(rows)
    return stream.getvalue().encode("utf-8-sig" if bom else "utf-8")


def xlsx_bytes(rows: Sequence[Sequence[object]]) -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in rows:
        sheet.append(list(row))
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def write_bundle(folder: Path, **changed: Rows | None) -> Path:
    """Write plain CSV files into a folder."""
    folder.mkdir(exist_ok=True)
    for stem, rows in tables(**changed).items():
        (folder / f"{stem}.csv").write_bytes(csv_bytes(rows))
    return folder

"""`import_register --check` says of any bundle what the import itself then does."""

from contextlib import contextmanager
from datetime import UTC

import pytest
from django.db import transaction
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from audit.services import importing
from records.exceptions import CannotRead
from tests.audit.bundles import csv_bytes, event, tables, write_bundle
from tests.factories import NOW, make_kiosk, make_person, make_revision, make_scope, make_site

pytestmark = pytest.mark.django_db

CERTIFICATES = [
    ["C2", "P1", "HAND-24", "turret", "2024-02-15", "C1", "2024-02-15T10:00:00", "", ""],
    ["CA-C-00007", "P2", "HAND-24", "cup", "2024-02-29", "", "2024-03-01T10:00:00", "", "No lead"],
]
COUNTS = ["", "0", "1", "-1", "7", "1200", "1201", "3660", "3661", "32768", "99999"]
DAYS = [
    *("", "1899-12-31", "1900-01-01", "2199-12-31", "2200-01-01", "9999-12-31", "2024-02-30"),
    *("2022-03-15", "2024-02-15", "2022-01-01", "2024-03-31", "2024-04-01"),
]
INSTANTS = [
    *("", "2022-03-15T10:00:00", "1900-01-01T00:00:00+14:00", "2199-12-31T23:59:59-12:00"),
    *("2100-01-01T00:00:00Z", "2022-03-15", "0001-01-01T00:00:00"),
]
WORDS = [
    *("", "P1", "P2", "p1", "P3", "new", "kiosk-1", "KNOWN", "known", "C1", "C2", "c1", "V1", "V2"),
    *("CA-C-999999999999", "47", "T1", "turret", "Turret", "cup", "OP-120", "HAND-24", "DRAFT"),
    *("same_day", "END_OF_MONTH", "pass", "fail", "suspended", "extended", "voided", "North"),
    *("restricted", "unrestricted"),
    *("ines@example.test", "INES@example.test", "no address", "a@b", "Ünal", "x" * 40, "x" * 401),
]
STEMS = [stem for stem in tables() if stem != "people"]


def bundle_tables():
    certificates = tables()["certificates"]
    heading = [*certificates[0], "withdrawn_at", "restriction"]
    rows = [[*certificates[1], "", ""], *CERTIFICATES]
    events = [
        event("V1", "suspended"),
        event("V2", "voided", voids="V1"),
        event("V3", "extended", until="2025-01-01", authority="QM"),
        event("V4", "restricted", only="leaded solder"),
    ]
    return tables(
        certificates=[heading, *rows],
        certificate_events=[*tables()["certificate_events"], *events],
    )


def values_for(column):
    """Texts that mean something in a column, right and wrong."""
    if column.endswith(("_months", "_days")):
        return COUNTS
    if column.endswith("_on") or column == "until":
        return DAYS
    return INSTANTS if column.endswith("_at") else WORDS


COLUMNS = [(stem, column) for stem, rows in bundle_tables().items() for column in rows[0]]
places = st.sampled_from(COLUMNS).flatmap(
    lambda place: st.tuples(
        st.just(place), st.integers(1, 3), st.sampled_from(values_for(place[1]))
    )
)
headings = st.tuples(st.sampled_from(COLUMNS), st.just(0), st.sampled_from(["", "note", "scope"]))
moves = st.tuples(
    st.sampled_from(["cut", "again", "column"]), st.sampled_from(list(tables())), st.integers(0, 3)
)
spoils = st.tuples(
    st.sampled_from(["gone", "latin", "quote", "empty", "utf-16"]), st.sampled_from(STEMS)
)


def changed_tables(changes, moved):
    changed = {stem: [list(row) for row in rows] for stem, rows in bundle_tables().items()}
    for (stem, column), row, value in changes:
        rows = changed[stem]
        if row < len(rows):
            rows[row][bundle_tables()[stem][0].index(column)] = value
    for what, stem, row in moved:
        rows = changed[stem]
        if what == "column":
            for cells in rows:
                del cells[row : row + 1]
        elif 0 < row < len(rows):
            rows[row : row + 1] = [] if what == "cut" else [rows[row], rows[row]]
    return changed


SPOILED = {
    "gone": lambda _content: None,
    "latin": lambda content: content + "Zoë".encode("latin-1"),
    "quote": lambda content: content + b'"open,1\n',
    "empty": lambda _content: b"",
    "utf-16": lambda content: content.decode().encode("utf-16"),
}


def write(folder, changed, spoiled):
    write_bundle(folder)
    for stem, rows in changed.items():
        content = csv_bytes(rows)
        for how, of in spoiled:
            if of == stem and content is not None:
                content = SPOILED[how](content)
        if content is None:
            (folder / f"{stem}.csv").unlink()
        else:
            (folder / f"{stem}.csv").write_bytes(content)
    return folder


@contextmanager
def undone():
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def answer(path, *, check_only):
    """What the import says, as the command prints it."""
    with undone():
        try:
            summary = importing.import_register(
                path=path, zone=UTC, at=NOW, actor="test", check_only=check_only
            )
        except importing.RegisterRefused as error:
            return "refused", [str(problem) for problem in error.problems], error.remarks
        except CannotRead as error:
            return "unread", str(error)
        return "fits", summary.lines(), summary.scopes_created, summary.remarks


@pytest.mark.parametrize("before", ["empty", "taken in"])
def test_check_says_of_any_bundle_what_the_import_does(before, tmp_path_factory):
    site = make_site("North", "NO")
    make_kiosk(site, "kiosk-1")
    make_person(site, employee_number="KNOWN")
    make_revision(make_scope(code="pierced"), name="DRAFT", published=False)
    if before == "taken in":
        folder = write(tmp_path_factory.mktemp("first"), bundle_tables(), [])
        importing.import_register(path=folder, zone=UTC, at=NOW, actor="test")
    answers = set()

    @settings(
        max_examples=80,
        deadline=None,
        derandomize=True,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    @example([(("schemes", "validity_months"), 1, "0")], [], [])
    @example([(("schemes", "renewal_window_days"), 1, "99999")], [], [])
    @example([(("certificates", "scheme"), 1, "DRAFT")], [], [])
    @given(st.lists(places, max_size=3), st.lists(moves, max_size=1), st.lists(spoils, max_size=1))
    def said_alike(changes, moved, spoiled):
        path = write(tmp_path_factory.mktemp("next"), changed_tables(changes, moved), spoiled)
        checked = answer(path, check_only=True)
        assert checked == answer(path, check_only=False)
        answers.add(checked[0])

    said_alike()
    assert answers >= {"fits", "refused"}

"""What every test may rely on, and the report of what was left out and why."""

import gc
import os
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import NoReturn

import hypothesis
import pytest
import time_machine
from django.contrib.auth.models import Permission
from django.contrib.contenttypes.models import ContentType
from django.db import connection, connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.test import Client, TransactionTestCase

from config.middleware import this_minute
from people.queries import printing
from people.services import memberships
from records.models import append_only
from tests.markup import read_as_a_browser_does

HERE = Path(__file__).parent
DATABASE_FIXTURES = {"db", "transactional_db", "django_db_setup", "live_server"}

# A busy machine is no failure, and a run that is to be repeated exactly does not draw lots.
hypothesis.settings.register_profile("here", deadline=None, database=None)
hypothesis.settings.register_profile("repeatable", deadline=None, database=None, derandomize=True)
hypothesis.settings.load_profile("repeatable" if os.environ.get("REQUIRE") == "all" else "here")


def leave_out(reason: str) -> NoReturn:
    """Skip a test for what this machine lacks; a failure where nothing may be left out."""
    if os.environ.get("REQUIRE") == "all":
        pytest.fail(f"{reason}, and REQUIRE=all lets nothing be left out.", pytrace=False)
    pytest.skip(reason)


def pytest_collection_modifyitems(items):
    first, then = [], []
    for item in items:
        folder = _folder_of(item.path)
        if folder in ("browser", "services"):
            item.add_marker(folder)
        marks = {mark.name for mark in item.iter_markers()}
        if may_use_a_database(item, marks):
            item.add_marker("database")
            # What is left out on one database is there for the other.
            if folder == "services" or "skipif" in marks:
                item.add_marker("each_database")
        # What takes long comes first, so that no process is left with it at the end.
        (first if marks & {"slow", "services", "browser"} else then).append(item)
    items[:] = first + then
    ask_of_one_address_in_a_row(items)


@cache
def _folder_of(path: Path) -> str:
    """The folder below this one that a file lies in; the file's own name if in none."""
    return path.relative_to(HERE).parts[0]


def ask_of_one_address_in_a_row(items: list[pytest.Item]) -> None:
    """Have one process ask all that the access table asks of an address: it asks nothing twice."""
    places = [n for n, item in enumerate(items) if item.path.name == "test_access_table.py"]
    tests = sorted((items[n] for n in places), key=_address_asked)
    for n, item in zip(places, tests, strict=True):
        items[n] = item


def _address_asked(item: pytest.Item) -> str:
    callspec = getattr(item, "callspec", None)
    return str(callspec.params.get("name", "")) if callspec else ""


def pytest_collection_finish():
    """Have Python look no more through what was imported, which stays: a tenth of a run's time.

    What tests make is looked through less often, too: most of it goes without.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 100)


def may_use_a_database(item: pytest.Item, marks: set[str]) -> bool:
    """Whether a database could make a difference to a test.

    Such a test runs on PostgreSQL where there is one, which is the stricter of the two, and on
    SQLite where there is none. What looks at SQL of our own, at what a database refuses by
    itself or at large reads is marked `each_database` and runs on both.

    pytest-django refuses a query to whatever has neither its mark nor one of its fixtures. Tests
    that start processes can reach a database past it. What is marked `one_database` looks at
    rules, code or drawings through a database, and finds the same in each. So do files that look
    at what pages say: the services and queries behind them are tried by others, and
    `test_access_table.py` opens every page as every reader on PostgreSQL.
    """
    if "one_database" in marks or item.path.stem.endswith("_pages"):
        return False
    return (
        "django_db" in marks
        or not DATABASE_FIXTURES.isdisjoint(getattr(item, "fixturenames", ()))
        or _folder_of(item.path) == "services"
    )


def pytest_terminal_summary(terminalreporter):
    """Say what did not run here and why, once for each reason."""
    reasons = Counter(
        report.longrepr[2].removeprefix("Skipped: ")
        for report in terminalreporter.stats.get("skipped", [])
        if isinstance(report.longrepr, tuple)
    )
    lines = [f"{count} tests: {reason}" for reason, count in sorted(reasons.items())]
    if connection.vendor == "sqlite" and not os.environ.get("TEST_POSTGRES_URL"):
        lines.append("the suite on PostgreSQL: TEST_POSTGRES_URL does not name one")
    if lines:
        terminalreporter.section("Left out here, and why")
        for line in lines:
            terminalreporter.line(line)


@pytest.fixture(autouse=True, scope="session")
def _pages_are_read_as_a_browser_does():
    with pytest.MonkeyPatch.context() as patch:
        send = Client.request

        def request(self, **environ):
            response = send(self, **environ)
            read_as_a_browser_does(response)
            return response

        patch.setattr(Client, "request", request)
        yield


@pytest.fixture(autouse=True, scope="session")
def _emptied_tables_may_be_append_only():
    """Let the end of a test that commits empty tables whose rows the database itself keeps.

    Content types and permissions, which `migrate` writes, stay: Django would delete them too and
    write them anew by asking every app, which takes longer than most tests.
    """

    def empty_all(self):
        for alias in self._databases_names(include_mirrors=False):
            empty(connections[alias])

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(TransactionTestCase, "_fixture_teardown", empty_all)
        yield


def empty(connection: BaseDatabaseWrapper) -> None:
    """Empty every table that holds a row, but those that `migrate` fills.

    A few rows are gone sooner by DELETE than ninety tables by TRUNCATE, and in any order, since
    foreign keys are looked at when the transaction ends.
    """
    filled = {model._meta.db_table for model in (ContentType, Permission)}
    tables = set(connection.introspection.django_table_names(include_views=False)) - filled
    quoted = {name: connection.ops.quote_name(name) for name in sorted(tables)}
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        cursor.execute(
            " UNION ALL ".join(
                f"SELECT '{name}' WHERE EXISTS (SELECT 1 FROM {table})"
                for name, table in quoted.items()
            )
        )
        holding = [quoted[name] for (name,) in cursor.fetchall()]
        with triggers_off(connection, cursor, holding):
            for table in holding:
                cursor.execute(f"DELETE FROM {table}")


@contextmanager
def triggers_off(connection, cursor, tables) -> Iterator[None]:
    """Let rows of these tables go; PostgreSQL need not make its triggers anew for it."""
    if connection.vendor != "postgresql":
        with append_only.lifted(connection):
            yield
        return
    for table in tables:
        cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER")
    yield
    connection.check_constraints()
    for table in tables:
        cursor.execute(f"ALTER TABLE {table} ENABLE TRIGGER USER")


@pytest.fixture(autouse=True, scope="session")
def _clock_begins_where_it_is_told():
    """Have the clock of a run begin at the moment that TEST_CLOCK names, and go on from there.

    Shows that tests pass on any day and over midnight. For those that start processes it means
    nothing: these read the machine's clock.
    """
    given = os.environ.get("TEST_CLOCK")
    if not given:
        yield
        return
    with time_machine.travel(datetime.fromisoformat(given), tick=True):
        yield


@pytest.fixture(autouse=True, scope="session")
def _one_minute_for_sessions(_clock_begins_where_it_is_told):
    """Let no minute end within a run, since the first request of each writes the session.

    Tests that count queries would otherwise find three more of them once in a while.
    """
    minute = this_minute()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("config.middleware.this_minute", lambda: minute)
        yield


# No question is asked about moves in tests where nobody moves, as within one minute of a site.
memberships.LOOK_EVERY = timedelta.max
LOOKED_AT = datetime.min.replace(tzinfo=UTC)
memberships.next_look.looked_at = LOOKED_AT


@pytest.fixture(autouse=True)
def _moves_are_looked_for_once_entered():
    memberships.next_look.at, memberships.next_look.looked_at = None, LOOKED_AT


@pytest.fixture
def faces():
    """The faces of the packages that a deployment installs."""
    if printing.coverage().missing:
        leave_out(
            "Noto's faces are not in FONT_FOLDERS: install "
            f"{' and '.join(printing.coverage().packages)}"
        )


@pytest.fixture
def without(faces, settings, tmp_path):
    """Have a machine without the files whose names hold a word."""

    def removed(word):
        folder = tmp_path / f"without-{word}"
        folder.mkdir()
        for face in printing.FACES:
            for path, _changed in printing.files_of(face):
                if word not in path.name:
                    (folder / path.name).symlink_to(path)
        settings.FONT_FOLDERS = [str(folder)]

    return removed

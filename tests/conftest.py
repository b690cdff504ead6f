"""What every test may rely on, and the report of what was left out and why."""

import os
from collections import Counter
from contextlib import ExitStack
from pathlib import Path
from typing import NoReturn

import hypothesis
import pytest
from django.db import connection, connections
from django.test import TransactionTestCase

from config.middleware import this_minute
from records.models import append_only

HERE = Path(__file__).parent

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
    for item in items:
        for folder in ("browser", "services"):
            if item.path.is_relative_to(HERE / folder):
                item.add_marker(folder)


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
def _emptied_tables_may_be_append_only():
    """Let the end of a test that commits empty tables whose rows the database itself keeps."""
    empty = TransactionTestCase._fixture_teardown

    def empty_all(self):
        with ExitStack() as stack:
            for alias in self._databases_names(include_mirrors=False):
                stack.enter_context(append_only.lifted(connections[alias]))
            empty(self)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(TransactionTestCase, "_fixture_teardown", empty_all)
        yield


@pytest.fixture(autouse=True)
def _one_minute_for_sessions(monkeypatch):
    """Let no minute end within a test, since its first request writes the session.

    Tests that count queries would otherwise find three more of them once in a while.
    """
    minute = this_minute()
    monkeypatch.setattr("config.middleware.this_minute", lambda: minute)

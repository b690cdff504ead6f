"""Fixtures that every test may use, and the report of what was skipped and why."""

from contextlib import ExitStack

import pytest
from django.db import connections
from django.test import TransactionTestCase

from records import append_only


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

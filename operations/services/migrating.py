"""Migrating a database while the version before serves it.

On PostgreSQL a migration that has to wait for a table has everybody else wait behind it, until
whatever holds the table ends: a nightly back-up holds those that it has read for minutes. So it
waits for two seconds at most, lets everybody else by, and tries again. What earlier migrations
have done stays done, and the one that waited is undone as a whole.

Two machines that are brought to a version at once go one after the other: by a lock on a file in
``DATA_DIR``, and by one in the database where each has a ``DATA_DIR`` of its own. That one is
asked for again and again and never waited for, since whoever waits in a statement is an old
transaction to an index that is made concurrently, which waits for those. It belongs to the
connection: through a pooler that lends connections by the transaction it does not hold.
"""

import fcntl
import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.db import OperationalError
from django.db.backends.base.base import BaseDatabaseWrapper

from operations.exceptions import MigrationsWaitInVain
from records.models import append_only

LOCK_WAIT_MS = 2000
PAUSE_S = 5.0
POLL_S = 0.5
FILE_NAME = "prepare.lock"
ADVISORY_KEY = 7_309_467_975_225_012_837
"""Of 64 bits and of our own: ``int.from_bytes(b"eprepare")``, less than two to the 63rd."""
# Class 55P03 and 40P01 of PostgreSQL: a lock that did not come in time, and one in a ring of waits.
ABOUT_LOCKS = frozenset({"55P03", "40P01"})

Say = Callable[[str], object]


@contextmanager
def one_at_a_time(connection: BaseDatabaseWrapper, say: Say) -> Iterator[None]:
    """Be the only one who prepares this site, once whoever is at it has come to an end."""
    path = Path(settings.DATA_DIR) / FILE_NAME
    waiting = "Another prepare is at work on this site: this one goes on once it has ended."
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
    except PermissionError:  # Made by an administrator's command; to lock it reading is enough.
        descriptor = os.open(path, os.O_RDONLY)
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            say(waiting)
            fcntl.flock(descriptor, fcntl.LOCK_EX)
        if connection.vendor == "postgresql":
            with _advisory_lock(connection, lambda: say(waiting)):
                yield
        else:
            yield
    finally:
        os.close(descriptor)


@contextmanager
def _advisory_lock(
    connection: BaseDatabaseWrapper, waiting: Callable[[], object]
) -> Iterator[None]:
    # A connection of its own, in no transaction: the other may be opened anew meanwhile.
    own = connection.copy()
    try:
        is_told = False
        while not _ask(own, "SELECT pg_try_advisory_lock(%s)", [ADVISORY_KEY])[0][0]:
            if not is_told:
                waiting()
            is_told = True
            time.sleep(POLL_S)
        yield
    finally:
        own.close()


def migrate(connection: BaseDatabaseWrapper, *, say: Say, patience: timedelta) -> None:
    """Apply what is missing, a lock at a time and never long in anybody's way.

    Parameters
    ----------
    say : callable
        Is given a sentence each time that something is waited for.
    patience : timedelta
        After which no other try begins, on PostgreSQL. On SQLite a migration waits as long as
        any other writer, and whoever serves waits for it.

    Raises
    ------
    MigrationsWaitInVain
        If a table was not to be had in that time. Triggers are as they were before.
    """
    before = append_only.definitions(connection)
    until = time.monotonic() + patience.total_seconds()
    try:
        if connection.vendor != "postgresql":
            call_command("migrate", interactive=False, verbosity=0)
            return
        while not _try(connection):
            blocking = _at_work(connection)
            if time.monotonic() >= until:
                raise MigrationsWaitInVain(
                    "The database has to be changed, and a table is in use all the time"
                    f"{blocking}. What was done so far stays, and the version before can go on "
                    "serving: run `manage.py prepare` again once that has ended."
                )
            say(f"A table that has to be changed is in use{blocking}: trying again.")
            time.sleep(PAUSE_S)
    except BaseException:
        # Where the database is gone, what would put them back fails too, and `missing` tells.
        with suppress(Exception):
            append_only.put_back(connection, before)
        raise


def _try(connection: BaseDatabaseWrapper) -> bool:
    """Apply what is missing; False where a lock was not to be had."""
    with connection.cursor() as cursor:
        cursor.execute(f"SET lock_timeout = {LOCK_WAIT_MS}")
    try:
        call_command("migrate", interactive=False, verbosity=0)
    except OperationalError as error:
        if getattr(error.__cause__, "sqlstate", None) not in ABOUT_LOCKS:
            raise
        return False
    finally:
        with suppress(Exception), connection.cursor() as cursor:
            cursor.execute("RESET lock_timeout")
    return True


def _at_work(connection: BaseDatabaseWrapper) -> str:
    """Which other transaction has been going on for longest, as the rest of a sentence."""
    rows = _ask(
        connection,
        "SELECT pid, to_char(xact_start AT TIME ZONE 'UTC', 'HH24:MI:SS') FROM pg_stat_activity "
        "WHERE datname = current_database() AND pid <> pg_backend_pid() "
        "AND xact_start IS NOT NULL ORDER BY xact_start LIMIT 1",
    )
    if not rows:
        return ""
    pid, since = rows[0]
    return f" (process {pid} of PostgreSQL has a transaction open since {since} UTC)"


def _ask(connection: BaseDatabaseWrapper, query: str, values: list[Any] | None = None) -> list[Any]:
    with connection.cursor() as cursor:
        cursor.execute(query, values)
        return list(cursor.fetchall())

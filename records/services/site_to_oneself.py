"""Having the site to oneself: whoever serves holds a lock with the others, one act alone.

The lock is on a file in ``DATA_DIR``, which every process of the site has, in whichever container:
the system gives it up when the last process that holds it ends, however that was. ``DATA_DIR`` has
to be on a file system that knows locks, as those of one machine do and NFS from version 4 on.

Several machines without a common disk hold a lock of the database beside it, by a connection of
its own that every process inherits and none uses: PostgreSQL gives it up when the last of them
ends, or when PostgreSQL itself is started anew.
"""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.db import OperationalError, connection
from django.db.backends.base.base import BaseDatabaseWrapper

from records.exceptions import SiteIsServed, SiteIsTaken

FILE_NAME = "served.lock"
RESTORING = "restoring"
"""Folder in DATA_DIR into which a restore unpacks, and which is gone once all is in its place."""

DATABASE_LOCK = 7_301_946_528_114_207
"""Number of the lock in PostgreSQL, where each database has its own."""


@dataclass(frozen=True, slots=True)
class _Lock:
    """What holds it: an open file, and a connection where several machines serve."""

    descriptor: int
    session: BaseDatabaseWrapper | None

    def give_up(self) -> None:
        if self.session is not None:
            self.session.close()
        os.close(self.descriptor)


_held: list[_Lock] = []


def hold_while_serving() -> None:
    """Take part in the lock for as long as this process and what it forks live.

    Raises
    ------
    SiteIsTaken
        If somebody has the site to themselves.
    """
    if not _held:  # A process that was forked has it from the one before.
        _held.append(_locked_with_others())


@contextmanager
def held_while_serving() -> Iterator[None]:
    """Take part in the lock to the end of a block; raises as `hold_while_serving` does."""
    lock = _locked_with_others()
    try:
        yield
    finally:
        lock.give_up()


@contextmanager
def alone(what: str) -> Iterator[None]:
    """Have the site to oneself: nobody serves it, and nobody begins to.

    Parameters
    ----------
    what : str
        What is being done, for whoever would serve meanwhile; such as ``"a register is imported"``.

    Raises
    ------
    SiteIsServed
        If somebody serves it, or has it to themselves.
    """
    descriptor = _opened()
    session = None
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            session = _database_locked("pg_try_advisory_lock")
        except OSError as error:
            raise SiteIsServed("The site is served, or somebody has it to themselves.") from error
        with suppress(OSError):  # Where the file is another user's, who begins is told less.
            os.ftruncate(descriptor, 0)
            os.pwrite(descriptor, what.encode(), 0)
        yield
    finally:
        _Lock(descriptor, session).give_up()


def _locked_with_others() -> _Lock:
    descriptor = _opened()
    try:
        fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
        session = _database_locked("pg_try_advisory_lock_shared")
    except OperationalError as error:
        os.close(descriptor)
        raise SiteIsTaken(
            "The site is not served while its database does not answer: start it again then."
        ) from error
    except OSError as error:
        what = os.pread(descriptor, 200, 0).decode(errors="replace")
        os.close(descriptor)
        raise SiteIsTaken(
            f"The site is not served while {what or 'somebody has it to themselves'}. "
            "Start it again once that is done."
        ) from error
    lock = _Lock(descriptor, session)
    if (Path(settings.DATA_DIR) / RESTORING).exists():
        lock.give_up()
        raise SiteIsTaken(
            "A restore was broken off, so the site does not hold everything: run `manage.py "
            f"restore` again. If it was broken off while the site was still empty, removing the "
            f"folder {RESTORING} from DATA_DIR is enough."
        )
    return lock


def _database_locked(function: str) -> BaseDatabaseWrapper | None:
    """A connection that holds the lock of several machines; None on one, which needs none.

    Raises
    ------
    BlockingIOError
        If it is held in a way that forbids it.
    """
    if not settings.SEVERAL_MACHINES or connection.vendor != "postgresql":
        return None  # Several machines do not start on another database.
    session = connection.copy()
    session.inc_thread_sharing()  # Whichever thread ends the process may give it up.
    try:
        session.connect()
        # Not by Django's cursor, which warns where gunicorn asks: no app is loaded there yet.
        [(is_ours,)] = session.connection.execute(f"SELECT {function}({DATABASE_LOCK})").fetchall()
        if not is_ours:
            raise BlockingIOError("Another machine holds the lock.")
    except BaseException:
        session.close()
        raise
    return session


def _opened() -> int:
    """The file, open in this process and what it forks, though not in what it executes."""
    path = Path(settings.DATA_DIR) / FILE_NAME
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        return os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
    except PermissionError:  # Made by an administrator's command; to lock it reading is enough.
        return os.open(path, os.O_RDONLY)

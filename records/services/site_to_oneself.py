"""Having the site to oneself: whoever serves holds a lock with the others, one act alone.

The lock is on a file in ``DATA_DIR``, which every process of the site has, in whichever container:
the system gives it up when the last process that holds it ends, however that was. ``DATA_DIR`` has
to be on a file system that knows locks, as those of one machine do and NFS from version 4 on.
"""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from django.conf import settings

from records.exceptions import SiteIsServed, SiteIsTaken

FILE_NAME = "served.lock"
RESTORING = "restoring"
"""Folder in DATA_DIR into which a restore unpacks, and which is gone once all is in its place."""

_held: list[int] = []


def hold_while_serving() -> None:
    """Take part in the lock for as long as this process and what it forks live.

    Raises
    ------
    SiteIsTaken
        If somebody has the site to themselves.
    """
    _held.append(_locked_with_others())


@contextmanager
def held_while_serving() -> Iterator[None]:
    """Take part in the lock to the end of a block; raises as `hold_while_serving` does."""
    descriptor = _locked_with_others()
    try:
        yield
    finally:
        os.close(descriptor)


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
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise SiteIsServed("The site is served, or somebody has it to themselves.") from error
        with suppress(OSError):  # Where the file is another user's, who begins is told less.
            os.ftruncate(descriptor, 0)
            os.pwrite(descriptor, what.encode(), 0)
        yield
    finally:
        os.close(descriptor)


def _locked_with_others() -> int:
    descriptor = _opened()
    try:
        fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except OSError as error:
        what = os.pread(descriptor, 200, 0).decode(errors="replace")
        os.close(descriptor)
        raise SiteIsTaken(
            f"The site is not served while {what or 'somebody has it to themselves'}. "
            "Start it again once that is done."
        ) from error
    if (Path(settings.DATA_DIR) / RESTORING).exists():
        os.close(descriptor)
        raise SiteIsTaken(
            "A restore was broken off, so the site does not hold everything: run `manage.py "
            f"restore` again. If it was broken off while the site was still empty, removing the "
            f"folder {RESTORING} from DATA_DIR is enough."
        )
    return descriptor


def _opened() -> int:
    """The file, open in this process and what it forks, though not in what it executes."""
    path = Path(settings.DATA_DIR) / FILE_NAME
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        return os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
    except PermissionError:  # Made by an administrator's command; to lock it reading is enough.
        return os.open(path, os.O_RDONLY)

"""Holds each of several machines to what the others have: the secret key, and shared folders.

The first that starts notes a mark of each, every other is compared with it and does not start where
it has another. Whoever notes or compares holds the row, so of two that start at once one is first.
"""

import os
import secrets
from typing import Any

from celery import signals
from django.conf import settings
from django.db import DatabaseError, ProgrammingError, connection, transaction

from operations.exceptions import HalfShared
from operations.models import SharedMark
from operations.queries.shared_marks import (
    SharedFolder,
    another_secret_key,
    back_ups_folder,
    old_photos_folder,
    secret_key_marks,
)


def refuse_half_shared() -> None:
    """Raise HalfShared where this machine has another key or folder of photographs than others.

    Nothing is compared on a single machine, nor where the tables are still to be made.
    """
    if not settings.SEVERAL_MACHINES:
        return
    try:
        _compare_secret_key()
        refuse_another_old_photos_folder()
    except ProgrammingError:
        return  # `prepare` has not been here yet, and compares when it has.


def refuse_another_back_ups_folder() -> None:
    """Raise HalfShared where `BACK_UP_DIR` is another folder here than at other workers."""
    if settings.SEVERAL_MACHINES:
        _compare(back_ups_folder())


def refuse_another_old_photos_folder() -> None:
    """Raise HalfShared where `OLD_PHOTOS_DIR` is another folder here than at other machines."""
    if settings.SEVERAL_MACHINES:
        _compare(old_photos_folder())


def share_anew(what: SharedMark.What) -> bool:
    """Forget the mark of something that was changed on purpose; the next to start notes its own.

    Returns
    -------
    bool
        Whether there was one.
    """
    return bool(SharedMark.objects.filter(what=what).delete()[0])


@transaction.atomic
def _compare_secret_key() -> None:
    """A machine that reads by the key that was noted too has moved on from it to its own."""
    marks = secret_key_marks()
    noted = _locked(SharedMark.What.SECRET_KEY)
    if noted.mark and noted.mark not in marks:
        raise HalfShared(another_secret_key())
    _note(noted, marks[0])


@transaction.atomic
def _compare(folder: SharedFolder | None) -> None:
    if folder is None:
        return
    noted = _locked(folder.what)
    try:
        # The file before the row: killed in between, whoever comes next takes it as it is.
        here = folder.mark_here() or ("" if noted.mark else _leave_mark(folder))
    except OSError as error:
        raise HalfShared(
            f"{folder.what.value} is {folder.path}, which cannot be read or written "
            f"({error.strerror}): see that it is mounted on this machine and that the program may "
            "write there."
        ) from error
    if noted.mark and noted.mark != here:
        raise HalfShared(folder.another())
    _note(noted, here)


def _locked(what: SharedMark.What) -> SharedMark:
    return SharedMark.objects.select_for_update().get_or_create(what=what)[0]


def _note(noted: SharedMark, mark: str) -> None:
    if noted.mark != mark:
        noted.mark = mark
        noted.save(update_fields=["mark"])


def _leave_mark(folder: SharedFolder) -> str:
    """Leave a mark in a folder that has none; whole, or not at all."""
    mark = secrets.token_hex(16)
    new = folder.path / f"{folder.file_name}.new"
    with new.open("w", encoding="ascii") as file:
        file.write(mark)
        file.flush()
        os.fsync(file.fileno())
    os.replace(new, folder.path / folder.file_name)
    return mark


@signals.worker_init.connect
@signals.beat_init.connect
def compare_before_working(**_kwargs: Any) -> None:
    """Before a worker takes the first job, or the clock asks for one."""
    try:
        refuse_half_shared()
    except (HalfShared, DatabaseError) as error:
        # Celery logs any other error of a listener and goes on.
        raise SystemExit(str(error)) from error
    finally:
        connection.close()  # Children that are started later inherit no open connection.

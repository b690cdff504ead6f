"""Where back-ups are: what a command or setting names, and being the only one who writes there."""

import fcntl
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files.storage import default_storage, storages
from django.db import connection

from operations.backends.back_up_bucket import BackUpBucket, BucketArchive
from operations.exceptions import BackUpRefused
from operations.queries.back_ups import BUCKET

SETTING = "BACK_UP_URL"
BUCKET_LOCK = 7_301_946_528_114_208
"""Number of the lock in PostgreSQL of whoever writes into the bucket."""
LOCK_FILE = "back-up.lock"


def bucket_of_settings() -> BackUpBucket | None:
    """The bucket that BACK_UP_URL names."""
    if BUCKET not in settings.STORAGES:
        return None
    return BackUpBucket(
        storages[BUCKET], setting=SETTING, incoming=Path(settings.FILE_UPLOAD_TEMP_DIR)
    )


def place_named(text: str) -> Path | BucketArchive:
    """The archive that somebody names by a path, or by an address in the bucket of BACK_UP_URL.

    The key is in the setting alone: what a command is given, everybody on the machine can read.

    Parameters
    ----------
    text : str
        A path, or ``s3://host/bucket/NAME``, or ``s3+http://…`` for a server without TLS.

    Raises
    ------
    BackUpRefused
        If an address has a key in it, or is not in that bucket. It is not repeated then.
    """
    if not text.startswith(("s3:", "s3+http:")):
        return Path(text)
    bucket = bucket_of_settings()
    if bucket is None:
        raise BackUpRefused(
            f"{SETTING} is not set: set it to the bucket with its key, as "
            f"s3://KEY:SECRET@host/bucket, or {SETTING}_FILE to a file that holds it, and give the "
            "address without the key."
        )
    if "@" in text:
        raise BackUpRefused(
            f"An address with a key can be read by everybody on this machine: give it without, as "
            f"{bucket.path_of('NAME')}. The key is that of {SETTING}."
        )
    name = text.removeprefix(f"{bucket}/")
    if name == text or "/" in name or not name:
        raise BackUpRefused(
            f"{text} is not in the bucket of {SETTING}: name an archive in that, as "
            f"{bucket.path_of('NAME')}, or set {SETTING} to the other."
        )
    return BucketArchive(bucket, name)


@contextmanager
def alone_in_bucket(bucket: BackUpBucket) -> Iterator[Callable[[], None]]:
    """Be the only run of this site, on whichever machine, that writes into the bucket.

    The lock is PostgreSQL's, or on a file of the one machine there is, so that it ends with the
    process. What is given raises BackUpRefused once it is lost, since PostgreSQL was started anew.

    Raises
    ------
    BackUpRefused
        If another run is at it, the bucket has another site's back-ups or this one's own files,
        or does not answer.
    """
    taken = f"Another back-up is being made into {bucket}: try again once it is done."
    with _locked(taken) as held:
        bucket.refuse_of_another_site(settings.PUBLIC_URL)
        if settings.SEVERAL_MACHINES:
            bucket.refuse_that_of(default_storage)
        yield held


@contextmanager
def _locked(taken: str) -> Iterator[Callable[[], None]]:
    if connection.vendor == "postgresql":
        session: Any = connection.copy()
        try:
            session.connect()

            def ask(statement: str) -> bool:
                [(answer,)] = session.connection.execute(statement).fetchall()
                return bool(answer)

            def refuse_if_lost() -> None:
                try:
                    ask("SELECT true")
                except session.Database.Error as error:
                    raise BackUpRefused(
                        "The database was started anew meanwhile, and another back-up may have "
                        "begun: make it again."
                    ) from error

            if not ask(f"SELECT pg_try_advisory_lock({BUCKET_LOCK})"):
                raise BackUpRefused(taken)
            yield refuse_if_lost
        finally:
            session.close()
        return
    descriptor = os.open(Path(settings.DATA_DIR) / LOCK_FILE, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise BackUpRefused(taken) from error
        yield lambda: None
    finally:
        os.close(descriptor)

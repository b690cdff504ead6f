"""Folders of small files that the site itself writes: on its disk, or in several machines' bucket.

A file is written whole, under a name that none has, and stays as it is until it is removed.
"""

import os
import secrets
from pathlib import Path
from typing import Any, Protocol

from django.conf import settings
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage

PREFIX = "kept"
"""Of all such folders in the bucket; no file that a row names begins so."""


class KeptFolder(Protocol):
    """What either kind does; what cannot be reached raises OSError, or FilesOutOfReach."""

    def names(self) -> list[str]:
        """The names of all files, in order; none where there is no folder yet."""

    def read(self, name: str) -> bytes:
        """What a file holds; raises FileNotFoundError."""

    def add(self, name: str, data: bytes) -> None:
        """Keep a new file; it is whole and safe once this returns. Raises FileExistsError."""

    def remove(self, name: str) -> None:
        """Remove a file, which need not be there."""


def kept_folder(path: Path, *, named: str, is_private: bool = False) -> KeptFolder:
    """The folder at a path, or, for several machines, the one of that name in the bucket.

    Parameters
    ----------
    is_private : bool
        Whether the program's user alone may read it on a disk.
    """
    if settings.SEVERAL_MACHINES:
        return _InBucket(f"{PREFIX}/{named}")
    return _OnDisk(path, 0o700 if is_private else 0o750, 0o600 if is_private else 0o640)


class _OnDisk:
    def __init__(self, path: Path, folder_mode: int, file_mode: int) -> None:
        self._path, self._folder_mode, self._file_mode = path, folder_mode, file_mode

    def __str__(self) -> str:
        return str(self._path)

    def names(self) -> list[str]:
        if not self._path.is_dir():
            return []
        return sorted(each.name for each in self._path.iterdir() if each.is_file())

    def read(self, name: str) -> bytes:
        return (self._path / name).read_bytes()

    def add(self, name: str, data: bytes) -> None:
        self._path.mkdir(mode=self._folder_mode, parents=True, exist_ok=True)
        new = self._path / f".{secrets.token_hex(8)}.new"
        descriptor = os.open(new, os.O_CREAT | os.O_EXCL | os.O_WRONLY, self._file_mode)
        try:
            with os.fdopen(descriptor, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            # Unlike a rename, this puts it in the place of none.
            os.link(new, self._path / name)
        finally:
            new.unlink(missing_ok=True)

    def remove(self, name: str) -> None:
        (self._path / name).unlink(missing_ok=True)


class _InBucket:
    def __init__(self, prefix: str) -> None:
        self._prefix = prefix
        self._storage: Any = default_storage

    def __str__(self) -> str:
        return self._prefix

    def names(self) -> list[str]:
        skipped = len(self._prefix) + 1
        return sorted(name[skipped:] for name in self._storage.names(self._prefix))

    def read(self, name: str) -> bytes:
        with self._storage.open(f"{self._prefix}/{name}") as file:
            return bytes(file.read())

    def add(self, name: str, data: bytes) -> None:
        wanted = f"{self._prefix}/{name}"
        # A name that is taken gives another one, or is refused where it is taken meanwhile.
        kept = self._storage.save(wanted, ContentFile(data))
        if kept != wanted:
            self._storage.delete(kept)
            raise FileExistsError(f"There is an object {wanted} already.")

    def remove(self, name: str) -> None:
        self._storage.delete(f"{self._prefix}/{name}")

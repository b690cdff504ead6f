"""Files in two places: new ones come into the first, old ones are moved to a second, both are read.

The second is a folder, such as a cheaper disk; the first is whatever storage the site has. A file
that is moved is whole in the second before it leaves the first, so that at any instant one of the
two can be read.
"""

import glob
import hashlib
import os
import secrets
from collections.abc import Iterator, Mapping
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import IO, Any

from django.core.files.base import File
from django.core.files.storage import FileSystemStorage, Storage, storages

CHUNK_BYTES = 1 << 20
PART = ".part"
MARK = ".jointworthy-old-photographs"
"""In the folder, and beside the site's data: where the two differ, the disk is not the one."""


class AnotherFile(Exception):
    """A file is not the one that was written down, or was not copied as it is."""


class FilesInTwoPlaces(Storage):
    """Storage that reads from a second place what is not in the first.

    Parameters
    ----------
    first : mapping
        Another storage, as an entry of ``STORAGES`` names it.
    folder : str
        The second place.
    mark_in : str
        A folder of the site's own that is always there.
    """

    def __init__(self, *, first: Mapping[str, Any], folder: str, mark_in: str) -> None:
        self.first: Any = storages.create_storage(dict(first))
        self.second = FileSystemStorage(location=folder, base_url=None)
        self._mark, self._mark_here = Path(folder) / MARK, Path(mark_in) / MARK.lstrip(".")

    def holder_of(self, name: str) -> Any:
        """The place that has a file; the first where none has."""
        return (
            self.second if not self.first.exists(name) and self.second.exists(name) else self.first
        )

    def _open(self, name: str, mode: str = "rb") -> File:
        try:
            return self.first.open(name, mode)
        except FileNotFoundError:
            return self.second.open(name, mode)

    def _save(self, name: str, content: File) -> str:
        return str(self.first.save(name, content))

    def exists(self, name: str) -> bool:
        return bool(self.first.exists(name) or self.second.exists(name))

    def delete(self, name: str) -> None:
        self.first.delete(name)
        self.forget_copies(name)
        self.second.delete(name)

    def size(self, name: str) -> int:
        return int(self.holder_of(name).size(name))

    def path(self, name: str) -> str:
        return str(self.holder_of(name).path(name))

    def listdir(self, path: str) -> tuple[list[str], list[str]]:
        folders, files = set[str](), set[str]()
        for place in (self.first, self.second):
            with suppress(FileNotFoundError):  # A bucket knows no folders, so none is asked for.
                inside = place.listdir(path)
                folders.update(inside[0])
                files.update(inside[1])
        return sorted(folders), sorted(files)

    def get_modified_time(self, name: str) -> datetime:
        return self.holder_of(name).get_modified_time(name)

    # Where the first place is a bucket

    def names(self, folder: str = "") -> Iterator[str]:
        """The name of every object of the bucket below a folder, in order."""
        names: Iterator[str] = self.first.names(folder)
        return names

    # Moving

    def second_is_there(self) -> bool:
        """Whether the second place is the one that files were moved to, and not an empty mount."""
        try:
            mark = self._mark.read_text()
        except OSError:
            return not self._mark_here.exists() and os.access(self._mark.parent, os.W_OK)
        return not self._mark_here.exists() or self._mark_here.read_text() == mark

    def mark_second(self) -> None:
        """Have both remember that files are moved to this folder."""
        if not self._mark.exists():
            self._mark.write_text(secrets.token_hex(16))
        if not self._mark_here.exists():
            self._mark_here.write_text(self._mark.read_text())

    def copy(self, name: str, sha256: str) -> Path:
        """Copy a file to the second place, beside where it will stand, and read it again there.

        Returns
        -------
        Path
            The copy; nobody else who copies the same writes into it.

        Raises
        ------
        AnotherFile
            If it does not have that hash, before or after.
        OSError
            If it cannot be read or written; nothing of it is left.
        """
        part = Path(self.second.path(f"{name}.{secrets.token_hex(8)}{PART}"))
        part.parent.mkdir(parents=True, exist_ok=True, mode=0o750)
        try:
            with self.first.open(name, "rb") as source, part.open("wb") as target:
                digest = _copied(source, target)
                os.fsync(target.fileno())
            with part.open("rb") as copied:
                if not digest == hashlib.file_digest(copied, "sha256").hexdigest() == sha256:
                    raise AnotherFile(name)
        except BaseException:
            part.unlink(missing_ok=True)
            raise
        return part

    def take_copy_in(self, name: str, part: Path) -> None:
        """Have a copy stand in the second place under its name, and forget all others."""
        path = Path(self.second.path(name))
        os.replace(part, path)
        self.forget_copies(name)
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)

    def forget_copies(self, name: str) -> None:
        """Delete what was copied of a file and has not taken its place."""
        path = Path(self.second.path(name))
        for part in path.parent.glob(f"{glob.escape(path.name)}.*{PART}"):
            part.unlink(missing_ok=True)

    def leave_first(self, name: str) -> None:
        """Delete a file in the first place, which the second has."""
        if self.second.exists(name):
            self.first.delete(name)


def two_places() -> FilesInTwoPlaces | None:
    """The site's storage where it has a second place."""
    storage = storages["default"]
    return storage if isinstance(storage, FilesInTwoPlaces) else None


def _copied(source: Any, target: IO[bytes]) -> str:
    digest = hashlib.sha256()
    while chunk := source.read(CHUNK_BYTES):
        digest.update(chunk)
        target.write(chunk)
    target.flush()
    return digest.hexdigest()

"""Where files of the site are kept for back-ups, each once: a folder, and what else may be one.

A file of the site never changes under its name, so one that is there already is not read again:
a night's back-up adds what the day brought. The name here carries length and SHA-256, by which
what comes out is compared, and ends in ``.age`` where the content is encrypted, after a digest of
the public key: what was encrypted to another one is of no use to whoever has the present one's.
"""

import os
import re
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Protocol

from .archive import (
    CHUNK,
    HashingReader,
    Readable,
    digest_of,
    is_plain_name,
    opened,
    sync_folder,
    written,
)

STORED = re.compile(
    r"(?P<name>.+)~(?P<size>\d+)-(?P<sha256>[0-9a-f]{64})"
    r"(?:(?:\.(?P<key>[0-9a-f]{8}))?(?P<age>\.age))?",
    re.S,
)
UNKNOWN_KEY = ""
"""Of files that an earlier version encrypted: their names do not say to which key."""
INCOMING = ".incoming"


@dataclass(frozen=True, slots=True)
class StoredFile:
    """One file: the site's name for it, and what its bytes are.

    Attributes
    ----------
    key : str or None
        Digest of the public key that it is encrypted to, or UNKNOWN_KEY; None where it is not.
    """

    name: str
    size: int
    sha256: str
    key: str | None = None

    def __str__(self) -> str:
        plain = f"{self.name}~{self.size}-{self.sha256}"
        if self.key is None:
            return plain
        return f"{plain}.{self.key}.age" if self.key != UNKNOWN_KEY else f"{plain}.age"

    @classmethod
    def from_str(cls, text: str) -> "StoredFile | None":
        match = STORED.fullmatch(text)
        if match is None or not is_plain_name(text):
            return None
        key = (match["key"] or UNKNOWN_KEY) if match["age"] else None
        return cls(match["name"], int(match["size"]), match["sha256"], key)


def key_of(recipient: Any) -> str | None:
    """What the names of files say that are encrypted to a recipient, or to none."""
    return None if recipient is None else digest_of(recipient)


class FileStore(Protocol):
    """What a place for such files has to do; a bucket of object storage can.

    Attributes
    ----------
    recipient : Any
        What files are encrypted to that are added; None where they are not.
    """

    recipient: Any

    def listing(self) -> Iterator[StoredFile]: ...
    def add(self, name: str, stream: Readable) -> StoredFile: ...
    def opened(self, stored: str, identities: list[Any]) -> AbstractContextManager[IO[bytes]]: ...
    def remove(self, stored: StoredFile) -> None: ...


class FilesFolder:
    """A folder, on another disk or machine than the site's for it to be of use."""

    def __init__(self, folder: Path, recipient: Any = None) -> None:
        self.folder = folder
        self.recipient = recipient

    def listing(self) -> Iterator[StoredFile]:
        """Every whole file; what a process was writing when it was killed is not among them."""
        for parent, folders, names in os.walk(self.folder):
            if INCOMING in folders:
                folders.remove(INCOMING)
            for name in names:
                path = os.path.relpath(os.path.join(parent, name), self.folder)
                stored = StoredFile.from_str(path)
                if stored is not None:
                    yield stored

    def add(self, name: str, stream: Readable) -> StoredFile:
        """Take a file in; it is there under its name once it is whole and on the disk."""
        incoming = self.folder / INCOMING
        incoming.mkdir(parents=True, exist_ok=True)
        came_in = incoming / "file"
        came_in.unlink(missing_ok=True)
        read = HashingReader(stream)
        with written(came_in, self.recipient) as file:
            while data := read.read(CHUNK):
                file.write(data)
        stored = StoredFile(name, read.size, read.sha256, key_of(self.recipient))
        path = self.folder / str(stored)
        path.parent.mkdir(parents=True, exist_ok=True)
        os.replace(came_in, path)
        sync_folder(path.parent)
        return stored

    @contextmanager
    def opened(self, stored: str, identities: list[Any]) -> Iterator[IO[bytes]]:
        with opened(self.folder / stored, identities) as stream:
            yield stream

    def remove(self, stored: StoredFile) -> None:
        (self.folder / str(stored)).unlink(missing_ok=True)

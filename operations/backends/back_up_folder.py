"""A folder in which back-ups are kept, and what else may be one: archives beside what they need."""

import fcntl
import os
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import IO, Any, Protocol

from operations.domain.back_ups import instant_of
from operations.exceptions import BackUpRefused

from .archive import opened, written


class Place(Protocol):
    """What is asked of a place for back-ups; names have no folder in them."""

    def path_of(self, name: str) -> str: ...
    def names(self) -> Iterator[str]: ...
    def written(self, name: str, recipient: Any) -> AbstractContextManager[IO[bytes]]: ...
    def opened(self, name: str, identities: list[Any]) -> AbstractContextManager[IO[bytes]]: ...
    def size(self, name: str) -> int: ...
    def read(self, name: str) -> bytes: ...
    def replace(self, name: str, data: bytes) -> None: ...
    def remove(self, name: str) -> None: ...
    def remove_what_was_left(self) -> None: ...


class BackUpFolder:
    """On another disk or machine than the site's for it to be of use."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def path_of(self, name: str) -> str:
        return str(self.folder / name)

    @contextmanager
    def alone(self) -> Iterator[None]:
        """Be the only run that writes into it; raises BackUpRefused."""
        self.folder.mkdir(parents=True, exist_ok=True)
        descriptor = os.open(self.folder / ".lock", os.O_RDWR | os.O_CREAT, 0o600)
        try:
            try:
                fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError as error:
                raise BackUpRefused(
                    f"Another back-up is being made into {self.folder}: try again once it is done."
                ) from error
            yield
        finally:
            os.close(descriptor)

    def names(self) -> Iterator[str]:
        for path in self.folder.iterdir():
            if path.is_file():
                yield path.name

    @contextmanager
    def written(self, name: str, recipient: Any) -> Iterator[IO[bytes]]:
        with written(self.folder / name, recipient) as stream:
            yield stream

    @contextmanager
    def opened(self, name: str, identities: list[Any]) -> Iterator[IO[bytes]]:
        with opened(self.folder / name, identities) as stream:
            yield stream

    def size(self, name: str) -> int:
        return (self.folder / name).stat().st_size

    def read(self, name: str) -> bytes:
        return (self.folder / name).read_bytes()

    def replace(self, name: str, data: bytes) -> None:
        part = self.folder / f"{name}.part"
        descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, self.folder / name)

    def remove(self, name: str) -> None:
        (self.folder / name).unlink(missing_ok=True)

    def remove_what_was_left(self) -> None:
        """What a killed run was writing; who calls this has the folder to themselves."""
        for part in self.folder.glob("*.part"):
            if instant_of(part.name.removesuffix(".part")) is not None:
                part.unlink(missing_ok=True)

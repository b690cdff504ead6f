"""What a pack is put together from, part by part."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import IO, Protocol

from .bag import FileInBag


class NothingToWrite(Exception):
    """There is no such file, or it cannot be read."""


@dataclass(frozen=True, slots=True)
class Part:
    """One file of a pack, not yet written.

    Attributes
    ----------
    path : str
        From the pack's own folder.
    write : callable
        Writes the file's bytes to what it is given, a piece at a time.
    is_deflated : bool
        Whether packing it saves anything.
    may_be_missing : bool
        Whether ``write`` may raise NothingToWrite: the pack then goes without it.
    """

    path: str
    write: Callable[[IO[bytes]], None]
    is_deflated: bool = True
    may_be_missing: bool = False


class Contents(Protocol):
    """Everything that goes into one pack."""

    def expected(self) -> int:
        """How many files it will have, about."""

    def parts(self, files: Callable[[], Iterator[FileInBag]]) -> Iterable[Part]:
        """The parts in their order; ``files`` reads what is written so far."""

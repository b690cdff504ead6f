"""A zip that is written file by file and goes on where a worker that died left it.

Beside the zip lies a list of what it holds, one line a file. A line is written only once the file
is safe on the disk, so that whatever lies behind the last line's end can be cut off and written
again. The list stands for the zip's directory too: however many files a pack has, none of them is
held in memory. The same files in the same order give the same bytes.
"""

import fcntl
import hashlib
import json
import os
import shutil
import time
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO, Any

from audit.domain.bag import FileInBag

SAVED_EVERY_S = 1.0
MOST_UNSAVED = 500
ZIP_DAY = (1980, 1, 1, 0, 0, 0)
"""The first that a zip can say: when a pack was made stands in it, not on its files."""
MODE = 0o100644 << 16
ON_UNIX = 3
ZIP64_VERSION = 45
CHUNK_BYTES = 1 << 20

Writer = Callable[[IO[bytes]], None]


class InUse(Exception):
    """Another process writes this pack right now."""


class DoesNotFit(Exception):
    """What a former worker wrote is not the beginning of this pack."""


@dataclass(frozen=True, slots=True)
class _Entry:
    """A file as the zip's directory has it, and where it ends in the zip."""

    path: str
    size_bytes: int
    sha256: str
    crc: int
    packed_bytes: int
    offset: int
    end: int
    is_deflated: bool


class _Directory:
    """The zip's directory, read from the list as it is written out."""

    def __init__(self, pack: "PackFile") -> None:
        self._pack = pack

    def __len__(self) -> int:
        return self._pack.count

    def __iter__(self) -> Iterator[zipfile.ZipInfo]:
        for entry in self._pack.entries():
            info = self._pack.info_of(entry.path, is_deflated=entry.is_deflated)
            info.CRC, info.header_offset = entry.crc, entry.offset
            info.file_size, info.compress_size = entry.size_bytes, entry.packed_bytes
            info.create_version = info.extract_version = ZIP64_VERSION
            yield info

    def append(self, _info: zipfile.ZipInfo) -> None:
        """The list has it already."""


class _Hashed:
    """What a part is written to: hashes and counts on the way into the zip."""

    def __init__(self, target: IO[bytes], beat: Callable[[], None]) -> None:
        self._target, self._beat = target, beat
        self.digest, self.size_bytes = hashlib.sha256(), 0

    def write(self, data: bytes) -> int:
        self.digest.update(data)
        self.size_bytes += len(data)
        self._beat()
        return self._target.write(data)


class PackFile:
    """A pack that is being written in a folder of its own.

    Parameters
    ----------
    folder : Path
        Made if it is not there. What a former worker wrote into it is kept.
    top : str
        The one folder that everything in the zip lies in.
    beat : callable, optional
        Called again and again while something is written.

    Raises
    ------
    InUse
        If another process on this machine has it open.
    """

    def __init__(self, folder: Path, top: str, beat: Callable[[], None] = lambda: None) -> None:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        self.folder, self._top, self._beat = folder, top, beat
        self.path = folder / "pack.zip"
        self._list_path = folder / "pack.jsonl"
        self._list = open(self._list_path, "a+b")  # noqa: SIM115 - closed by `close`
        try:
            fcntl.flock(self._list, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            self._list.close()
            raise InUse from None
        self.count, self._end, self._saved_at = 0, 0, time.monotonic()
        self._unsaved: list[str] = []
        self._file = open(self.path, "r+b" if self.path.exists() else "w+b")  # noqa: SIM115
        self._cut_to_what_is_safe()
        self._zip = self._open_zip()
        self._known = self.entries()
        self._next = next(self._known, None)

    def _cut_to_what_is_safe(self) -> None:
        """Forget half a line, lines of which the zip has less, and what lies behind them."""
        size, kept_bytes = self.path.stat().st_size, 0
        self._list.seek(0)
        for line in self._list:
            try:
                entry = _Entry(**json.loads(line))
            except (ValueError, TypeError):
                break
            if not line.endswith(b"\n") or entry.end > size:
                break
            kept_bytes += len(line)
            self.count, self._end = self.count + 1, entry.end
        self._list.truncate(kept_bytes)
        self._list.seek(0, os.SEEK_END)
        self._file.truncate(self._end)
        self._file.seek(self._end)

    def _open_zip(self) -> zipfile.ZipFile:
        archive = zipfile.ZipFile(self._file, "w")
        archive.filelist = _Directory(self)  # type: ignore[assignment]
        return archive

    def _leave_zip(self) -> None:
        """Have no directory written when this is thrown away, as `zipfile` otherwise would."""
        self._zip.fp = None

    def info_of(self, path: str, *, is_deflated: bool) -> zipfile.ZipInfo:
        info = zipfile.ZipInfo(f"{self._top}/{path}", ZIP_DAY)
        info.create_system, info.external_attr = ON_UNIX, MODE
        info.compress_type = zipfile.ZIP_DEFLATED if is_deflated else zipfile.ZIP_STORED
        return info

    def entries(self) -> Iterator[_Entry]:
        """What is written so far, in order, read from the list."""
        self.save()
        with open(self._list_path, "rb") as lines:
            for line in lines:
                yield _Entry(**json.loads(line))

    def files(self) -> Iterator[FileInBag]:
        """The same, as a bag names them."""
        for entry in self.entries():
            yield FileInBag(entry.path, entry.size_bytes, entry.sha256)

    def passes(self, path: str, *, may_be_missing: bool) -> bool:
        """Whether a file is done with already; to be asked about all of them, in their order.

        One that had nothing to write, while what comes after it is written, stays out.

        Raises
        ------
        DoesNotFit
            If what is written has another file in its place.
        """
        if self._next is None:
            return False
        if self._next.path == path:
            self._next = next(self._known, None)
        elif not may_be_missing:
            raise DoesNotFit(path)
        return True

    def add(self, path: str, write: Writer, *, is_deflated: bool) -> FileInBag:
        """Write one more file.

        Raises whatever ``write`` raises; the zip then ends before this file.
        """
        info = self.info_of(path, is_deflated=is_deflated)
        start = self._file.tell()
        try:
            with self._zip.open(info, "w", force_zip64=True) as target:
                hashed = _Hashed(target, self._beat)
                write(hashed)  # type: ignore[arg-type]
        except BaseException:
            self._leave_zip()
            self._file.truncate(start)
            self._file.seek(start)
            self._zip = self._open_zip()
            raise
        self._zip.NameToInfo.clear()
        self._end = self._zip.start_dir
        entry = _Entry(
            path,
            hashed.size_bytes,
            hashed.digest.hexdigest(),
            info.CRC,
            info.compress_size,
            info.header_offset,
            self._end,
            is_deflated,
        )
        self._unsaved.append(json.dumps(asdict(entry)))
        self.count += 1
        is_due = time.monotonic() - self._saved_at >= SAVED_EVERY_S
        if is_due or len(self._unsaved) >= MOST_UNSAVED:
            self.save()
        return FileInBag(path, entry.size_bytes, entry.sha256)

    def save(self) -> None:
        """Put what was written on the disk, and then into the list."""
        if self._unsaved:
            self._file.flush()
            os.fsync(self._file.fileno())
            self._list.write("".join(f"{line}\n" for line in self._unsaved).encode())
            self._list.flush()
            os.fsync(self._list.fileno())
            self._unsaved.clear()
        self._saved_at = time.monotonic()

    def finish(self) -> tuple[int, str]:
        """Write the zip's directory; return the size of the whole and its SHA-256."""
        self.save()
        self._zip.close()
        self._file.flush()
        self._file.seek(0)
        digest, size = hashlib.sha256(), 0
        while chunk := self._file.read(CHUNK_BYTES):
            digest.update(chunk)
            size += len(chunk)
            self._beat()
        return size, digest.hexdigest()

    def close(self) -> None:
        self._leave_zip()
        self._file.close()
        self._list.close()

    def remove(self) -> None:
        """Throw the folder away; somebody else may have done so."""
        self.close()
        shutil.rmtree(self.folder, ignore_errors=True)

    def __enter__(self) -> "PackFile":
        return self

    def __exit__(self, *_error: Any) -> None:
        try:
            if not self._list.closed:
                self.save()
        finally:
            self.close()

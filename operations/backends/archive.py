"""The file that a back-up is: a tar archive whose end says what it should hold.

A site's rows and files come out of it as they went in, or not at all: a SHA-256 runs over the
name, length and bytes of every member, and the last member, ``end.json``, repeats it. An archive
that was cut, or in which a bit is another one, is refused before anything is made of it. With a
public key the whole is encrypted by age (age-encryption.org/v1, as its specification, C2SP/age,
describes it), so that the machine which makes back-ups cannot read them. Written and read as a
stream: neither needs more memory, or another file beside it, for a large site than for a small one.
"""

import errno
import fcntl
import gzip
import hashlib
import io
import json
import os
import tarfile
import threading
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path, PurePosixPath
from typing import IO, Any, Protocol, Self

import pyrage

AGE_MAGIC = b"age-encryption.org/v1\n"
END = "end.json"
CHUNK = 1024 * 1024
NO_LINKS = (errno.EPERM, errno.ENOTSUP, errno.ENOSYS)
"""What file systems answer that do not know a second name of a file (link(2))."""
LONGEST_LINE = 256 * 1024 * 1024
"""Of packed lines, in bytes; rows and lists are written with none that is longer."""
MOST_SAID = 4 * 1024 * 1024
"""Of what an archive says of itself, in bytes."""
NO_MATCHING_KEY = "No matching keys found"


class Readable(Protocol):
    def read(self, size: int = -1, /) -> bytes: ...


class ArchiveDamaged(Exception):
    """The archive is not as it was written: cut, altered, or no archive of this kind."""


class KeyMissing(Exception):
    """The archive is encrypted, and no private key was given."""


class WrongKey(Exception):
    """The archive is encrypted to other keys than the private ones that were given."""


class NotAKey(Exception):
    """A text is no age key of the kind that is needed."""


def recipient_of(public_key: str) -> Any:
    """The public key that a text such as ``age1…`` is; raises NotAKey."""
    try:
        return pyrage.x25519.Recipient.from_str(public_key.strip())
    except pyrage.RecipientError as error:
        raise NotAKey(str(error)) from error


def digest_of(recipient: Any) -> str:
    """Eight digits that tell a public key from others, in the names of what is encrypted to it."""
    return hashlib.sha256(str(recipient).encode()).hexdigest()[:8]


def identities_of(text: str) -> list[Any]:
    """The private keys in a key file's text, one a line, ``#`` before remarks; raises NotAKey."""
    lines = [line.strip() for line in text.splitlines()]
    keys = [line for line in lines if line and not line.startswith("#")]
    try:
        found = [pyrage.x25519.Identity.from_str(key) for key in keys]
    except pyrage.IdentityError as error:
        raise NotAKey(str(error)) from error
    if not found:
        raise NotAKey("no key")
    return found


def new_key_file() -> tuple[str, str]:
    """A new key pair: the key file's text, which is secret, and the public key."""
    identity = pyrage.x25519.Identity.generate()
    public = str(identity.to_public())
    return f"# public key: {public}\n{identity}\n", public


class ArchiveWriter:
    """Takes members one after another; what it wrote counts with the end that `finish` writes."""

    def __init__(self, stream: IO[bytes]) -> None:
        self._tar = tarfile.open(  # noqa: SIM115 - closed where the block ends
            fileobj=stream, mode="w|", format=tarfile.GNU_FORMAT, bufsize=CHUNK
        )
        self._seal = _Seal()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is None:
            self._tar.close()
        else:  # What is left to write would fail as what came before did.
            with suppress(OSError, ValueError):
                self._tar.close()

    def add(self, name: str, data: bytes) -> None:
        self.add_stream(name, io.BytesIO(data), len(data))

    def add_stream(self, name: str, stream: Readable, size: int) -> str:
        """Write a member of a known length; give its SHA-256.

        Raises
        ------
        OSError
            If the stream ends before its length, or the archive cannot be written.
        """
        read = HashingReader(stream)
        info = tarfile.TarInfo(name)
        info.size, info.mode = size, 0o600
        self._tar.addfile(info, read)
        self._seal.add(name, read)
        return read.sha256

    def finish(self, **about: Any) -> None:
        """Write the end, with what else is to be known of the whole."""
        end = json.dumps({**about, "members": self._seal.members, "sha256": self._seal.sha256})
        data = end.encode()
        info = tarfile.TarInfo(END)
        info.size, info.mode = len(data), 0o600
        self._tar.addfile(info, io.BytesIO(data))


def read_archive(stream: Readable, take: Callable[[str, "HashingReader"], None]) -> dict[str, Any]:
    """Give every member to ``take``, in order, and return what the end says.

    What ``take`` was given is not to be relied on before this returns.

    Raises
    ------
    ArchiveDamaged
        If any of it is not as it was written.
    """
    seal = _Seal()
    end: dict[str, Any] | None = None
    try:
        with tarfile.open(fileobj=stream, mode="r|", bufsize=CHUNK) as tar:  # type: ignore[call-overload]
            for info in tar:
                data = tar.extractfile(info) if info.isreg() else None
                if data is None or end is not None or not is_plain_name(info.name):
                    raise ArchiveDamaged
                if info.name == END:
                    end = json.loads(data.read(MOST_SAID))
                    continue
                read = HashingReader(data)
                take(info.name, read)
                read.drain()
                seal.add(info.name, read)
        while stream.read(CHUNK):  # What follows is authenticated too, where it is encrypted.
            pass
    except (tarfile.TarError, EOFError, ValueError, KeyError, zlib.error) as error:
        raise ArchiveDamaged from error
    if not isinstance(end, dict):
        raise ArchiveDamaged
    if (end.get("members"), end.get("sha256")) != (seal.members, seal.sha256):
        raise ArchiveDamaged
    return end


def first_member(stream: Readable, name: str) -> bytes | None:
    """What the first member holds; None where it has another name, or this is no archive."""
    try:
        with tarfile.open(fileobj=stream, mode="r|", bufsize=CHUNK) as tar:  # type: ignore[call-overload]
            info = tar.next()
            data = tar.extractfile(info) if info is not None and info.name == name else None
            return data.read(MOST_SAID) if data is not None else None
    except (tarfile.TarError, EOFError, ValueError, zlib.error):
        return None


def packed_lines(stream: IO[bytes]) -> Iterator[bytes]:
    """Lines of a gzip file, without their ends; never more than one of them is in memory.

    Raises
    ------
    ArchiveDamaged
        If it is none, or a line is longer than `LONGEST_LINE`: few bytes may unpack to any number.
    """
    try:
        with gzip.GzipFile(fileobj=stream) as lines:
            while line := lines.readline(LONGEST_LINE + 1):
                if len(line) > LONGEST_LINE:
                    raise ArchiveDamaged
                yield line.removesuffix(b"\n")
    except (gzip.BadGzipFile, EOFError, zlib.error) as error:
        raise ArchiveDamaged from error


def is_plain_name(name: str) -> bool:
    """Whether a name stays below the folder that it is written into."""
    path = PurePosixPath(name)
    return bool(path.parts) and not path.is_absolute() and ".." not in path.parts


class HashingReader:
    """Reads on from a stream, and knows length and SHA-256 of what was read."""

    def __init__(self, stream: Readable) -> None:
        self._stream = stream
        self._hash = hashlib.sha256()
        self.size = 0

    def read(self, size: int = -1, /) -> bytes:
        data = self._stream.read(size)
        self._hash.update(data)
        self.size += len(data)
        return data

    def drain(self) -> None:
        while self.read(CHUNK):
            pass

    @property
    def sha256(self) -> str:
        return self._hash.hexdigest()


class _Seal:
    """One hash over every member so far."""

    def __init__(self) -> None:
        self._hash = hashlib.sha256()
        self.members = 0

    def add(self, name: str, read: HashingReader) -> None:
        self._hash.update(f"{read.sha256} {read.size} {name}\n".encode())
        self.members += 1

    @property
    def sha256(self) -> str:
        return self._hash.hexdigest()


@contextmanager
def written(path: Path, recipient: Any = None) -> Iterator[IO[bytes]]:
    """A stream into a new file that appears under its name once it is whole and on the disk.

    Until then it is ``NAME.part``, which whoever tries again may overwrite, and which is gone
    where the block raises. With a recipient what is written is encrypted to it.

    Raises
    ------
    FileExistsError
        If there is such a file, or another process is writing it: none is overwritten.
    OSError
        If it cannot be written.
    """
    part = path.with_name(path.name + ".part")
    if path.exists():
        raise FileExistsError(path)
    with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT, 0o600), "wb") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise FileExistsError(part) from error
        if not _is_at(part, file):
            # Who wrote it has ended in between: this is their whole file by now.
            raise FileExistsError(path)
        try:
            file.truncate(0)
            with encrypted(file, recipient) as plain:
                yield plain
            file.flush()
            os.fsync(file.fileno())
            _put_in_place(part, path)
        finally:
            part.unlink(missing_ok=True)
    sync_folder(path.parent)


def _is_at(path: Path, file: IO[bytes]) -> bool:
    """Whether an open file is still the one of that name."""
    try:
        return os.path.samestat(os.stat(path), os.fstat(file.fileno()))
    except FileNotFoundError:
        return False


def _put_in_place(part: Path, path: Path) -> None:
    """Give a file its name, and overwrite none that came meanwhile."""
    try:
        os.link(part, path)
    except OSError as error:
        if error.errno not in NO_LINKS:
            raise
        # As on shares of Windows machines and disks of cameras: a look, then a rename.
        if path.exists():
            raise FileExistsError(path) from error
        os.rename(part, path)


def sync_folder(folder: Path) -> None:
    """Have the names in a folder on the disk too."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


@contextmanager
def opened(path: Path, identities: list[Any]) -> Iterator[IO[bytes]]:
    """A stream of what a file holds, decrypted where it is encrypted.

    Raises
    ------
    KeyMissing, WrongKey
        If it is encrypted, and not to one of these keys.
    ArchiveDamaged
        When the block ends, if the encrypted file is not as it was written.
    """
    with path.open("rb") as file, decrypted(file, identities) as plain:
        yield plain


@contextmanager
def decrypted(file: IO[bytes], identities: list[Any]) -> Iterator[IO[bytes]]:
    """The same of a file that is open at its beginning."""
    is_encrypted = file.read(len(AGE_MAGIC)) == AGE_MAGIC
    file.seek(0)
    if not is_encrypted:
        yield file
    elif not identities:
        raise KeyMissing
    else:
        with _decrypted(file, identities) as plain:
            yield plain


class _Reader:
    """What age reads from; its error is kept, since age passes only its words on."""

    def __init__(self, stream: IO[bytes]) -> None:
        self._stream = stream
        self.error: Exception | None = None

    def read(self, size: int = -1) -> bytes:
        try:
            return self._stream.read(size)
        except Exception as error:
            self.error = error
            raise


class _Writer:
    """What age writes into, with its error kept likewise."""

    def __init__(self, stream: IO[bytes]) -> None:
        self._stream = stream
        self.error: Exception | None = None

    def write(self, data: bytes) -> int:
        try:
            return self._stream.write(data)
        except Exception as error:
            self.error = error
            raise

    def flush(self) -> None:
        self._stream.flush()


@contextmanager
def encrypted(stream: IO[bytes], recipient: Any = None) -> Iterator[IO[bytes]]:
    """A stream into another, encrypted to a recipient if there is one."""
    if recipient is None:
        yield stream
        return
    with _encrypted(stream, recipient) as plain:
        yield plain


@contextmanager
def _encrypted(stream: IO[bytes], recipient: Any) -> Iterator[IO[bytes]]:
    """Age reads what it encrypts, so it reads, in a thread, the pipe that is written here."""
    read_end, write_end = os.pipe()
    writer = _Writer(stream)
    failures: list[BaseException] = []

    def encrypt() -> None:
        with os.fdopen(read_end, "rb") as plain:
            try:
                pyrage.encrypt_io(plain, writer, [recipient])
            except Exception as error:
                failures.append(writer.error or error)

    thread = threading.Thread(target=encrypt, daemon=True)
    thread.start()
    try:
        with os.fdopen(write_end, "wb", buffering=CHUNK) as plain:
            yield plain
    except BrokenPipeError:
        thread.join()
        if not failures:
            raise
    finally:
        thread.join()
    if failures:
        raise failures[0]


@contextmanager
def _decrypted(file: IO[bytes], identities: list[Any]) -> Iterator[IO[bytes]]:
    read_end, write_end = os.pipe()
    reader = _Reader(file)
    failures: list[Exception] = []

    def decrypt() -> None:
        with os.fdopen(write_end, "wb", buffering=0) as plain:
            try:
                pyrage.decrypt_io(reader, _Writer(plain), identities)
            except Exception as error:
                failures.append(error)

    thread = threading.Thread(target=decrypt, daemon=True)
    thread.start()
    try:
        with os.fdopen(read_end, "rb", buffering=CHUNK) as plain:
            yield plain
    except ArchiveDamaged as damaged:
        thread.join()
        raise _why(failures, reader) from damaged
    finally:
        thread.join()
    if failures:
        raise _why(failures, reader)


def _why(failures: list[Exception], reader: _Reader) -> Exception:
    if reader.error is not None:
        return reader.error
    if failures and NO_MATCHING_KEY in str(failures[0]):
        return WrongKey()
    return ArchiveDamaged()

"""A bucket of object storage in which back-ups are kept, or a folder in one.

It holds what a folder of back-ups would, under the same names, so one copied into a folder is read
there. An object is seen once all of it has come: what a run that was killed has sent of one is no
archive, and is ended by the next run. A file is put down here first, in memory or, if it is large,
on the disk, since its name there tells its SHA-256; an archive is sent as it comes, part by part.
"""

import errno
import io
import logging
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, cast

from operations.exceptions import BackUpRefused, BackUpsOutOfReach
from records.exceptions import FilesOutOfReach

from .archive import CHUNK, HashingReader, Readable, decrypted, encrypted
from .files_folder import StoredFile, key_of

log = logging.getLogger(__name__)

FILES = "files"
SITE = "site.txt"
"""Which site's back-ups these are: no other throws away what this one's need."""
HELD_IN_MEMORY = 4 * 1024 * 1024
SCHEMES = {"https": "s3", "http": "s3+http"}


class BackUpBucket:
    """Back-ups in a bucket.

    Parameters
    ----------
    storage : ObjectStorage
    setting : str
        The setting that names it, for whoever reads a refusal.
    incoming : Path
        Folder for a large file under way.
    """

    def __init__(self, storage: Any, *, setting: str, incoming: Path) -> None:
        self._storage, self._setting, self._incoming = storage, setting, incoming

    def __str__(self) -> str:
        """Its address, without the key."""
        scheme, _, host = str(self._storage.endpoint_url).partition("://")
        below = f"/{self._storage.location}" if self._storage.location else ""
        return f"{SCHEMES[scheme]}://{host}/{self._storage.bucket_name}{below}"

    def path_of(self, name: str) -> str:
        return f"{self}/{name}"

    def refuse_of_another_site(self, address: str) -> None:
        """Note whose back-ups these are, or raise BackUpRefused where they are another site's."""
        with self._said():
            try:
                found = self.read(SITE).decode(errors="replace").strip()
            except FileNotFoundError:
                # Refused where another site was quicker, which the next run sees.
                self._put(SITE, f"{address}\n".encode())
                return
        if found != address:
            raise BackUpRefused(
                f"{self} holds back-ups of {found}, and this site is {address}: name another "
                f"folder of the bucket in {self._setting} or, if this site was that one, remove "
                f"the object {SITE} there."
            )

    def refuse_that_of(self, files: Any) -> None:
        """Raise BackUpRefused where the site's own files are in this very bucket.

        It may have two names, so what was written by one is looked for by the other.
        """
        above = f"{self._storage.location}/" if self._storage.location else ""
        if files.exists(f"{above}{SITE}"):
            raise BackUpRefused(
                f"{self} is the bucket of FILES_URL, so back-ups would be lost with what they are "
                f"of: name another bucket in {self._setting}, and remove the object {above}{SITE}."
            )

    def refuse_out_of_reach(self) -> None:
        """Raise BackUpsOutOfReach unless the bucket answers and lets itself be listed."""
        with self._said():
            self._storage.refuse_out_of_reach()

    def names(self) -> Iterator[str]:
        with self._said():
            yield from self._storage.names(at_its_top=True)

    @contextmanager
    def written(self, name: str, recipient: Any) -> Iterator[IO[bytes]]:
        """A stream into a new object, which nobody sees unless the block comes to its end."""
        with self._said():
            new = self._storage.new_object(name)
        sending: Any = _Sending(self, new)
        try:
            with encrypted(sending, recipient) as plain:
                yield plain
            with self._said():
                new.finish()
        except BaseException:
            new.give_up()
            raise

    @contextmanager
    def opened(self, name: str, identities: list[Any]) -> Iterator[IO[bytes]]:
        """A stream of what an archive holds; raises as `archive.opened` does."""
        with self._said():
            try:
                file = self._storage.open(name)
            except FileNotFoundError as error:
                raise FileNotFoundError(
                    errno.ENOENT, "There is no such object", self.path_of(name)
                ) from error
            with file, decrypted(file, identities) as plain:
                yield plain

    def size(self, name: str) -> int:
        with self._said():
            return int(self._storage.size(name))

    def read(self, name: str) -> bytes:
        with self._said(), self._storage.open(name) as file:
            return bytes(file.read())

    def replace(self, name: str, data: bytes) -> None:
        """Write a small object, in place of one of that name if there is one."""
        with self._said():
            try:
                self._put(name, data)
            except FileExistsError:
                self._storage.delete(name)
                self._put(name, data)

    def _put(self, name: str, data: bytes) -> None:
        self._storage.put(name, io.BytesIO(data), has_md5=True)

    def remove(self, name: str) -> None:
        with self._said():
            self._storage.delete(name)

    def remove_what_was_left(self) -> None:
        """What a run has sent that was killed; who calls this has the bucket to themselves.

        A key that may not see it, or a server that has no such question, keeps nobody from a
        back-up: it costs room until the bucket's own rule ends it.
        """
        try:
            self._storage.end_uploads(lambda name: "/" not in name or name.startswith(f"{FILES}/"))
        except FilesOutOfReach as error:
            log.warning("Unfinished uploads in %s are left: %s", self, error.__cause__)

    @contextmanager
    def _said(self) -> Iterator[None]:
        """Say of this bucket what is otherwise said of the site's files."""
        try:
            yield
        except FilesOutOfReach as error:
            raise BackUpsOutOfReach(self._why(error.__cause__)) from error

    def _why(self, cause: BaseException | None) -> str:
        code = str(getattr(cause, "response", {}).get("Error", {}).get("Code", ""))
        named = f"The bucket {self} of {self._setting}"
        if not code:
            return (
                f"{named} does not answer: see that its server runs, and that this machine reaches "
                "it."
            )
        if code == "NoSuchBucket":
            return f"{named} is not there: make it, or name another."
        return (
            f"{named} refuses what it was asked ({code}): see that the key is the right one, and "
            "may list, get, put and delete."
        )


class _Sending:
    """A new object, which says of its bucket what goes wrong."""

    def __init__(self, bucket: BackUpBucket, new: Any) -> None:
        self._bucket, self._new = bucket, new

    def write(self, data: bytes) -> int:
        with self._bucket._said():
            return int(self._new.write(data))

    def flush(self) -> None:
        """Nothing is seen before all of it."""


class FilesBucket:
    """The files that back-ups in a bucket share, as `files_folder.FileStore` asks for them."""

    def __init__(self, bucket: BackUpBucket, recipient: Any = None) -> None:
        self._bucket, self.recipient = bucket, recipient

    def listing(self) -> Iterator[StoredFile]:
        with self._bucket._said():
            for name in self._bucket._storage.names(FILES):
                stored = StoredFile.from_str(name.removeprefix(f"{FILES}/"))
                if stored is not None:
                    yield stored

    def add(self, name: str, stream: Readable) -> StoredFile:
        """Take a file in; it is there under its name once it is whole."""
        incoming = self._bucket._incoming
        incoming.mkdir(mode=0o700, exist_ok=True)
        with tempfile.SpooledTemporaryFile(max_size=HELD_IN_MEMORY, dir=str(incoming)) as file:
            read, into = HashingReader(stream), cast(IO[bytes], file)
            with encrypted(into, self.recipient) as plain:
                while data := read.read(CHUNK):
                    plain.write(data)
            stored = StoredFile(name, read.size, read.sha256, key_of(self.recipient))
            with self._bucket._said():
                try:
                    self._bucket._storage.put(f"{FILES}/{stored}", file, has_md5=True)
                except FileExistsError:
                    log.info("%s is there already.", stored)  # Its name says the same content.
        return stored

    @contextmanager
    def opened(self, stored: str, identities: list[Any]) -> Iterator[IO[bytes]]:
        with self._bucket.opened(f"{FILES}/{stored}", identities) as stream:
            yield stream

    def remove(self, stored: StoredFile) -> None:
        self._bucket.remove(f"{FILES}/{stored}")


@dataclass(frozen=True, slots=True)
class BucketArchive:
    """One archive in a bucket, there or to be made."""

    bucket: BackUpBucket
    name: str

    def __str__(self) -> str:
        return self.bucket.path_of(self.name)

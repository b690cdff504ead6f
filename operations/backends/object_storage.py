"""Files of the site in a bucket of object storage that speaks S3, for several machines.

An object never changes: it is written under a name that nobody has, by a request that the server
refuses where the name is taken (``If-None-Match: *``), and stays so until it is deleted. It is
read piece by piece as it is asked for, so that no file is held in memory or on a disk here. There
is no address of an object: what it holds is given out by views that ask who is asking.

A server that does not answer, or refuses what it has to allow, is `FilesOutOfReach`; that a file
is not there is FileNotFoundError, as it is for files of a disk.
"""

import base64
import hashlib
import io
import logging
import secrets
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import IO, Any

import boto3
from botocore.config import Config
from botocore.exceptions import BotoCoreError, ClientError, HTTPClientError
from django.core.files.base import File
from storages.backends.s3 import S3Storage
from storages.utils import clean_name

from records.exceptions import FilesOutOfReach

log = logging.getLogger(__name__)

MARK = "written-by"
"""Metadata of an object: which act of writing it was."""
READ_AT_ONCE = 256 * 1024
IN_ONE_REQUEST = 64 * 1024 * 1024
"""More is sent in parts, of which nothing is seen until the last has come."""
PART_BYTES = 16 * 1024 * 1024
MOST_PARTS = 10_000  # Of the protocol itself; from memory of its documentation.
TRIES_OF_A_READ = 3
NOT_THERE = {"404", "NoSuchKey", "NotFound"}
TAKEN = {"412", "PreconditionFailed", "409", "ConditionalRequestConflict"}
NOT_KNOWN = {"501", "NotImplemented"}
NOT_THERE_ANY_MORE = {"404", "NoSuchUpload"}
"""Of an upload that is complete, or was ended."""
CONFIG = Config(
    connect_timeout=3,
    read_timeout=20,
    retries={"mode": "standard", "total_max_attempts": 3},
    max_pool_connections=32,
    s3={"addressing_style": "path"},
    # Its signature covers what is sent; the further sums are not known to every server.
    request_checksum_calculation="when_required",
    response_checksum_validation="when_required",
)


class ObjectStorage(S3Storage):
    """A bucket as Django's storage; see the module for what is promised."""

    def __init__(self, **settings: Any) -> None:
        super().__init__(**settings, client_config=CONFIG, file_overwrite=False)
        self._lock = threading.Lock()
        self._resource: Any = None

    def __getstate__(self) -> dict[str, Any]:
        return {**super().__getstate__(), "_lock": None, "_resource": None}

    def __setstate__(self, state: dict[str, Any]) -> None:
        super().__setstate__(state)
        self._lock = threading.Lock()

    @property
    def connection(self) -> Any:
        """One for all threads, since its client may be theirs together and takes long to make."""
        with self._lock:
            if self._resource is None:
                session = boto3.Session(
                    aws_access_key_id=self.access_key, aws_secret_access_key=self.secret_key
                )
                self._resource = session.resource(
                    "s3",
                    region_name=self.region_name,
                    endpoint_url=self.endpoint_url,
                    config=self.client_config,
                )
            return self._resource

    @property
    def client(self) -> Any:
        return self.connection.meta.client

    def refuse_out_of_reach(self) -> None:
        """Raise FilesOutOfReach unless the bucket answers and lets itself be listed."""
        with _told(self.bucket_name):
            self.client.list_objects_v2(Bucket=self.bucket_name, MaxKeys=1)

    def names(self, folder: str = "", *, at_its_top: bool = False) -> Iterator[str]:
        """The name of every object below a folder, in order; or of those at its top alone."""
        above = f"{self.location}/" if self.location else ""
        prefix = f"{above}{folder}/" if folder else above
        pages = self.client.get_paginator("list_objects_v2").paginate(
            Bucket=self.bucket_name, Prefix=prefix, **({"Delimiter": "/"} if at_its_top else {})
        )
        with _told(prefix):
            for page in pages:
                for each in page.get("Contents", ()):
                    yield each["Key"].removeprefix(above)

    def _open(self, name: str, mode: str = "rb") -> File:
        if mode != "rb":
            raise ValueError("Objects are read as bytes, and written whole by `save`.")
        return ObjectFile(self, self._normalize_name(clean_name(name)))

    def _save(self, name: str, content: File) -> str:
        return self.put(name, content)

    def put(self, name: str, content: Any, *, has_md5: bool = False) -> str:
        """Write an object under a name that none has, or raise FileExistsError.

        Parameters
        ----------
        has_md5 : bool
            Whether the server is told the MD5 of all of it, without which one that locks objects
            for some time takes none; for that the content is read once more.
        """
        cleaned = clean_name(name)
        key = self._normalize_name(cleaned)
        content.seek(0)
        size = content.seek(0, io.SEEK_END)
        size = content.tell() if size is None else size
        content.seek(0)
        mark = secrets.token_hex(16)
        about = {
            "ContentType": self._get_write_parameters(key, content)["ContentType"],
            "Metadata": {MARK: mark},
        }
        send = self._send_whole if size <= IN_ONE_REQUEST else self._send_in_parts
        if has_md5 and size <= IN_ONE_REQUEST:
            about["ContentMD5"] = _md5(content)
        with _told(key):
            try:
                send(key, content, size, about, {"IfNoneMatch": "*"})
            except ClientError as error:
                if _code(error) in TAKEN:
                    # Sent twice, where the first answer was lost, it meets itself.
                    if self._mark_of(key) != mark:
                        raise FileExistsError(f"There is an object {key} already.") from error
                elif _code(error) in NOT_KNOWN:
                    content.seek(0)
                    self._refuse_if_there(cleaned)
                    send(key, content, size, about, {})
                else:
                    raise
        return cleaned

    def _send_whole(
        self, key: str, content: File, size: int, about: dict[str, Any], unless: dict[str, str]
    ) -> None:
        place = {"Bucket": self.bucket_name, "Key": key}
        self.client.put_object(**place, Body=_Body(content), **about, **unless)

    def _send_in_parts(
        self, key: str, content: File, size: int, about: dict[str, Any], unless: dict[str, str]
    ) -> None:
        parts = _Parts(self, key, about)
        part_bytes = max(PART_BYTES, -(-size // MOST_PARTS))
        try:
            while data := content.read(part_bytes):
                parts.send(data)
            parts.complete(unless)
        except BaseException:
            parts.abort()
            raise

    def new_object(self, name: str) -> "NewObject":
        """Begin an object of a length that is not known yet; raises FileExistsError."""
        self._refuse_if_there(name)
        return NewObject(self, clean_name(name))

    def end_uploads(self, is_ours: Callable[[str], bool]) -> None:
        """End uploads in parts that nobody will finish, of names that are ours."""
        above = f"{self.location}/" if self.location else ""
        pages = self.client.get_paginator("list_multipart_uploads").paginate(
            Bucket=self.bucket_name, Prefix=above
        )
        with _told(above):
            for page in pages:
                for each in page.get("Uploads", ()):
                    if is_ours(each["Key"].removeprefix(above)):
                        self.client.abort_multipart_upload(
                            Bucket=self.bucket_name, Key=each["Key"], UploadId=each["UploadId"]
                        )

    def _mark_of(self, key: str) -> str:
        about = self.client.head_object(Bucket=self.bucket_name, Key=key)
        return str(about["Metadata"].get(MARK, ""))

    def _refuse_if_there(self, name: str) -> None:
        if self.exists(name):
            raise FileExistsError(f"There is an object {name} already.")

    def delete(self, name: str) -> None:
        with _told(name):
            super().delete(name)

    def exists(self, name: str) -> bool:
        with _told(name):
            return bool(super().exists(name))

    def listdir(self, name: str) -> Any:
        with _told(name):
            return super().listdir(name)

    def size(self, name: str) -> int:
        with _told(name):
            return int(super().size(name))

    def url(self, name: str, *_args: Any, **_kwargs: Any) -> str:
        raise ValueError("This file is not accessible via a URL.")


class _Parts:
    """An upload in parts, of which nothing is seen before it is complete."""

    def __init__(self, storage: ObjectStorage, key: str, about: dict[str, Any]) -> None:
        self._client, self._key = storage.client, key
        self._place = {"Bucket": storage.bucket_name, "Key": key}
        begun = self._client.create_multipart_upload(**self._place, **about)
        self._place["UploadId"] = begun["UploadId"]
        self._sent: list[dict[str, Any]] = []

    def send(self, data: bytes) -> None:
        number = len(self._sent) + 1
        sent = self._client.upload_part(
            **self._place, PartNumber=number, Body=data, ContentMD5=_md5(io.BytesIO(data))
        )
        self._sent.append({"ETag": sent["ETag"], "PartNumber": number})

    def complete(self, unless: dict[str, str]) -> None:
        self._client.complete_multipart_upload(
            **self._place, MultipartUpload={"Parts": self._sent}, **unless
        )

    def abort(self) -> None:
        # What is left where this fails too goes by the bucket's own rule.
        try:
            self._client.abort_multipart_upload(**self._place)
        except (ClientError, BotoCoreError) as error:
            log.warning("Parts of %s are left in the bucket: %s", self._key, error)


class NewObject:
    """An object that is written as it comes, with one part of it in memory.

    Nobody sees it before `finish`; whoever does not come to that calls `give_up`.
    """

    def __init__(self, storage: ObjectStorage, name: str) -> None:
        self._storage, self._name = storage, name
        self._key = storage._normalize_name(name)
        self._mark = secrets.token_hex(16)
        self._parts: _Parts | None = None
        self._held = bytearray()

    def write(self, data: bytes) -> int:
        self._held += data
        while len(self._held) >= PART_BYTES:
            piece = bytes(self._held[:PART_BYTES])
            del self._held[:PART_BYTES]
            self._send(piece)
        return len(data)

    def flush(self) -> None:
        """Nothing: what is held goes when it is a part, or with the end."""

    def _send(self, piece: bytes) -> None:
        with _told(self._key):
            if self._parts is None:
                self._parts = _Parts(self._storage, self._key, {"Metadata": {MARK: self._mark}})
            self._parts.send(piece)

    def finish(self) -> None:
        """Have it seen under its name; raises FileExistsError where another came meanwhile."""
        if self._parts is None:
            whole = File(io.BytesIO(self._held))
            self._storage.put(self._name, whole, has_md5=True)
            return
        if self._held:
            self._send(bytes(self._held))
        with _told(self._key):
            try:
                self._complete(self._parts)
            except ClientError as error:
                # Asked twice, where the first answer was lost, it meets itself.
                if _code(error) not in TAKEN | NOT_THERE_ANY_MORE:
                    raise
                if self._storage._mark_of(self._key) != self._mark:
                    raise FileExistsError(f"There is an object {self._key} already.") from error
        self._parts = None

    def _complete(self, parts: _Parts) -> None:
        try:
            parts.complete({"IfNoneMatch": "*"})
        except ClientError as error:
            if _code(error) not in NOT_KNOWN:
                raise
            self._storage._refuse_if_there(self._name)
            parts.complete({})

    def give_up(self) -> None:
        self._held.clear()
        if self._parts is not None:
            self._parts.abort()
            self._parts = None


class _Body:
    """A file for botocore, which sends nothing of what is false, as Django's without a name are."""

    def __init__(self, content: File) -> None:
        self.read, self.seek, self.tell = content.read, content.seek, content.tell


class ObjectFile(File):
    """An object that was there when it was opened, to be read from any place of it."""

    def __init__(self, storage: ObjectStorage, key: str) -> None:
        self._storage, self._key = storage, key
        self._mode = self.mode = "rb"
        self.name = key
        self.open()

    def open(self, mode: str | None = None, *_args: Any, **_kwargs: Any) -> "ObjectFile":
        if mode not in (None, "rb"):
            raise ValueError("Objects are read as bytes, and written whole by `save`.")
        if not self.closed:
            self.seek(0)
            return self
        raw = _ObjectReader(self._storage, self._key)
        self.size = raw.size
        self.file: IO[bytes] = io.BufferedReader(raw, READ_AT_ONCE)
        return self

    @property
    def closed(self) -> bool:
        file = getattr(self, "file", None)
        return file is None or file.closed

    def close(self) -> None:
        if not self.closed:
            self.file.close()


class _ObjectReader(io.RawIOBase):
    """Reads on in the answer to one request as long as nobody goes to another place.

    Where the answer breaks off it asks again from there, for the same content.
    """

    def __init__(self, storage: ObjectStorage, key: str) -> None:
        self._storage, self._key = storage, key
        self._at, self._body, self._body_at = 0, None, 0
        with _told(key):
            answer = self._ask()
            self.size = int(answer["ContentLength"])
            self._same = {"IfMatch": answer["ETag"]} if "ETag" in answer else {}
            self._body = answer["Body"]

    def _ask(self, **more: str) -> dict[str, Any]:
        asked = {"Bucket": self._storage.bucket_name, "Key": self._key, **more}
        answer: dict[str, Any] = self._storage.client.get_object(**asked)
        return answer

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        from_where = {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self.size}
        self._at = max(0, from_where[whence] + offset)
        return self._at

    def readinto(self, buffer: Any) -> int:
        wanted = min(len(buffer), self.size - self._at)
        if wanted <= 0:
            return 0
        with _told(self._key):
            for left in reversed(range(TRIES_OF_A_READ)):
                try:
                    data = self._read(wanted)
                    break
                except (HTTPClientError, BotoCoreError, OSError):
                    self._let_go()
                    if not left:
                        raise
        buffer[: len(data)] = data
        self._at += len(data)
        self._body_at = self._at
        return len(data)

    def readall(self) -> bytes:
        """All that is left, in few pieces; by itself it would ask for 8 kB at a time."""
        pieces = []
        while piece := self.read(1024 * 1024):
            pieces.append(piece)
        return b"".join(pieces)

    def _read(self, wanted: int) -> bytes:
        if self._body is not None and self._body_at != self._at:
            self._let_go()
        if self._body is None:
            self._body = self._ask(Range=f"bytes={self._at}-", **self._same)["Body"]
            self._body_at = self._at
        data: bytes = self._body.read(wanted)
        if not data:
            raise OSError("The answer ends before the object does.")
        return data

    def _let_go(self) -> None:
        body, self._body = self._body, None
        if body is not None:
            body.close()

    def close(self) -> None:
        if not self.closed:
            self._let_go()
        super().close()


@contextmanager
def _told(name: str) -> Iterator[None]:
    """Say in the site's own errors what the server, or the way to it, has refused."""
    try:
        yield
    except ClientError as error:
        if _code(error) in NOT_THERE:
            raise FileNotFoundError(f"There is no object {name}.") from error
        log.error("The object storage refuses %s: %s", name, error)
        raise FilesOutOfReach from error
    except (FileNotFoundError, FileExistsError):
        raise
    except (BotoCoreError, HTTPClientError, OSError) as error:
        log.error("The object storage does not answer about %s: %s", name, error)
        raise FilesOutOfReach from error


def _md5(content: Any) -> str:
    """The MD5 of what a file holds, as HTTP has it; the file is at its beginning again after."""
    content.seek(0)
    whole = hashlib.md5(usedforsecurity=False)
    while piece := content.read(READ_AT_ONCE):
        whole.update(piece)
    content.seek(0)
    return base64.b64encode(whole.digest()).decode()


def _code(error: ClientError) -> str:
    answer = error.response
    code = str(answer.get("Error", {}).get("Code", ""))
    # To a question without a body the answer has none either, so its number is the code.
    return code or str(answer.get("ResponseMetadata", {}).get("HTTPStatusCode", ""))

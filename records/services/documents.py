"""Papers that come as files: which are kept, and how; whoever keeps one has a row that names it."""

import hashlib
from collections.abc import Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from functools import partial
from typing import Any, BinaryIO, cast

from django.core.files.base import ContentFile
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from records.exceptions import Refusal

MOST_BYTES = 15 * 1024 * 1024

# What a file of each kind begins with; WebP and HEIC name themselves a little further in.
MAGIC = (
    (b"%PDF-", "application/pdf"),
    (b"\xff\xd8\xff", "image/jpeg"),
    (b"\x89PNG\r\n\x1a\n", "image/png"),
    (b"II*\x00", "image/tiff"),
    (b"MM\x00*", "image/tiff"),
)
HEIC_BRANDS = (b"heic", b"heix", b"mif1", b"msf1", b"hevc")


@dataclass(frozen=True)
class Document:
    """The bytes of a paper's scan, and what its file was called."""

    name: str
    content: bytes


def media_type_of(content: bytes) -> str:
    """Tell a PDF or image by its first bytes; empty for anything else."""
    for begins, media_type in MAGIC:
        if content.startswith(begins):
            return media_type
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return "image/webp"
    if content[4:8] == b"ftyp" and content[8:12] in HEIC_BRANDS:
        return "image/heic"
    return ""


def check_document(document: Document, refusal: type[Refusal]) -> str:
    """The media type of a document that can be kept.

    Raises
    ------
    Refusal
        Of the kind that is given, if it is too large, empty, or neither PDF nor image.
    """
    if len(document.content) > MOST_BYTES:
        raise refusal(
            _("%(name)s has more than %(most)d MB: scan it at a lower resolution.")
            % {"name": document.name, "most": MOST_BYTES // 1024**2}
        )
    media_type = media_type_of(document.content)
    if not media_type:
        raise refusal(
            _(
                "%(name)s is neither a PDF nor a JPEG, PNG, TIFF, WebP or HEIC image: "
                "scan or photograph the paper."
            )
            % {"name": document.name}
        )
    return media_type


def sha256_of(document: Document) -> str:
    return hashlib.sha256(document.content).hexdigest()


def store_document(kept: Any, document: Document) -> None:
    """Store the bytes, and say in a row that is still to be saved what they are."""
    kept.original_name = document.name[-200:]
    kept.size_bytes = len(document.content)
    kept.sha256 = sha256_of(document)
    kept.file.save(document.name, ContentFile(document.content), save=False)


def documents_to_verify(
    rows: QuerySet[Any], called: str
) -> Iterator[tuple[str, partial[AbstractContextManager[BinaryIO]], str]]:
    """Every document that is kept in rows, for the check of the records' files."""
    for document in rows.iterator():
        opener: Any = partial(document.file.storage.open, str(document.file.name), "rb")
        yield (
            f"{called} {document.pk} ({document.original_name})",
            cast("partial[AbstractContextManager[BinaryIO]]", opener),
            document.sha256,
        )

"""What goes into an evidence pack, part by part, in an order that is always the same.

Photographs come first: nothing else is large, and what lists them reads what was written.
"""

import json
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from pathlib import Path
from typing import IO, Any

from django.core.serializers.json import DjangoJSONEncoder
from django.forms.models import model_to_dict
from django.utils import translation

from assessments.exceptions import NothingToPrint
from assessments.models import Board, CriteriaSet, Photo
from assessments.presenters.criterion_drawings import accept_shown, rejects_shown
from assessments.presenters.result_pdf import result_pdf
from assessments.presenters.result_sheet import result_sheet
from audit.domain.bag import (
    DECLARATION,
    MANIFEST,
    TAG_MANIFEST,
    FileInBag,
    bag_info,
    manifest_line,
)
from audit.domain.pack_parts import NothingToWrite, Part
from audit.models import EvidencePack
from audit.queries.pack_rows import PackRows, is_open
from certification.exceptions import CertificationError
from certification.models import Certificate, SchemeRevision
from certification.presenters.certificate_document import certificate_pdf
from certification.services import public_codes
from people.models import Installation
from records.domain.canonical import canonical_text, instant_text
from records.models import Signature, TrailEntry

from . import pack_dossier, pack_drawings, pack_tables

CHUNK_BYTES = 1 << 20
VERIFIER = "verify_pack.py"
QUESTION, TRAIL, SIGNATURES = "data/question.json", "data/trail.jsonl", "data/signatures.jsonl"
NOT_OF_PHOTOS_AND_BOARDS = 30
"""About how many files a pack has beside those that are counted."""
Files = Callable[[], Iterator[FileInBag]]


class PackContents:
    """Everything that goes into one pack."""

    def __init__(self, pack: EvidencePack) -> None:
        self.pack, self.rows = pack, PackRows(pack)

    def expected(self) -> int:
        held = self.rows.photo_count() + len(self.rows.board_keys)
        return held + len(self.rows.certificate_keys) + NOT_OF_PHOTOS_AND_BOARDS

    def parts(self, files: Files) -> Iterable[Part]:
        for photo in self.rows.photos():
            path = pack_tables.photo_path(photo)
            yield Part(path, partial(_write_photo, photo), is_deflated=False, may_be_missing=True)
        for board in self.rows.boards():
            if is_open(board):
                write = self._in_language(partial(self._write_sheet, board))
                yield Part(pack_dossier.sheet_path(board), write, may_be_missing=True)
        for certificate in self.rows.certificates():
            write = self._in_language(partial(self._write_certificate, certificate))
            path = pack_dossier.certificate_path(certificate.number)
            yield Part(path, write, may_be_missing=True)
        names: set[str] = set()
        for criteria_set in self.rows.criteria_sets():
            path = pack_dossier.criteria_path(criteria_set)
            yield Part(path, partial(_write_json, criteria_content, criteria_set))
            names |= pack_drawings.shown_by(criteria_set)
        for drawing in pack_drawings.files_of(names):
            yield Part(drawing.path, partial(_write_bytes, partial(bytes, drawing.content)))
        for revision in self.rows.scheme_revisions():
            path = pack_dossier.scheme_path(revision)
            yield Part(path, partial(_write_json, scheme_content, revision))
        for table in pack_tables.TABLES:
            yield Part(table.path, partial(table.write, self.rows, files))
        yield Part(pack_tables.DESCRIPTION, partial(_write_bytes, pack_tables.description))
        yield Part(QUESTION, self._write_question)
        yield Part(TRAIL, self._write_trail)
        yield Part(SIGNATURES, self._write_signatures)
        yield from self._tag_files(files)

    def _tag_files(self, files: Files) -> Iterable[Part]:
        def index() -> bytes:
            return pack_dossier.index_page(self.rows, files())

        yield Part(pack_dossier.INDEX, self._in_language(partial(_write_bytes, index)))
        yield Part(pack_dossier.STYLESHEET, partial(_write_bytes, pack_dossier.styles))
        yield Part(VERIFIER, partial(_write_bytes, verifier))
        yield Part("bagit.txt", partial(_write_bytes, DECLARATION.encode))
        yield Part("bag-info.txt", partial(_write_bytes, lambda: self._bag_info(files())))
        yield Part(MANIFEST, partial(_write_manifest, files, True))
        yield Part(TAG_MANIFEST, partial(_write_manifest, files, False))

    def _in_language(self, write: Callable[[IO[bytes]], None]) -> Callable[[IO[bytes]], None]:
        """Whoever asked for the pack reads it, whatever language the worker has."""

        def written(target: IO[bytes]) -> None:
            with translation.override(self.pack.language):
                write(target)

        return written

    def _write_sheet(self, board: Board, target: IO[bytes]) -> None:
        try:
            sheet = result_sheet(board, user=self.pack.asked_by, at=self.rows.at)
            target.write(result_pdf(sheet))
        except NothingToPrint as error:
            raise NothingToWrite(str(error)) from error

    def _write_certificate(self, certificate: Certificate, target: IO[bytes]) -> None:
        try:
            code = public_codes.code_of(certificate)
            target.write(certificate_pdf(certificate, code=code, at=self.rows.at))
        except CertificationError as error:
            raise NothingToWrite(str(error)) from error

    def _write_question(self, target: IO[bytes]) -> None:
        head = self.pack.head
        content = {
            "pack": self.pack.number,
            "asked_at": self.pack.recorded_at,
            "as_of": self.rows.at,
            "asked_by": self.pack.asked_by.get_username(),
            "about": str(self.pack.about),
            "certificate": self.pack.certificate.number if self.pack.certificate else None,
            "person": self.pack.person.employee_number if self.pack.person else None,
            "board": self.pack.board.number if self.pack.board else None,
            "scopes": sorted(self.pack.scopes.values_list("code", flat=True)),
            "first_day": self.pack.first_day,
            "last_day": self.pack.last_day,
            "known_at": self.pack.known_at,
            "sites": sorted(self.pack.sites.values_list("prefix", flat=True)),
            "head": {"number": head.number, "hash": head.entry_hash} if head else None,
        }
        target.write(f"{canonical_text(content)}\n".encode())

    def _write_trail(self, target: IO[bytes]) -> None:
        """Every entry from the first that matters here to the head.

        What other entries say in full stays away: their digests alone prove that nothing between
        was changed.
        """
        for entries in self.rows.entries():
            told = self.rows.told_in(entries)
            for entry in entries:
                content = entry_content(entry, in_full=entry.number in told)
                target.write(f"{canonical_text(content)}\n".encode())

    def _write_signatures(self, target: IO[bytes]) -> None:
        for signature in self.rows.signatures():
            target.write(f"{canonical_text(signature_content(signature))}\n".encode())

    def _bag_info(self, files: Iterable[FileInBag]) -> bytes:
        size = count = 0
        for file in files:
            if file.is_payload:
                size, count = size + file.size_bytes, count + 1
        return bag_info(
            [
                ("Source-Organization", Installation.current().organisation),
                ("External-Identifier", self.pack.number),
                ("Bagging-Date", self.pack.site.today(self.rows.at).isoformat()),
                ("Payload-Oxum", f"{size}.{count}"),
                ("Bag-Software-Agent", "Jointworthy"),
            ]
        ).encode()


def entry_content(entry: TrailEntry, *, in_full: bool) -> dict[str, Any]:
    """An entry as `records.domain.chain` hashes it, with its hash; in full also what it says."""
    link = entry.as_link()
    content: dict[str, Any] = {
        "entry": {
            "n": link.number,
            "previous": link.previous,
            "recorded_at": instant_text(link.recorded_at),
            "actor": {"id": link.actor_id, "label": link.actor_label},
            "act": link.act,
            "about_type": link.about_type,
            "about_id": link.about_id,
            "digest": link.digest,
        },
        "hash": entry.entry_hash,
    }
    if in_full and entry.payload.erased_at is None:
        content |= {"salt": entry.payload.salt, "payload": entry.payload.body}
    return content


def signature_content(signature: Signature) -> dict[str, Any]:
    return {
        "number": signature.pk,
        "entry": signature.entry_id,
        "printed_name": signature.printed_name,
        "signed_at": instant_text(signature.signed_at),
        "zone": signature.zone,
        "meaning": signature.meaning,
        "about_type": signature.about_type,
        "about_id": signature.about_id,
        "proof": str(signature.proof),
        "content": signature.content,
        "content_sha256": signature.content_sha256,
    }


def criteria_content(criteria_set: CriteriaSet) -> dict[str, Any]:
    """A criteria set complete, with where the drawings lie that pages show beside it."""
    criteria = [
        model_to_dict(criterion, exclude=["id", "criteria_set", "confirmed_by", "changed_by"])
        | {
            "confirmed_at": criterion.confirmed_at,
            "drawings_shown": {
                "accept": accept_shown(criterion),
                "reject": rejects_shown(criterion),
            },
        }
        for criterion in criteria_set.criteria.order_by("order")
    ]
    for criterion in criteria:
        criterion.pop("also_confirmed_by", None)
    drawings = pack_drawings.files_of(pack_drawings.shown_by(criteria_set))
    return {
        "title": criteria_set.title,
        "revision": criteria_set.revision,
        "summary": criteria_set.summary,
        "document": criteria_set.document,
        "product_class": criteria_set.product_class,
        "published_at": criteria_set.published_at,
        "retired_at": criteria_set.retired_at,
        "criteria": criteria,
        "drawings": [
            {"name": each.name, "file": each.path, "sha256": each.sha256} for each in drawings
        ],
    }


def scheme_content(revision: SchemeRevision) -> dict[str, Any]:
    content = model_to_dict(
        revision, exclude=["id", "scheme", "scopes", "begun_from", "changed_by", "published_by"]
    )
    return content | {
        "scheme": revision.scheme.code,
        "title": revision.scheme.title,
        "scopes": sorted(revision.scopes.values_list("code", flat=True)),
        "requirements": [
            model_to_dict(each, exclude=["id", "revision", "scope"]) | {"scope": each.scope.code}
            for each in revision.requirements.select_related("scope").order_by("pk")
        ],
    }


def verifier() -> bytes:
    return (Path(__file__).parent / VERIFIER).read_bytes()


def _write_photo(photo: Photo, target: IO[bytes]) -> None:
    try:
        file = photo.original.open("rb")
    except FileNotFoundError as error:
        raise NothingToWrite(str(photo)) from error
    with file:
        while chunk := file.read(CHUNK_BYTES):
            target.write(chunk)


def _write_bytes(content: Callable[[], bytes], target: IO[bytes]) -> None:
    target.write(content())


def _write_json(content: Callable[[Any], dict[str, Any]], of: Any, target: IO[bytes]) -> None:
    text = json.dumps(
        content(of), cls=DjangoJSONEncoder, indent=1, ensure_ascii=False, sort_keys=True
    )
    target.write(f"{text}\n".encode())


def _write_manifest(files: Files, of_payload: bool, target: IO[bytes]) -> None:
    for file in files():
        if file.is_payload == of_payload:
            target.write(manifest_line(file).encode())

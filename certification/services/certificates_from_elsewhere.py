"""Certificates from another employer or a training centre, entered with their document."""

import hashlib
from collections.abc import Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from typing import Any, BinaryIO, cast

from django.core.files.base import ContentFile
from django.db import transaction
from django.utils.translation import gettext as _

from certification.domain import standing as engine
from certification.exceptions import CertificationError, MayNotCertify
from certification.models import (
    Certificate,
    CertificateDocument,
    CertificateEvent,
    SchemeRevision,
    Scope,
)
from certification.queries import standing_on_day, written_down
from people.models import Person, Role
from records.services import numbers, trail

from . import certificates, events, standing
from .acts import Act
from .locking import lock_person_and_scope

MOST_BYTES = 15 * 1024 * 1024
PAPER_ENDS = "The paper is good for a shorter time."

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


def check_document(document: Document) -> str:
    """The media type of a document that can be kept.

    Raises
    ------
    CertificationError
        If it is too large, empty, or neither PDF nor image.
    """
    if len(document.content) > MOST_BYTES:
        raise CertificationError(
            _("%(name)s has more than %(most)d MB: scan it at a lower resolution.")
            % {"name": document.name, "most": MOST_BYTES // 1024**2}
        )
    media_type = media_type_of(document.content)
    if not media_type:
        raise CertificationError(
            _(
                "%(name)s is neither a PDF nor a JPEG, PNG, TIFF, WebP or HEIC image: "
                "scan or photograph the paper."
            )
            % {"name": document.name}
        )
    return media_type


@dataclass(frozen=True)
class OutsideCertificate:
    """What a certificate from elsewhere says of itself."""

    issuer: str
    number: str
    issued_on: date
    document: Document
    ends_on: date | None = None


def enter_certificate_from_elsewhere(
    *,
    person: Person,
    scope: Scope,
    revision: SchemeRevision,
    paper: OutsideCertificate,
    act: Act,
    restriction: str = "",
) -> Certificate:
    """Enter a certificate that others issued, signed by whoever verified its document.

    It is good for as long as the scheme revision says, counted from the day on the paper;
    where the paper itself ends sooner, it ends then. It stands in place of boards and of
    nothing else: vision and practice are asked for as of any other.

    Raises
    ------
    MayNotCertify
        If the actor is not quality at the person's site, or is the person.
    CertificationError
        If the document or the days do not fit, or the paper was entered before.
    """
    paper = replace(paper, issuer=paper.issuer.strip(), number=paper.number.strip())
    kept: CertificateDocument | None = None
    try:
        with transaction.atomic():
            person, scope = lock_person_and_scope(person, scope)
            revision = SchemeRevision.objects.select_related("scheme").get(pk=revision.pk)
            _refuse_unless_it_fits(person, scope, revision, paper, act)
            certificates.refuse_to_drop_restriction(
                person, scope, person.site.today(act.at), restriction
            )
            kept = _kept(paper.document, check_document(paper.document), act)
            kept.save()
            return _write(person, scope, revision, paper, kept, restriction.strip(), act)
    except BaseException:
        if kept is not None:
            kept.file.storage.delete(str(kept.file.name))
        raise


def _refuse_unless_it_fits(
    person: Person,
    scope: Scope,
    revision: SchemeRevision,
    paper: OutsideCertificate,
    act: Act,
) -> None:
    if act.actor.person_id == person.pk:
        raise MayNotCertify(
            _("Nobody verifies their own certificate. Ask somebody else who is quality here.")
        )
    if not act.actor.has_role(Role.QUALITY, site=person.site_id):
        raise MayNotCertify(
            _("Certificates from elsewhere are entered by quality at %(site)s.")
            % {"site": person.site}
        )
    today = person.site.today(act.at)
    if not (paper.issuer and paper.number):
        raise CertificationError(_("Name who issued the paper, and the number on it."))
    if paper.issued_on > today:
        raise CertificationError(_("The paper cannot have been issued on a day to come."))
    if paper.ends_on is not None and paper.ends_on < paper.issued_on:
        raise CertificationError(_("The paper ends before it was issued: check both days."))
    if revision.published_at is None or not revision.scopes.filter(pk=scope.pk).exists():
        raise CertificationError(
            _("%(scheme)s is not published or does not cover %(scope)s.")
            % {"scheme": revision, "scope": scope}
        )
    twin = Certificate.objects.not_withdrawn().filter(
        person=person, scope=scope, issued_by=paper.issuer, outside_number=paper.number
    )
    if known := twin.first():
        raise CertificationError(
            _("This paper is entered already, as %(number)s.") % {"number": known.number}
        )
    certificates.refuse_while_stopped(person, scope, today)


def _write(
    person: Person,
    scope: Scope,
    revision: SchemeRevision,
    paper: OutsideCertificate,
    kept: CertificateDocument,
    restriction: str,
    act: Act,
) -> Certificate:
    last_day = engine.valid_through(standing_on_day.figures_of(revision), paper.issued_on)
    ends_on = paper.ends_on if paper.ends_on and paper.ends_on < last_day else None
    number = numbers.next_number(person.site.prefix, "C")
    # Before the signature, since the trail's lock comes last.
    event_id = numbers.next_number(person.site.prefix, "E") if ends_on else ""
    certificate = Certificate(
        number=number,
        person=person,
        scope=scope,
        scheme_revision=revision,
        issued_on=paper.issued_on,
        valid_through=last_day,
        restriction=restriction,
        origin=Certificate.Origin.ELSEWHERE,
        holder_name=person.full_name,
        figures=written_down.figures_as_json(revision),
        evidence=_evidence(paper, kept, act),
        issued_by=paper.issuer,
        document=kept,
        outside_number=paper.number,
        recorded_at=act.at,
    )
    ends = []
    if ends_on:
        end = CertificateEvent(
            event_id=event_id,
            certificate=certificate,
            kind=CertificateEvent.Kind.ENDED,
            effective_on=ends_on,
            reason=PAPER_ENDS,
            recorded_at=act.at,
        )
        ends.append(end)
    about = ("certificate", number)
    certificate.signature = act.sign(
        person,
        meaning=written_down.VERIFIED,
        about=about,
        content=written_down.certificate_content(certificate, ends),
    )
    certificate.save(force_insert=True)
    events.save_under(certificate.signature, ends)
    trail.record(
        actor=act.actor,
        act="certificate from elsewhere entered",
        about=about,
        payload={
            "person": person.employee_number,
            "scope": scope.code,
            "issued_on": paper.issued_on,
            "issuer": paper.issuer,
            "number": paper.number,
            "document": kept.sha256,
            "ends_on": paper.ends_on,
        },
        at=act.at,
    )
    standing.rebuild_spans(person, scope)
    return certificate


def _evidence(paper: OutsideCertificate, kept: CertificateDocument, act: Act) -> dict[str, Any]:
    return {
        "elsewhere": {
            "issuer": paper.issuer,
            "number": paper.number,
            "document": kept.original_name,
            "sha256": kept.sha256,
            "verified_by": act.actor.get_full_name(),
            "ends_on": paper.ends_on.isoformat() if paper.ends_on else None,
        }
    }


def _kept(document: Document, media_type: str, act: Act) -> CertificateDocument:
    """Store the file; the row that names it is still to be saved."""
    kept = CertificateDocument(
        original_name=document.name[-200:],
        media_type=media_type,
        size_bytes=len(document.content),
        sha256=hashlib.sha256(document.content).hexdigest(),
        added_by=act.actor,
        recorded_at=act.at,
    )
    kept.file.save(document.name, ContentFile(document.content), save=False)
    return kept


def documents_to_verify() -> Iterator[tuple[str, partial[AbstractContextManager[BinaryIO]], str]]:
    """Every document kept, for the check of the records' files."""
    for document in CertificateDocument.objects.iterator():
        opener: Any = partial(document.file.storage.open, str(document.file.name), "rb")
        yield (
            f"certificate document {document.pk} ({document.original_name})",
            cast("partial[AbstractContextManager[BinaryIO]]", opener),
            document.sha256,
        )

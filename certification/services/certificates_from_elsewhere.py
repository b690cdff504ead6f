"""Certificates from another employer or a training centre, entered with their document."""

from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from typing import Any, BinaryIO

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
from certification.queries.standing_if_entered import IfEntered, if_entered
from people.models import Person, Role
from records.services import documents, numbers, trail
from records.services.documents import Document
from training.models import PracticeRecord
from training.services.facts import record_practice

from . import certificates, events, standing
from .acts import Act
from .locking import lock_person_and_scope

PAPER_ENDS = "The paper is good for a shorter time."


@dataclass(frozen=True)
class OutsideCertificate:
    """What a certificate from elsewhere says of itself, and what is vouched for beside it.

    ``work`` are days on which the holder has done this work since it was issued, by which it was
    kept alive elsewhere; ``work_reference`` is what says so, such as a letter of the employer.
    """

    issuer: str
    number: str
    issued_on: date
    document: Document
    ends_on: date | None = None
    work: tuple[date, ...] = ()
    work_reference: str = ""

    def stripped(self) -> "OutsideCertificate":
        """The same without spaces around what was typed, each day of work once."""
        return replace(
            self,
            issuer=self.issuer.strip(),
            number=self.number.strip(),
            work=tuple(sorted(set(self.work))),
            work_reference=self.work_reference.strip(),
        )


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
    nothing else: vision and practice are asked for as of any other. Work that it was kept alive
    by elsewhere is recorded as practice in the same act, and stands under the same signature.

    Raises
    ------
    ShownOtherwise
        If the certificate, or the standing that it gives, is not what the page showed.
    MayNotCertify
        If the actor is not quality at the person's site, or is the person.
    CertificationError
        If the document or the days do not fit, or the paper was entered before.
    """
    paper = paper.stripped()
    kept: CertificateDocument | None = None
    try:
        with transaction.atomic():
            person, scope = lock_person_and_scope(person, scope)
            revision = SchemeRevision.objects.select_related("scheme").get(pk=revision.pk)
            shown = standing_to_come(
                person=person,
                scope=scope,
                revision=revision,
                paper=paper,
                act=act,
                restriction=restriction,
            )
            act.refuse_unless_shown(shown.to_sign())
            kept = _kept(paper.document, act)
            kept.save()
            certificate = _write(shown.certificate, shown.ends, kept, act)
            _record_work(certificate, paper, act)
            return certificate
    except BaseException:
        if kept is not None:
            kept.file.storage.delete(str(kept.file.name))
        raise


def standing_to_come(
    *,
    person: Person,
    scope: Scope,
    revision: SchemeRevision,
    paper: OutsideCertificate,
    act: Act,
    restriction: str = "",
) -> IfEntered:
    """The standing that it would give, were it entered now; nothing is written.

    The document and the proof are not looked at.

    Raises
    ------
    MayNotCertify, CertificationError
        As `enter_certificate_from_elsewhere` would.
    """
    paper, today = paper.stripped(), person.site.today(act.at)
    _refuse_unless_it_fits(person, scope, revision, paper, act)
    certificates.refuse_to_drop_restriction(person, scope, today, restriction)
    last_day = engine.valid_through(standing_on_day.figures_of(revision), paper.issued_on)
    certificate = Certificate(
        person=person,
        scope=scope,
        scheme_revision=revision,
        issued_on=paper.issued_on,
        valid_through=last_day,
        restriction=restriction.strip(),
        origin=Certificate.Origin.ELSEWHERE,
        holder_name=person.full_name,
        figures=written_down.figures_as_json(revision),
        evidence=_evidence(paper, act),
        issued_by=paper.issuer,
        outside_number=paper.number,
    )
    ends = []
    if paper.ends_on and paper.ends_on < last_day:
        end = CertificateEvent(
            certificate=certificate,
            kind=CertificateEvent.Kind.ENDED,
            effective_on=paper.ends_on,
            reason=PAPER_ENDS,
        )
        ends.append(end)
    return if_entered(certificate, ends, paper.work, today)


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
    _refuse_work(paper, today)
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


def _refuse_work(paper: OutsideCertificate, today: date) -> None:
    """Days that cannot have kept this certificate alive are a slip of whoever typed them."""
    if any(day > today for day in paper.work):
        raise CertificationError(_("Work cannot have been done on a day to come."))
    if any(day < paper.issued_on for day in paper.work):
        raise CertificationError(
            _("Work before the paper was issued keeps nothing alive: leave those days out.")
        )
    if paper.work and not paper.work_reference:
        raise CertificationError(_("Say what shows the work, such as a letter of the employer."))


def _write(
    certificate: Certificate,
    ends: Sequence[CertificateEvent],
    kept: CertificateDocument,
    act: Act,
) -> Certificate:
    person, scope = certificate.person, certificate.scope
    number = certificate.number = numbers.next_number(person.site.prefix, "C")
    certificate.recorded_at = act.at
    certificate.document = kept
    certificate.evidence["elsewhere"] |= {"document": kept.original_name, "sha256": kept.sha256}
    for end in ends:
        # Before the signature, since the trail's lock comes last.
        end.event_id = numbers.next_number(person.site.prefix, "E")
        end.recorded_at = act.at
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
            "issued_on": certificate.issued_on,
            "issuer": certificate.issued_by,
            "number": certificate.outside_number,
            "document": kept.sha256,
            "ends_on": next((end.effective_on for end in ends), None),
        },
        at=act.at,
    )
    standing.rebuild_spans(person, scope)
    return certificate


def _record_work(certificate: Certificate, paper: OutsideCertificate, act: Act) -> None:
    """Write the work down as practice, but for days of which it is recorded already."""
    person, code = certificate.person, certificate.scope.code
    known = PracticeRecord.objects.not_withdrawn().filter(person=person, scope_code=code)
    recorded = set(known.values_list("performed_on", flat=True))
    for day in paper.work:
        if day not in recorded:
            record_practice(
                person=person,
                scope_code=code,
                performed_on=day,
                reference=paper.work_reference,
                actor=act.actor,
                at=act.at,
            )


def _evidence(paper: OutsideCertificate, act: Act) -> dict[str, Any]:
    """What it stands on; the document is named once it is kept."""
    work = {
        "work": {
            "days": [day.isoformat() for day in paper.work],
            "reference": paper.work_reference,
        }
    }
    return {
        "elsewhere": {
            "issuer": paper.issuer,
            "number": paper.number,
            "document": "",
            "sha256": "",
            "verified_by": act.actor.get_full_name(),
            "ends_on": paper.ends_on.isoformat() if paper.ends_on else None,
            **(work if paper.work else {}),
        }
    }


def _kept(document: Document, act: Act) -> CertificateDocument:
    """Store the file; the row that names it is still to be saved."""
    kept = CertificateDocument(
        media_type=documents.check_document(document, CertificationError),
        added_by=act.actor,
        recorded_at=act.at,
    )
    documents.store_document(kept, document)
    return kept


def documents_to_verify() -> Iterator[tuple[str, partial[AbstractContextManager[BinaryIO]], str]]:
    """Every document kept, for the check of the records' files."""
    return documents.documents_to_verify(CertificateDocument.objects.all(), "certificate document")

"""What the trail and signatures say of certificates: made here, and rebuilt here."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from django.db.models import F

from certification.models import (
    Certificate,
    CertificateDocument,
    CertificateEvent,
    CertificateName,
    CertificateWithdrawal,
    Proposal,
)
from people.queries.employee_numbers import rebuilt_with_person
from records.queries import rebuilding
from records.queries.rebuilding import Content, KeptTable, Part, Written

from .schemes_written_down import figures_as_json, scope_as_json, with_title_as_written

Kind = CertificateEvent.Kind

CERTIFIES = "certifies competence for this scope"
# Of a certificate that took another's place, restricted, as restricting was written down before
# it became an event of its own.
RESTRICTS = "restricts certification for this scope"
VERIFIED = "verified the document of a certificate from elsewhere"
PROPOSES = "proposes certification"
WITHDRAWS = "withdraws a certificate entered in error"
ISSUES_AGAIN = "issues the certificates named again under this name"
EVENT_MEANINGS = {
    Kind.SUSPENDED: "suspends the certificates named",
    Kind.REINSTATED: "reinstates the certificates named",
    Kind.REVOKED: "revokes the certificates named",
    Kind.ENDED: "ends the certificates named",
    Kind.EXTENDED: "extends the certificate named",
    Kind.RESTRICTED: "restricts the certificates named",
    Kind.UNRESTRICTED: "lifts the restriction of the certificates named",
    Kind.VOIDED: "removes events entered in error",
}
CERTIFICATE_MEANINGS = (CERTIFIES, RESTRICTS, VERIFIED)

IMPORTED = "certificate imported"
EVENT_IMPORTED = "certificate event imported"
WITHDRAWAL_IMPORTED = "certificate withdrawal imported"
PROPOSED = "certification proposed"


# "certificate restricted" is what the trail calls a certificate under `RESTRICTS`.
ACTS_OF_EVENTS = {
    Kind.RESTRICTED: "restriction placed",
    Kind.UNRESTRICTED: "restriction lifted",
    Kind.VOIDED: "certificate event voided",
}


def act_of_event(kind: str) -> str:
    """What the trail calls an event that somebody brought about."""
    return ACTS_OF_EVENTS.get(Kind(kind), f"certificate {Kind(kind).value}")


def event_content(event: CertificateEvent) -> dict[str, Any]:
    """An event's row; a restriction stands in it where there is one."""
    restriction = {"restriction": event.restriction} if event.restriction else {}
    return {
        "event": event.event_id,
        "certificate": event.certificate.number,
        "kind": str(event.kind),
        "effective_on": event.effective_on,
        "until": event.until,
        "authority": event.authority,
        **restriction,
        "reason": event.reason,
        "voids": event.voids.event_id if event.voids else "",
        "recorded_at": event.recorded_at,
    }


def certificate_content(
    certificate: Certificate, events: Iterable[CertificateEvent] = ()
) -> dict[str, Any]:
    """All of a certificate's row, and the events that are part of it."""
    document = certificate.document
    return {
        "certificate": certificate.number,
        "person": certificate.person.employee_number,
        "person_id": certificate.person_id,
        "name": certificate.holder_name,
        "scope": scope_as_json(certificate.scope),
        "scheme_revision": certificate.scheme_revision_id,
        "figures": certificate.figures,
        "issued_on": certificate.issued_on,
        "valid_through": certificate.valid_through,
        "renews": certificate.renews.number if certificate.renews else "",
        "restriction": certificate.restriction,
        "origin": str(certificate.origin),
        "evidence": certificate.evidence,
        "issued_by": certificate.issued_by,
        "issuer_certificate": certificate.issuer_certificate,
        "outside_number": certificate.outside_number,
        "document": document and _document_content(document),
        "recorded_at": certificate.recorded_at,
        "events": _lines(events),
    }


def _document_content(document: CertificateDocument) -> dict[str, Any]:
    return {
        "file": str(document.file.name),
        "name": document.original_name,
        "media_type": document.media_type,
        "size_bytes": document.size_bytes,
        "sha256": document.sha256,
        "added_by": document.added_by_id,
        "recorded_at": document.recorded_at,
    }


def _lines(events: Iterable[CertificateEvent]) -> list[dict[str, Any]]:
    return [event_content(event) for event in sorted(events, key=lambda event: event.event_id)]


def restriction_content(
    certificate: Certificate, events: Sequence[CertificateEvent]
) -> dict[str, Any]:
    """A certificate that takes another's place, restricted, and what its events do to others."""
    restricts = certificate.evidence["restricts"]
    return {
        **certificate_content(certificate, events),
        "restricts": restricts["certificate"],
        "reason": restricts["reason"],
        "good_through": certificate.valid_through,
        "ends_the_day_before": sorted(
            event.certificate.number
            for event in events
            if event.certificate.number != certificate.number
        ),
    }


def events_content(events: Sequence[CertificateEvent]) -> dict[str, Any]:
    """Events of one act on somebody's certificates for a scope."""
    certificate = events[0].certificate
    return {
        "person": certificate.person.employee_number,
        "person_id": certificate.person_id,
        "scope": certificate.scope.code,
        "events": _lines(events),
    }


def issued_again_content(rows: Sequence[CertificateName]) -> dict[str, Any]:
    """The certificates of one act that bear another name since."""
    first, person = rows[0], rows[0].certificate.person
    return {
        "person": person.employee_number,
        "person_id": person.pk,
        "name": first.name,
        "from_day": first.from_day,
        "reason": first.reason,
        "recorded_at": first.recorded_at,
        "certificates": sorted(row.certificate.number for row in rows),
    }


def names_to_sign(rows: Sequence[CertificateName]) -> dict[str, Any]:
    """What their signature would cover, but for its instant and what its signer types."""
    typed = {"reason": "", "recorded_at": None}
    return {**issued_again_content(rows), **typed} if rows else {}


def withdrawal_content(
    withdrawal: CertificateWithdrawal, voiding: Sequence[CertificateEvent] = ()
) -> dict[str, Any]:
    """A withdrawal, and the events by which it takes back what had made way."""
    removes = {"removes": sorted(event.voids.event_id for event in voiding if event.voids)}
    return {
        "certificate": withdrawal.certificate.number,
        "reason": withdrawal.reason,
        "withdrawn_at": withdrawal.withdrawn_at,
        **(removes if voiding else {}),
        "events": _lines(voiding),
    }


def proposal_content(proposal: Proposal) -> dict[str, Any]:
    """What a proposal's row holds before it is decided."""
    return {
        "person": proposal.person.employee_number,
        "person_id": proposal.person_id,
        "scope": scope_as_json(proposal.scope),
        "figures": figures_as_json(proposal.scheme_revision),
        "renews": proposal.renews.number if proposal.renews else "",
        "restriction": proposal.restriction,
        "note": proposal.note,
        "evidence": proposal.evidence,
        "recorded_at": proposal.recorded_at,
    }


def proposal_to_sign(proposal: Proposal) -> dict[str, Any]:
    """What a proposal's signature would cover, but for its instant and what its signer types."""
    typed = {"restriction": "", "note": "", "recorded_at": None}
    return {"name": proposal.person.full_name, **proposal_content(proposal), **typed}


def certificate_to_sign(certificate: Certificate) -> dict[str, Any]:
    """The same of a certificate, which has no number yet."""
    typed = {"certificate": "", "restriction": "", "recorded_at": None}
    return {**certificate_content(certificate), **typed}


def certificates_to_act_on(person_id: int, scope_id: int) -> dict[str, Any]:
    """All that stands of somebody's certificates for a scope, before somebody acts on them.

    Which of them an act touches follows from this and from the day that its signer types.
    """
    certificates = CERTIFICATES.filter(person=person_id, scope=scope_id).order_by("number")
    events: dict[int, list[CertificateEvent]] = defaultdict(list)
    for event in EVENTS.filter(certificate__person=person_id, certificate__scope=scope_id):
        events[event.certificate_id].append(event)
    withdrawn = WITHDRAWALS.filter(certificate__person=person_id, certificate__scope=scope_id)
    return {
        "certificates": [
            certificate_content(certificate, events[certificate.pk]) for certificate in certificates
        ],
        "withdrawn": sorted(withdrawal.certificate.number for withdrawal in withdrawn),
    }


def proposed_content(proposal: Proposal) -> dict[str, Any]:
    """What the trail says of a proposal."""
    return {
        "person": proposal.person.employee_number,
        "scope": proposal.scope.code,
        "scheme": proposal.scheme_revision.name,
        "signature": proposal.signature.content_sha256,
    }


# Rebuilding

CERTIFICATES = Certificate.objects.select_related("person", "scope", "renews", "document")
EVENTS = CertificateEvent.objects.select_related(
    "certificate__person", "certificate__scope", "voids"
)
WITHDRAWALS = CertificateWithdrawal.objects.select_related("certificate")
PROPOSALS = Proposal.objects.select_related(
    "person", "scope", "scheme_revision__scheme", "renews", "signature"
)


def _events_signed(written: Sequence[Written]) -> Mapping[int, list[CertificateEvent]]:
    events: dict[int, list[CertificateEvent]] = defaultdict(list)
    for event in EVENTS.filter(signature__in=[signature.number for signature in written]):
        events[event.signature_id or 0].append(event)
    return events


def _signed_certificates(written: Sequence[Written]) -> dict[int, Content]:
    events = _events_signed(written)
    restricts = {signature.number for signature in written if signature.act == RESTRICTS}

    def content_of(certificate: Certificate) -> dict[str, Any]:
        number = certificate.signature_id or 0
        content = restriction_content if number in restricts else certificate_content
        return content(certificate, events[number])

    rows = rebuilding.rows_signed(CERTIFICATES, written)
    return with_title_as_written(written, rebuilt_with_person(written, rows, content_of))


def _signed_events(written: Sequence[Written]) -> dict[int, Content]:
    return rebuilt_with_person(
        written,
        _events_signed(written),
        events_content,
        lambda events: events[0].certificate.person_id,
    )


def _signed_names(written: Sequence[Written]) -> dict[int, Content]:
    rows: dict[int, list[CertificateName]] = defaultdict(list)
    names = CertificateName.objects.select_related("certificate__person")
    for row in names.filter(signature__in=[signature.number for signature in written]):
        rows[row.signature_id].append(row)
    return rebuilt_with_person(
        written,
        rows,
        issued_again_content,
        lambda signed: signed[0].certificate.person_id,
    )


def _signed_withdrawals(written: Sequence[Written]) -> dict[int, Content]:
    events = _events_signed(written)
    return {
        number: withdrawal_content(withdrawal, events[number])
        for number, withdrawal in rebuilding.rows_signed(WITHDRAWALS, written).items()
    }


def _signed_proposals(written: Sequence[Written]) -> dict[int, Content]:
    rows = rebuilding.rows_signed(PROPOSALS, written)
    return with_title_as_written(written, rebuilt_with_person(written, rows, proposal_content))


def _events_of_acts(written: Sequence[Written]) -> dict[int, Content]:
    """An entry about a certificate names the event that is meant in its details."""
    rows = EVENTS.in_bulk(
        [str(entry.says("event")) for entry in written if entry.says("event")],
        field_name="event_id",
    )
    rebuilt: dict[int, Content] = {}
    for entry in written:
        if entry.content is None:
            rebuilt[entry.number] = {}  # Which event was meant went with the details.
        elif (event := rows.get(str(entry.says("event")))) is not None:
            rebuilt[entry.number] = event_content(event)
    return rebuilt


def _by_number(
    rows: Any, key: str, content_of: Callable[[Any], dict[str, Any]]
) -> Callable[[Sequence[Written]], dict[int, Content]]:
    return lambda written: {
        number: content_of(row)
        for number, row in rebuilding.rows_by_number(rows, written, key).items()
    }


def _imported(written: Sequence[Written]) -> dict[int, Content]:
    rows = rebuilding.rows_by_number(CERTIFICATES, written, "number")
    return with_title_as_written(written, rebuilt_with_person(written, rows, certificate_content))


def _proposed(written: Sequence[Written]) -> dict[int, Content]:
    return rebuilt_with_person(
        written, rebuilding.rows_by_number(PROPOSALS, written), proposed_content
    )


def register() -> None:
    """Have certificates compared with what was written down of them."""
    certificates, events = Certificate._meta.db_table, CertificateEvent._meta.db_table
    withdrawals, proposals = CertificateWithdrawal._meta.db_table, Proposal._meta.db_table
    event_lines = Part(events, ("event",))
    rebuilding.register_signatures(
        CERTIFICATE_MEANINGS, certificates, _signed_certificates, events=event_lines
    )
    rebuilding.register_signatures(
        EVENT_MEANINGS.values(), events, _signed_events, events=event_lines
    )
    rebuilding.register_signatures(
        [WITHDRAWS], withdrawals, _signed_withdrawals, events=event_lines
    )
    rebuilding.register_signatures([ISSUES_AGAIN], CertificateName._meta.db_table, _signed_names)
    rebuilding.register_table(
        KeptTable(CertificateName, "certificate-name", meanings=(ISSUES_AGAIN,))
    )
    rebuilding.register_signatures([PROPOSES], proposals, _signed_proposals)
    rebuilding.register_entries([IMPORTED], certificates, _imported)
    rebuilding.register_entries(
        [EVENT_IMPORTED], events, _by_number(EVENTS, "event_id", event_content)
    )
    rebuilding.register_entries(map(act_of_event, Kind.values), events, _events_of_acts)
    rebuilding.register_entries(
        [WITHDRAWAL_IMPORTED],
        withdrawals,
        _by_number(
            WITHDRAWALS.annotate(number=F("certificate__number")), "number", withdrawal_content
        ),
    )
    rebuilding.register_entries([PROPOSED], proposals, _proposed)
    event_meanings = (*EVENT_MEANINGS.values(), WITHDRAWS, *CERTIFICATE_MEANINGS)
    for kept in (
        KeptTable(
            Certificate,
            "certificate",
            "number",
            (IMPORTED,),
            CERTIFICATE_MEANINGS,
            content_of=certificate_content,
        ),
        KeptTable(
            CertificateEvent,
            "certificate-event",
            "event_id",
            (EVENT_IMPORTED,),
            event_meanings,
            content_of=event_content,
        ),
        KeptTable(
            CertificateWithdrawal,
            "certificate",
            "certificate__number",
            (WITHDRAWAL_IMPORTED,),
            (WITHDRAWS,),
            content_of=withdrawal_content,
        ),
        KeptTable(Proposal, meanings=(PROPOSES,)),
    ):
        rebuilding.register_table(kept)

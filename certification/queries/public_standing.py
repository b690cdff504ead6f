"""How certificates stand as anybody may know, and which bits of a status list that sets."""

from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Exists, OuterRef

from certification.domain.answers import Standing
from certification.domain.public_standing import PublicStanding, public_standing
from certification.models import (
    Certificate,
    CertificateEvent,
    CertificateName,
    Credential,
    StandingSpan,
)
from people.models import Site

from . import standing_on_day


def standing_of(certificate: Certificate, at: datetime) -> PublicStanding:
    """How a certificate stands on the day that it is at its holder's site."""
    facts = standing_on_day.facts_for(certificate.person, certificate.scope)
    return public_standing(facts, certificate.number, certificate.person.site.today(at))


@dataclass(frozen=True)
class SetBits:
    """Indexes of a status list whose bit is set, by purpose.

    ``revocation`` is for ever: the certificate was revoked or withdrawn, or the key lost.
    ``suspension`` may end: today the certificate does not stand, or no longer under the name or
    with the restriction that the credential gives.
    """

    revocation: list[int]
    suspension: list[int]


def set_bits(status_list: int, at: datetime) -> SetBits | None:
    """What is set in a list; None where there is no such list.

    Takes a handful of queries a site, however many credentials there are.
    """
    credentials = Credential.objects.filter(status_list=status_list)
    rows = list(
        credentials.order_by().values_list(
            "status_index",
            "certificate_id",
            "certificate__person__site_id",
            "certificate__holder_name",
            "certificate__withdrawal",
            "name",
            "restriction",
            "key__lost_at",
        )
    )
    if not rows:
        return None
    sites = Site.objects.in_bulk({row[2] for row in rows})
    revoked: set[int] = set()
    spans: dict[int, tuple[str, str]] = {}
    for site in sites.values():
        revoked |= _revoked(status_list, site, site.today(at))
        spans |= _spans(status_list, site, site.today(at))
    names = dict(
        CertificateName.objects.filter(certificate__credentials__status_list=status_list)
        .order_by("recorded_at", "pk")
        .values_list("certificate_id", "name")
    )
    bits = SetBits([], [])
    for index, certificate, _site, holder, withdrawal, name, restriction, lost in rows:
        if lost or withdrawal or certificate in revoked:
            bits.revocation.append(index)
        stands = spans.get(certificate) == (Standing.CERTIFIED, restriction)
        if not stands or names.get(certificate, holder) != name:
            bits.suspension.append(index)
    return bits


def _revoked(status_list: int, site: Site, today: date) -> set[int]:
    """Certificates that were revoked from today or an earlier day on."""
    voided = CertificateEvent.objects.filter(
        kind=CertificateEvent.Kind.VOIDED, voids=OuterRef("pk")
    )
    return set(
        CertificateEvent.objects.filter(
            ~Exists(voided),
            kind=CertificateEvent.Kind.REVOKED,
            effective_on__lte=today,
            certificate__person__site=site,
            certificate__credentials__status_list=status_list,
        ).values_list("certificate_id", flat=True)
    )


def _spans(status_list: int, site: Site, today: date) -> dict[int, tuple[str, str]]:
    """Standing and restriction of the list's certificates that answer today, by certificate.

    Where another certificate of the same person and scope answers, or none, it is not among them.
    """
    spans = StandingSpan.objects.on(today).filter(
        certificate__credentials__status_list=status_list, person__site=site
    )
    columns = ("certificate_id", "standing", "restriction")
    return {
        certificate: (standing, restriction)
        for certificate, standing, restriction in spans.order_by().values_list(*columns)
        if certificate is not None
    }

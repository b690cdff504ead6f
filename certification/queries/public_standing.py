"""How certificates stand as anybody may know, and which bits of a status list that sets."""

from datetime import date, datetime

from certification.domain.answers import Standing
from certification.domain.public_standing import PublicStanding, public_standing
from certification.models import (
    Certificate,
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


def set_bits(status_list: int, at: datetime) -> list[int] | None:
    """Indexes of a status list whose credential is not to be accepted; None without such a list.

    Its certificate does not stand today, or no longer under the name or with the restriction
    that the credential gives, or the key was lost. Takes a handful of queries a site, however
    many credentials there are.
    """
    credentials = Credential.objects.filter(status_list=status_list)
    rows = list(
        credentials.order_by().values_list(
            "status_index",
            "certificate_id",
            "certificate__person__site_id",
            "certificate__holder_name",
            "name",
            "restriction",
            "key__lost_at",
        )
    )
    if not rows:
        return None
    sites = Site.objects.in_bulk({row[2] for row in rows})
    spans: dict[int, tuple[str, str]] = {}
    for site in sites.values():
        spans |= _spans(status_list, site, site.today(at))
    names = dict(
        CertificateName.objects.filter(certificate__credentials__status_list=status_list)
        .order_by("recorded_at", "pk")
        .values_list("certificate_id", "name")
    )
    bits = []
    for index, certificate, _site, holder, name, restriction, lost in rows:
        stands = spans.get(certificate) == (Standing.CERTIFIED, restriction)
        is_named = names.get(certificate, holder) == name
        if lost or not stands or not is_named:
            bits.append(index)
    return bits


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

"""A certificate as a card for the wallet: a PDF the size of a bank card.

The same certificate printed at the same instant gives the same bytes, so a card can be made
again and compared. The end of the trail at that instant stands on it.
"""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.db.models import Subquery
from django.urls import reverse
from django.utils.translation import gettext as _

from certification.domain.answers import Standing
from certification.exceptions import NothingToPrint
from certification.models import Certificate, Scope, StandingSpan
from certification.queries import standing_on_day
from people.models import Installation, Person
from people.presenters import paper
from people.presenters.days import format_day, format_local_time
from records.queries.heads import printed_head

from .register import says_otherwise

SOURCE = Path(__file__).parent / "print" / "wallet_card.typ"


def wallet_card(certificate: Certificate, *, at: datetime) -> bytes:
    """Set a certificate that somebody is certified by today as a card, front and back.

    Raises
    ------
    NothingToPrint
        If today's standing is not that of this certificate: a card says that somebody may.
    """
    person, scope = certificate.person, certificate.scope
    today = person.site.today(at)
    facts = standing_on_day.facts_for(person, scope)
    answer = standing_on_day.answer_from(facts, today)
    is_in_force = answer.standing is Standing.CERTIFIED
    if not is_in_force or answer.certificate_number != certificate.number:
        raise NothingToPrint(
            _("%(name)s is not certified by %(number)s today, so there is no card to print.")
            % {"name": person.full_name, "number": certificate.number}
        )
    local = at.astimezone(person.site.zone)
    through = standing_on_day.histories_in(facts)[certificate.number].last_day
    until = _may_until(person, scope, today)
    ends_before = until is not None and until < through
    card = {
        "organisation": Installation.current().organisation,
        "site": person.site.name,
        "name": paper.name_or_notice(certificate.printed_name),
        "employee_number": person.employee_number,
        "scope": scope.title,
        "document": scope.document or "–",
        "restriction": answer.restriction,
        "number": certificate.number,
        "issued_on": format_day(certificate.issued_on),
        "until": format_day(until) if until is not None and ends_before else "",
        "through": format_day(through),
        "scheme": certificate.scheme_revision.name,
        "issued_by": certificate.issued_by or "–",
        "printed": f"{format_day(local.date())}, {format_local_time(local)}",
        "trail": printed_head(at),
        "printed_utc": list(at.astimezone(UTC).timetuple()[:6]),
        "address": settings.PUBLIC_URL + reverse("certification:bench_check"),
        "qr": paper.qr(certificate.number),
        "words": {
            "only": _("Only:"),
            "certificate": _("Certificate"),
            "issued": _("Issued"),
            "until": _("May work through"),
            "through": _("Certificate ends") if ends_before else _("Good through"),
            "document": _("Governing document"),
            "scheme": _("Scheme"),
            "issued_by": _("Issued by"),
            "keeps": _("It may have ended, or been suspended or revoked, since it was printed."),
            "printed": _("Printed"),
            "trail": _("Trail"),
            "check": _("Whether it stands today is answered at"),
        },
    }
    return paper.typeset(SOURCE, card, zone=person.site.time_zone)


def texts_on_card(certificate: Certificate, restriction: str) -> tuple[str, ...]:
    """What people typed and a card of this certificate says, while it allows this alone."""
    person, scope = certificate.person, certificate.scope
    return (
        certificate.printed_name,
        person.site.name,
        scope.title,
        scope.document,
        restriction,
        certificate.scheme_revision.name,
        certificate.issued_by,
    )


def _may_until(person: Person, scope: Scope, today: date) -> date | None:
    """The last day on which they may, if nothing is done before it; as the list for the wall says.

    Whoever is shown the card need not know what ends it then, so that is not said.
    """
    otherwise = says_otherwise().values("first_day")[:1]
    spans = StandingSpan.objects.on(today).filter(person=person, scope=scope)
    first = spans.annotate(otherwise_on=Subquery(otherwise)).values_list("otherwise_on", flat=True)
    day = first.first()
    return day and day - timedelta(days=1)

"""What a page shows of what will be signed about somebody's certificates, line by line."""

from collections.abc import Sequence
from datetime import date, datetime

from django.utils.translation import gettext as _

from certification.models import Certificate, CertificateEvent, Proposal, SchemeRevision, Scope
from certification.queries import standing_on_day, written_down
from certification.queries.requirements import Requirement
from certification.services import certificates, names
from certification.services.proposals import proposal_to_make
from people.models import Person, User
from people.presenters.days import format_day, format_short_instant
from records.domain.shown import Line, Shown, digest_of


def proposal_shown(
    person: Person,
    scope: Scope,
    revision: SchemeRevision,
    checked: Sequence[Requirement],
    at: datetime,
) -> Shown:
    """What is shown to whoever proposes somebody.

    Parameters
    ----------
    checked : sequence of Requirement
        What is asked for on the person's day at that instant.
    """
    day = person.site.today(at)
    proposal = proposal_to_make(person, scope, revision, checked, day)
    period = certificates.period_if_issued(person, scope, revision, day)
    lines = _of_person(person, scope, revision) | _of_requirements(checked, proposal.evidence)
    lines |= _of_period(period.valid_through, proposal.renews)
    return Shown(digest_of(written_down.proposal_to_sign(proposal)), at, lines)


def issuing_shown(
    proposal: Proposal, issuer: User, checked: Sequence[Requirement], at: datetime
) -> Shown:
    """What is shown to whoever issues the certificate that was proposed."""
    day = proposal.person.site.today(at)
    certificate = certificates.certificate_to_issue(proposal, issuer, checked, day)
    lines = _of_person(proposal.person, proposal.scope, proposal.scheme_revision)
    lines |= _of_requirements(checked, certificate.evidence)
    lines |= _first_day(certificate.issued_on)
    lines |= _of_period(certificate.valid_through, certificate.renews)
    lines |= {_("Your own certificate"): Line(certificate.issuer_certificate or _("none"))}
    return Shown(digest_of(written_down.certificate_to_sign(certificate)), at, lines)


def certificates_shown(person: Person, scope: Scope, at: datetime) -> Shown:
    """What is shown to whoever acts on somebody's certificates for a scope."""
    content = written_down.certificates_to_act_on(person.pk, scope.pk)
    histories = standing_on_day.histories_of(person, scope)
    lines: dict[str, Line] = {}
    rows = Certificate.objects.filter(person=person, scope=scope).order_by("number")
    for certificate in rows.select_related("withdrawal"):
        history = histories.get(certificate.number)
        says = (
            _("good through %(day)s") % {"day": format_day(history.last_day)}
            if history
            else _("withdrawn")
        )
        only = certificate.restriction and _("only %(restriction)s") % {
            "restriction": certificate.restriction
        }
        lines[certificate.number] = Line(", ".join(filter(None, (says, only))))
    events = CertificateEvent.objects.filter(certificate__person=person, certificate__scope=scope)
    for event in events.select_related("certificate", "voids").order_by("recorded_at", "event_id"):
        lines[f"{event.certificate.number}, {event.event_id}"] = Line(
            _event(event), format_short_instant(event.recorded_at, person.site.time_zone)
        )
    return Shown(digest_of(content), at, lines)


def issuing_again_shown(person: Person, at: datetime) -> Shown:
    """What is shown to whoever issues certificates again under the name their holder has now."""
    rows = names.rows_to_sign(person, person.site.today(at))
    lines = {
        row.certificate.number: Line(
            _("%(scope)s: bears %(before)s, will bear %(after)s")
            % {
                "scope": row.certificate.scope.title,
                "before": row.certificate.printed_name,
                "after": row.name,
            }
        )
        for row in rows
    }
    return Shown(digest_of(written_down.names_to_sign(rows)), at, lines)


def _event(event: CertificateEvent) -> str:
    words = [
        event.get_kind_display(),
        event.voids.event_id if event.voids else "",
        format_day(event.effective_on),
        event.restriction and _("only %(restriction)s") % {"restriction": event.restriction},
        event.until and _("through %(day)s") % {"day": format_day(event.until)},
        event.reason,
    ]
    return ", ".join(str(word) for word in words if word)


def _of_person(person: Person, scope: Scope, revision: SchemeRevision) -> dict[str, Line]:
    return {
        _("Name"): Line(person.full_name),
        _("Employee number"): Line(person.employee_number),
        _("Scope"): Line(str(scope)),
        _("Scheme"): Line(str(revision)),
    }


def _of_requirements(checked: Sequence[Requirement], evidence: dict) -> dict[str, Line]:
    asked = {each.text: Line(f"{_met(each)}: {each.detail}") for each in checked}
    boards = {
        board["number"]: Line(
            _("%(title)s, judged on %(day)s, %(rejected)s of %(joints)s joints rejected")
            % {**board, "day": format_day(date.fromisoformat(board["judged_on"]))}
        )
        for board in evidence["boards"]
    }
    return asked | boards


def _met(requirement: Requirement) -> str:
    return _("met") if requirement.met else _("not met")


def _first_day(day: date) -> dict[str, Line]:
    return {_("First day"): Line(format_day(day))}


def _of_period(last_day: date, renews: Certificate | None) -> dict[str, Line]:
    return {
        _("Last day, were it issued today"): Line(format_day(last_day)),
        _("Renews"): Line(renews.number if renews else _("none")),
    }

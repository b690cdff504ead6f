"""Issuing certificates: what must hold, and what is copied into them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils.translation import gettext as _

from certification.domain import standing as engine
from certification.domain.facts import Facts, known
from certification.domain.periods import BOTH_HOLD, CertificateHistory
from certification.exceptions import AlreadyDecided, MayNotCertify, RequirementsNotMet
from certification.models import Certificate, Proposal, SchemeRevision, Scope, StandingSpan
from certification.queries import graders, standing_on_day, written_down
from certification.queries.requirements import (
    Requirement,
    Tallies,
    evidence_of,
    graded_any,
    requirements,
    unmet,
)
from certification.queries.standing_on_day import Read
from people.models import Person, Role, User
from people.presenters.days import format_day
from records.services import numbers, trail

from . import standing
from .acts import Act
from .locking import lock_person_and_scope


@dataclass(frozen=True)
class ProspectivePeriod:
    """The days a certificate issued on a day would run, and what it runs on from."""

    issued_on: date
    valid_through: date
    renews: Certificate | None = None

    @property
    def runs_on(self) -> bool:
        """Whether renewing keeps the earlier end."""
        return self.renews is not None


def renewable(
    person: Person,
    scope: Scope,
    revision: SchemeRevision,
    day: date,
    read: Read | None = None,
) -> Certificate | None:
    """The newest certificate whose end a new one, issued that day, would run on from."""
    return period_if_issued(person, scope, revision, day, read).renews


def _runs_on_from(
    facts: Facts, figures: engine.SchemeFigures, day: date
) -> CertificateHistory | None:
    newest_first = sorted(
        (
            history
            for history in standing_on_day.histories_in(facts).values()
            if history.certificate.issued_on < day
        ),
        key=lambda history: (history.certificate.issued_on, history.certificate.number),
        reverse=True,
    )
    for history in newest_first:
        if standing_on_day.is_revoked_on(history, day):
            return None  # What came before has ended with it, whatever it says itself.
        if engine.in_renewal_window(figures, day, history.period.valid_through):
            return history
    return None


def period_if_issued(
    person: Person,
    scope: Scope,
    revision: SchemeRevision,
    day: date,
    read: Read | None = None,
) -> ProspectivePeriod:
    """The period of a certificate for a scope, were it issued that day.

    Here and below ``read`` is what a list has read already of the person in the scope.
    """
    read = standing_on_day.read_for(person, scope) if read is None else read
    figures = standing_on_day.figures_of(revision)
    earlier = _runs_on_from(read.facts, figures, day)
    if earlier is None:
        return ProspectivePeriod(day, engine.valid_through(figures, day, None))
    through = engine.valid_through(figures, day, earlier.period.valid_through)
    return ProspectivePeriod(day, through, read.certificates[earlier.certificate.number])


def _facts(person: Person, scope: Scope, read: Read | None) -> Facts:
    return standing_on_day.facts_for(person, scope) if read is None else read.facts


def refuse_while_stopped(person: Person, scope: Scope, day: date, read: Read | None = None) -> None:
    """A new certificate must not end a suspension, or a revocation to come, that was ordered."""
    line = engine.timeline(_facts(person, scope, read))
    for span in line.spans:
        is_ahead = span.last_day is None or span.last_day >= day
        if is_ahead and span.standing is engine.Standing.SUSPENDED:
            raise RequirementsNotMet(
                _(
                    "%(name)s is suspended for %(scope)s from %(day)s on. Reinstate or revoke "
                    "%(number)s first."
                )
                % {
                    "name": person.full_name,
                    "scope": scope,
                    "day": format_day(span.stands_since),
                    "number": span.certificate_number,
                }
            )
        if span.standing is engine.Standing.REVOKED and span.stands_since > day:
            raise RequirementsNotMet(
                _("%(name)s is revoked for %(scope)s from %(day)s on: issue from that day on.")
                % {"name": person.full_name, "scope": scope, "day": format_day(span.stands_since)}
            )


def refuse_to_drop_restriction(person: Person, scope: Scope, day: date, restriction: str) -> None:
    """A new certificate must not do without a restriction that nobody has lifted."""
    for still_holds in restrictions_held(person, scope, day):
        if not _says(restriction, still_holds):
            raise RequirementsNotMet(
                _(
                    "%(name)s is restricted for %(scope)s: only %(restriction)s. Repeat these "
                    "words as the restriction of the new certificate, other words after a "
                    "semicolon, or have quality lift it first."
                )
                % {"name": person.full_name, "scope": scope, "restriction": still_holds}
            )


def restrictions_held(
    person: Person, scope: Scope, day: date, read: Read | None = None
) -> list[str]:
    """What events allow alone on a day or a later one, of certificates that have not ended."""
    texts: dict[str, None] = {}
    for history in standing_on_day.histories_in(_facts(person, scope, read)).values():
        if history.last_day < day or standing_on_day.is_revoked_on(history, day):
            continue
        for restriction in history.restrictions:
            if restriction.until_before is None or restriction.until_before > day:
                texts[restriction.event.restriction] = None
    return list(texts)


def with_restrictions_held(
    person: Person, scope: Scope, day: date, restriction: str, read: Read | None = None
) -> str:
    """A restriction with what still holds of events beside it: what a new certificate is to say."""
    held = restrictions_held(person, scope, day, read)
    missing = [text for text in held if not _says(restriction, text)]
    return BOTH_HOLD.join(text for text in (restriction, *missing) if text)


def _says(restriction: str, held: str) -> bool:
    """Whether a restriction has another as a part of its own: more words may allow more."""
    return f"{BOTH_HOLD}{held}{BOTH_HOLD}" in f"{BOTH_HOLD}{restriction.strip()}{BOTH_HOLD}"


def why_may_not_issue(
    user: User, person: Person, revision: SchemeRevision, checked: list[Requirement]
) -> str:
    """Empty where the user may issue somebody's certificate, else the sentence to show."""
    if user.person_id == person.pk:
        return _("Nobody issues their own certificate.")
    if user.has_role(Role.QUALITY, site=person.site_id):
        return ""
    if not user.has_role(Role.INSTRUCTOR, site=person.site_id):
        return _("Certificates at %(site)s are issued by quality.") % {"site": person.site}
    if not revision.instructor_may_issue:
        return _("Under %(scheme)s quality issues.") % {"scheme": revision}
    if graded_any(user, checked):
        return _("You graded a board that this stands on, so somebody else has to issue it.")
    return ""


@transaction.atomic
def issue_certificate(
    *, proposal: Proposal, act: Act, restriction: str | None = None
) -> Certificate:
    """Issue what was proposed, signed by the issuer.

    Parameters
    ----------
    proposal : Proposal
        Still open. Whether its requirements are met is asked again, on today's day at the
        person's site.
    restriction : str, optional
        Replaces the one proposed.

    Raises
    ------
    AlreadyDecided
        If somebody was faster.
    MayNotCertify
        If the issuer has no right to, or it is their own.
    RequirementsNotMet
        If anything the scheme asks for is missing, the person is suspended, or restricted and
        the new certificate would not say so.
    ShownOtherwise
        If the certificate is not the one that the issuer was shown.
    """
    proposal = locked_open(proposal)
    person, scope, revision = proposal.person, proposal.scope, proposal.scheme_revision
    day = person.site.today(act.at)
    checked = requirements(person, scope, revision, day)
    if why := why_may_not_issue(act.actor, person, revision, checked):
        raise MayNotCertify(why)
    certificate = certificate_to_issue(proposal, act.actor, checked, day)
    act.refuse_unless_shown(written_down.certificate_to_sign(certificate))
    refuse_unmet(person, scope, revision, checked, day)
    certificate.restriction = proposal.restriction if restriction is None else restriction
    refuse_to_drop_restriction(person, scope, day, certificate.restriction)
    _write(certificate, act)
    proposal.decision = Proposal.Decision.ISSUED
    proposal.decided_at, proposal.decided_by = act.at, act.actor
    proposal.certificate = certificate
    proposal.save(update_fields=["decision", "decided_at", "decided_by", "certificate"])
    standing.rebuild_spans(person, scope)
    return certificate


def certificate_to_issue(
    proposal: Proposal,
    issuer: User,
    checked: Sequence[Requirement],
    day: date,
    read: Read | None = None,
    issuer_spans: Sequence[StandingSpan] | None = None,
    tallies: Tallies | None = None,
) -> Certificate:
    """The certificate as it would be issued that day: without number and restriction, not stored.

    Parameters
    ----------
    checked : sequence of Requirement
        What was asked for on that day.
    issuer_spans : sequence of StandingSpan, optional
        How the issuer stands that day as `graders.grader_spans` says, where a list has read it.
    tallies : mapping of int to MeasuredTally, optional
        What `requirements.tallies_for` says, where a list has read it.
    """
    if issuer_spans is None:
        issuer_spans = graders.grader_spans(issuer.person_id, day)
    person, scope, revision = proposal.person, proposal.scope, proposal.scheme_revision
    period = period_if_issued(person, scope, revision, day, read)
    return Certificate(
        person=person,
        scope=scope,
        scheme_revision=revision,
        issued_on=period.issued_on,
        renews=period.renews,
        valid_through=period.valid_through,
        origin=Certificate.Origin.OWN,
        holder_name=person.full_name,
        figures=written_down.figures_as_json(revision),
        evidence={
            **evidence_of(checked, tallies),
            "proposed": _proposed(proposal),
        },
        issued_by=issuer.get_full_name(),
        issuer_certificate=issuer_certificate(issuer_spans, scope),
    )


def _proposed(proposal: Proposal) -> dict[str, str]:
    return {
        "by": proposal.signature.printed_name,
        "at": proposal.signature.signed_at.isoformat(),
        "sha256": proposal.signature.content_sha256,
        "note": proposal.note,
    }


def locked_open(proposal: Proposal) -> Proposal:
    """Lock a proposal with its person and scope; raise AlreadyDecided where somebody was faster."""
    lock_person_and_scope(proposal.person, proposal.scope)
    locked = (
        Proposal.objects.select_for_update(of=("self",), no_key=True)
        .select_related("person__site", "scope", "scheme_revision__scheme", "signature")
        .get(pk=proposal.pk)
    )
    refuse_if_decided(locked)
    return locked


def refuse_if_decided(proposal: Proposal) -> None:
    if proposal.decision:
        raise AlreadyDecided(
            _("This proposal was decided already: %(decision)s.")
            % {"decision": proposal.get_decision_display()}
        )


def refuse_unmet(
    person: Person,
    scope: Scope,
    revision: SchemeRevision,
    checked: list[Requirement],
    day: date,
    read: Read | None = None,
) -> None:
    """Raise RequirementsNotMet where a certificate must not be issued that day."""
    facts = _facts(person, scope, read)
    if revision.published_at is None or revision.retired_at is not None:
        raise RequirementsNotMet(
            _("%(scheme)s is not in force: propose under its present revision.")
            % {"scheme": revision}
        )
    if scope.retired_at is not None:
        raise RequirementsNotMet(
            _("%(scope)s is retired: nothing new is issued for it.") % {"scope": scope}
        )
    if scope not in revision.scopes.all():
        raise RequirementsNotMet(
            _("%(scheme)s does not cover %(scope)s.") % {"scheme": revision, "scope": scope}
        )
    if person.left_on is not None and person.left_on < day:
        raise RequirementsNotMet(
            _("%(name)s left on %(day)s.")
            % {"name": person.full_name, "day": format_day(person.left_on)}
        )
    missing = unmet(checked)
    if missing:
        raise RequirementsNotMet(
            _("Not everything asked for is there: %(missing)s.")
            % {
                "missing": "; ".join(
                    f"{requirement.text}: {requirement.detail}" for requirement in missing
                )
            }
        )
    refuse_while_stopped(person, scope, day, read)
    for twin in known(facts).certificates:
        if twin.issued_on == day:
            raise RequirementsNotMet(
                _("%(number)s was issued for this today already.") % {"number": twin.number}
            )


def issuer_certificate(issuer_spans: Sequence[StandingSpan], scope: Scope) -> str:
    """The number of the issuer's own certificate for such work, instructor's before inspector's."""
    spans = [
        span
        for span in issuer_spans
        if span.standing == engine.Standing.CERTIFIED
        and span.certificate is not None
        and set(span.scope.joint_types) & set(scope.joint_types)
    ]
    spans.sort(key=lambda span: span.scope.level != Scope.Level.INSTRUCTOR)
    return str(spans[0].certificate) if spans else ""


def _write(certificate: Certificate, act: Act) -> None:
    """Number, sign and store a certificate that is complete but for these."""
    person, scope = certificate.person, certificate.scope
    certificate.number = number = numbers.next_number(person.site.prefix, "C")
    certificate.recorded_at = act.at
    about = ("certificate", number)
    content = written_down.certificate_content(certificate)
    certificate.signature = act.sign(
        person, meaning=written_down.CERTIFIES, about=about, content=content
    )
    certificate.save(force_insert=True)
    trail.record(
        actor=act.actor,
        act="certificate issued",
        about=about,
        payload={
            "person": person.employee_number,
            "scope": scope.code,
            "scheme": certificate.scheme_revision.name,
            "issued_on": certificate.issued_on,
            "valid_through": certificate.valid_through,
            "signature": certificate.signature.content_sha256,
        },
        at=act.at,
    )

"""Restricting what somebody is certified for, from a day on.

A restriction is copied on a certificate, and certificates never change. So a new certificate
takes the place of the one in force: it begins on the day of the restriction, says what
alone it allows, and is good through the same last day as the one it restricts. That one, and
any older one that would last as long, is ended the day before, or whatever lengthens it later
would let it stand in once the new one is over, without the restriction. Should the new one be
withdrawn as entered in error, those ends are taken back with it.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from certification.domain import standing as engine
from certification.domain.periods import Course
from certification.exceptions import CertificationError, MayNotCertify, NothingToStop
from certification.models import Certificate, CertificateEvent, Scope
from certification.queries import standing_on_day as standing
from certification.queries.requirements import said
from people.models import Person, Role, User
from records.models import Signature
from records.services import numbers
from records.services import trail as records

from . import certificates, events
from . import standing as certification_standing
from .locking import lock_person_and_scope

RESTRICTS = "restricts certification for this scope"
KEEPS_THE_END = "Restricting moves no last day."
GIVES_WAY = "%(number)s takes its place, restricted."


@dataclass(frozen=True)
class InForce:
    """The certificate that answers on a day, and what events have made of it."""

    certificate: Certificate
    course: Course

    @property
    def last_day(self) -> date:
        return self.course.last_day


def why_not(person: Person, scope: Scope, day: date, facts: engine.Facts) -> str:
    """Why nothing can be restricted from a day on; empty where something can.

    ``facts`` are all that is recorded of the person and scope.
    """
    names = {"name": person.full_name, "scope": scope, "day": said(day)}
    if engine.timeline(facts).on(day).standing is not engine.Standing.CERTIFIED:
        return _("%(name)s is not certified for %(scope)s on %(day)s: nothing to restrict.") % names
    following = [
        one for one in facts.certificates if one.withdrawn_at is None and one.issued_on >= day
    ]
    if following:
        first = min(following, key=lambda one: (one.issued_on, one.number))
        return _("%(number)s begins on %(day)s: restrict from a later day on.") % {
            "number": first.number,
            "day": said(first.issued_on),
        }
    return _why_stopped(engine.timeline(facts), day, names)


def _why_stopped(line: engine.Timeline, day: date, names: dict[str, Any]) -> str:
    """A new certificate would hide what stops somebody on that day or later; empty if nothing."""
    for span in line.spans:
        if span.last_day is not None and span.last_day < day:
            continue
        facts = {**names, "day": said(span.first_day)}
        if span.standing is engine.Standing.SUSPENDED and span.last_day is not None:
            facts["last"] = said(span.last_day)
            return (
                _(
                    "%(name)s is suspended for %(scope)s from %(day)s through %(last)s: restrict "
                    "from a later day on."
                )
                % facts
            )
        if span.standing is engine.Standing.SUSPENDED:
            return (
                _("%(name)s is suspended for %(scope)s from %(day)s on: reinstate first.") % facts
            )
        if span.standing is engine.Standing.REVOKED:
            return (
                _("%(name)s is revoked for %(scope)s from %(day)s on: nothing to restrict.") % facts
            )
    return ""


@transaction.atomic
def restrict_certificate(
    *,
    person: Person,
    scope: Scope,
    effective_on: date,
    restriction: str,
    reason: str,
    actor: User,
    at: datetime,
    proof: str,
) -> Certificate:
    """Put a restricted certificate in the place of the one in force, from a day on.

    It keeps the last day. Practice is counted from its own first day, as for any certificate.

    Parameters
    ----------
    restriction : str
        What alone it allows, as printed on it; it replaces the one there was.

    Returns
    -------
    Certificate
        The new one.

    Raises
    ------
    MayNotCertify
        If the actor is not quality at the person's site, or is the person.
    NothingToStop
        If the person is not certified on that day, or a later certificate, a suspension or a
        revocation follows.
    CertificationError
        If there is no restriction or no reason, or the restriction is there already.
    """
    person, scope = lock_person_and_scope(person, scope)
    if actor.person_id == person.pk:
        raise MayNotCertify(_("Nobody acts on their own certificates."))
    if not actor.has_role(Role.QUALITY, site=person.site_id):
        raise MayNotCertify(
            _("Certificates at %(site)s are acted on by quality there.") % {"site": person.site}
        )
    restriction, reason = restriction.strip(), reason.strip()
    if not restriction:
        raise CertificationError(_("Say what alone it allows from that day on."))
    if not reason:
        raise CertificationError(_("Give the reason: it is kept with the certificate."))
    facts = standing.facts_for(person, scope)
    if why := why_not(person, scope, effective_on, facts):
        raise NothingToStop(why)
    found = _in_force(facts, effective_on)
    if found.certificate.restriction == restriction:
        raise CertificationError(
            _("Certificate %(number)s says so already.") % {"number": found.certificate.number}
        )
    giving_way = [
        number
        for number, course in standing.courses_in(facts).items()
        if events.lasts_longer(course, effective_on - timedelta(days=1))
    ]
    certificate = _write(found, giving_way, effective_on, restriction, reason, actor, at, proof)
    certification_standing.rebuild_spans(person, scope)
    return certificate


def _in_force(facts: engine.Facts, day: date) -> InForce:
    number = engine.timeline(facts).on(day).certificate_number
    return InForce(
        Certificate.objects.select_related(
            "person__site", "scope", "scheme_revision__scheme", "renews"
        ).get(number=number),
        standing.courses_in(facts)[number],
    )


def _write(
    found: InForce,
    giving_way: Collection[str],
    day: date,
    restriction: str,
    reason: str,
    actor: User,
    at: datetime,
    proof: str,
) -> Certificate:
    old = found.certificate
    person, scope, revision = old.person, old.scope, old.scheme_revision
    number = numbers.next_number(person.site.prefix, "C")
    figures = standing.figures_of(revision)
    renewed_through = None
    if old.renews is not None:
        earlier = standing.courses_of(person, scope).get(old.renews.number)
        renewed_through = earlier.period.valid_through if earlier else None
    runs_on = renewed_through is not None and engine.in_renewal_window(
        figures, day, renewed_through
    )
    renews = old.renews if runs_on else None
    valid_through = engine.valid_through(figures, day, renewed_through if runs_on else None)
    evidence: dict[str, Any] = {
        **old.evidence,
        "restricts": {
            "certificate": old.number,
            "restriction": old.restriction,
            "reason": reason,
            "good_through": found.last_day.isoformat(),
        },
    }
    own = certificates.issuer_certificate(actor, scope, day)
    # One for each that gives way and one to keep the end; before the signature, since the
    # trail's lock comes last.
    keeps_the_end = valid_through != found.last_day
    event_ids = [
        numbers.next_number(person.site.prefix, "E")
        for _event in range(len(giving_way) + keeps_the_end)
    ]
    content = {
        "certificate": number,
        "restricts": old.number,
        "person": person.employee_number,
        "name": person.full_name,
        "scope": certificates.scope_as_json(scope),
        "figures": certificates.figures_as_json(revision),
        "issued_on": day,
        "good_through": found.last_day,
        "renews": renews.number if renews else "",
        "restriction": restriction,
        "reason": reason,
        "ends_the_day_before": sorted(giving_way),
        "evidence": evidence,
        "issued_by": actor.get_full_name(),
        "issuer_certificate": own,
    }
    about = ("certificate", number)
    signature = records.sign(
        actor=actor,
        meaning=RESTRICTS,
        about=about,
        content=content,
        at=at,
        zone=person.site.time_zone,
        proof=proof,
    )
    certificate = Certificate.objects.create(
        number=number,
        person=person,
        scope=scope,
        scheme_revision=revision,
        issued_on=day,
        renews=renews,
        valid_through=found.last_day,
        restriction=restriction,
        origin=Certificate.Origin.OWN,
        holder_name=person.full_name,
        figures=certificates.figures_as_json(revision),
        evidence=evidence,
        issued_by=actor.get_full_name(),
        issuer_certificate=own,
        signature=signature,
        recorded_at=at,
    )
    if keeps_the_end:
        _keep_the_end(certificate, found, valid_through, event_ids.pop(0), signature, at)
    ended = Certificate.objects.filter(number__in=giving_way).order_by("number")
    for event_id, gives_way in zip(event_ids, ended, strict=True):
        CertificateEvent.objects.create(
            event_id=event_id,
            certificate=gives_way,
            kind=CertificateEvent.Kind.ENDED,
            effective_on=day - timedelta(days=1),
            reason=GIVES_WAY % {"number": number},
            signature=signature,
            recorded_at=at,
        )
    records.record(
        actor=actor,
        act="certificate restricted",
        about=about,
        payload={
            "person": person.employee_number,
            "scope": scope.code,
            "restricts": old.number,
            "restriction": restriction,
            "reason": reason,
            "ends_the_day_before": sorted(giving_way),
            "issued_on": day,
            "good_through": found.last_day,
            "signature": signature.content_sha256,
        },
        at=at,
    )
    return certificate


def _keep_the_end(
    certificate: Certificate,
    found: InForce,
    own_end: date,
    event_id: str,
    signature: Signature,
    at: datetime,
) -> None:
    """Give the new certificate the last day of the old one, by an event."""
    extensions = [one for one in found.course.moved_by if one.kind == engine.EventKind.EXTENDED]
    authority = extensions[-1].authority if extensions else found.certificate.number
    is_longer = own_end > found.last_day
    kind = CertificateEvent.Kind.ENDED if is_longer else CertificateEvent.Kind.EXTENDED
    CertificateEvent.objects.create(
        event_id=event_id,
        certificate=certificate,
        kind=kind,
        effective_on=found.last_day if is_longer else certificate.issued_on,
        until=None if is_longer else found.last_day,
        authority="" if is_longer else authority,
        reason=KEEPS_THE_END,
        signature=signature,
        recorded_at=at,
    )

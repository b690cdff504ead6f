"""Restricting what somebody is certified for, from a day on.

A restriction is copied on a certificate, and certificates never change. So a new certificate
takes the place of the one in force: it begins on the day of the restriction, says what
alone it allows, and is good through the same last day as the one it restricts. That one, and
any older one that would last as long, is ended the day before, or whatever lengthens it later
would let it stand in once the new one is over, without the restriction. Should the new one be
withdrawn as entered in error, those ends are taken back with it.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from certification.domain import standing as engine
from certification.domain.periods import CertificateHistory
from certification.exceptions import CertificationError, NothingToStop
from certification.models import Certificate, CertificateEvent, Scope
from certification.queries import standing_on_day, written_down
from people.models import Person
from people.presenters.days import format_day
from records.services import numbers, trail

from . import certificates, events, standing
from .acts import Act
from .locking import lock_person_and_scope

KEEPS_THE_END = "Restricting moves no last day."
GIVES_WAY = "%(number)s takes its place, restricted."


@dataclass(frozen=True)
class InForce:
    """The certificate that answers on a day, and what events have made of it."""

    certificate: Certificate
    history: CertificateHistory

    @property
    def last_day(self) -> date:
        return self.history.last_day


def why_not(person: Person, scope: Scope, day: date, facts: engine.Facts) -> str:
    """Why nothing can be restricted from a day on; empty where something can.

    ``facts`` are all that is recorded of the person and scope.
    """
    names = {"name": person.full_name, "scope": scope, "day": format_day(day)}
    if engine.timeline(facts).on(day).standing is not engine.Standing.CERTIFIED:
        return _("%(name)s is not certified for %(scope)s on %(day)s: nothing to restrict.") % names
    following = [
        certificate
        for certificate in facts.certificates
        if certificate.withdrawn_at is None and certificate.issued_on >= day
    ]
    if following:
        first = min(following, key=lambda certificate: (certificate.issued_on, certificate.number))
        return _("%(number)s begins on %(day)s: restrict from a later day on.") % {
            "number": first.number,
            "day": format_day(first.issued_on),
        }
    return _why_stopped(engine.timeline(facts), day, names)


def _why_stopped(line: engine.Timeline, day: date, names: dict[str, Any]) -> str:
    """A new certificate would hide what stops somebody on that day or later; empty if nothing."""
    for span in line.spans:
        if span.last_day is not None and span.last_day < day:
            continue
        facts = {**names, "day": format_day(span.first_day)}
        if span.standing is engine.Standing.SUSPENDED and span.last_day is not None:
            facts["last"] = format_day(span.last_day)
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
    *, person: Person, scope: Scope, restriction: str, act: Act
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
    events.refuse_unless_quality(act.actor, person)
    restriction = restriction.strip()
    if not restriction:
        raise CertificationError(_("Say what alone it allows from that day on."))
    act = replace(act, reason=act.required_reason(), effective_on=act.day_for(person))
    day = act.day_for(person)
    facts = standing_on_day.facts_for(person, scope)
    if why := why_not(person, scope, day, facts):
        raise NothingToStop(why)
    in_force = _in_force(facts, day)
    if in_force.certificate.restriction == restriction:
        raise CertificationError(
            _("Certificate %(number)s says so already.") % {"number": in_force.certificate.number}
        )
    giving_way = [
        number
        for number, history in standing_on_day.histories_in(facts).items()
        if events.lasts_longer(history, day - timedelta(days=1))
    ]
    certificate = _write(in_force, giving_way, restriction, act)
    standing.rebuild_spans(person, scope)
    return certificate


def _in_force(facts: engine.Facts, day: date) -> InForce:
    number = engine.timeline(facts).on(day).certificate_number
    return InForce(
        Certificate.objects.select_related(
            "person__site", "scope", "scheme_revision__scheme", "renews"
        ).get(number=number),
        standing_on_day.histories_in(facts)[number],
    )


def _write(
    in_force: InForce, giving_way: Collection[str], restriction: str, act: Act
) -> Certificate:
    old, day = in_force.certificate, act.day_for(in_force.certificate.person)
    person, scope = old.person, old.scope
    number = numbers.next_number(person.site.prefix, "C")
    renews, own_end = _period_of_its_own(old, day)
    # One for each that gives way and one to keep the end; before the signature, since the
    # trail's lock comes last.
    keeps_the_end = own_end != in_force.last_day
    event_ids = [
        numbers.next_number(person.site.prefix, "E")
        for _event in range(len(giving_way) + keeps_the_end)
    ]
    new = Certificate(
        number=number,
        person=person,
        scope=scope,
        scheme_revision=old.scheme_revision,
        issued_on=day,
        renews=renews,
        valid_through=in_force.last_day,
        restriction=restriction,
        origin=Certificate.Origin.OWN,
        holder_name=person.full_name,
        figures=written_down.figures_as_json(old.scheme_revision),
        evidence=_evidence(in_force, act),
        issued_by=act.actor.get_full_name(),
        issuer_certificate=certificates.issuer_certificate(act.actor, scope, day),
        recorded_at=act.at,
    )
    new_events = []
    if keeps_the_end:
        new_events.append(_keeping_the_end(new, in_force, own_end, event_ids.pop(0)))
    new_events += _ending_the_day_before(new, giving_way, event_ids)
    about = ("certificate", number)
    new.signature = act.sign(
        person,
        meaning=written_down.RESTRICTS,
        about=about,
        content=written_down.restriction_content(new, new_events),
    )
    new.save(force_insert=True)
    events.save_under(new.signature, new_events)
    trail.record(
        actor=act.actor,
        act="certificate restricted",
        about=about,
        payload={
            "person": person.employee_number,
            "scope": scope.code,
            "restricts": old.number,
            "restriction": restriction,
            "reason": act.reason,
            "ends_the_day_before": sorted(giving_way),
            "issued_on": day,
            "good_through": in_force.last_day,
            "signature": new.signature.content_sha256,
        },
        at=act.at,
    )
    return new


def _period_of_its_own(old: Certificate, day: date) -> tuple[Certificate | None, date]:
    """What a certificate issued that day would renew, and its last day by the scheme."""
    figures = standing_on_day.figures_of(old.scheme_revision)
    renewed_through = None
    if old.renews is not None:
        earlier = standing_on_day.histories_of(old.person, old.scope).get(old.renews.number)
        renewed_through = earlier.period.valid_through if earlier else None
    runs_on = renewed_through is not None and engine.in_renewal_window(
        figures, day, renewed_through
    )
    last_day = engine.valid_through(figures, day, renewed_through if runs_on else None)
    return old.renews if runs_on else None, last_day


def _evidence(in_force: InForce, act: Act) -> dict[str, Any]:
    old = in_force.certificate
    return {
        **old.evidence,
        "restricts": {
            "certificate": old.number,
            "restriction": old.restriction,
            "reason": act.reason,
            "good_through": in_force.last_day.isoformat(),
        },
    }


def _ending_the_day_before(
    new: Certificate, giving_way: Collection[str], event_ids: Sequence[str]
) -> list[CertificateEvent]:
    """An end for every certificate that the new one takes the place of, under its signature."""
    ended = Certificate.objects.filter(number__in=giving_way).order_by("number")
    return [
        CertificateEvent(
            event_id=event_id,
            certificate=certificate,
            kind=CertificateEvent.Kind.ENDED,
            effective_on=new.issued_on - timedelta(days=1),
            reason=GIVES_WAY % {"number": new.number},
            recorded_at=new.recorded_at,
        )
        for event_id, certificate in zip(event_ids, ended, strict=True)
    ]


def _keeping_the_end(
    new: Certificate, in_force: InForce, own_end: date, event_id: str
) -> CertificateEvent:
    """The event that gives the new certificate the last day of the old one."""
    extensions = [
        event for event in in_force.history.moved_by if event.kind == engine.EventKind.EXTENDED
    ]
    authority = extensions[-1].authority if extensions else in_force.certificate.number
    is_longer = own_end > in_force.last_day
    return CertificateEvent(
        event_id=event_id,
        certificate=new,
        kind=CertificateEvent.Kind.ENDED if is_longer else CertificateEvent.Kind.EXTENDED,
        effective_on=in_force.last_day if is_longer else new.issued_on,
        until=None if is_longer else in_force.last_day,
        authority="" if is_longer else authority,
        reason=KEEPS_THE_END,
        recorded_at=new.recorded_at,
    )

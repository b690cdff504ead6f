"""Suspending, reinstating, revoking, ending, extending, restricting; and taking back errors.

All but extending act on a person and scope: one event on each of their certificates that the
act can still touch, all under one signature. Quality at the person's site does so, never for
themselves, and only on what they were shown (`Act.shown`; else ShownOtherwise).
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from certification.domain.facts import EventFact, EventKind, Facts
from certification.domain.periods import CertificateHistory
from certification.exceptions import CertificationError, MayNotCertify, NothingToStop
from certification.models import Certificate, CertificateEvent, CertificateWithdrawal, Scope
from certification.queries import standing_on_day, written_down
from people.models import Person, Role, User
from people.presenters.days import format_day
from records.models import Signature
from records.services import numbers, trail

from . import standing
from .acts import Act
from .locking import lock_certificate, lock_person_and_scope

Kind = CertificateEvent.Kind

LAST_OF_ALL = chr(0x10FFFF)  # An event's id that stands behind all others of its day and instant.


@transaction.atomic
def suspend_certificates(*, person: Person, scope: Scope, act: Act) -> list[CertificateEvent]:
    """Suspend a person for a scope from a day on.

    Raises
    ------
    NothingToStop
        If every certificate had ended before that day or was revoked on it.
    """
    return _act_on_all(Kind.SUSPENDED, _still_good, person, scope, act)


@transaction.atomic
def revoke_certificates(*, person: Person, scope: Scope, act: Act) -> list[CertificateEvent]:
    """Revoke a person's certificates for a scope for ever, from a day on.

    Raises
    ------
    NothingToStop
        If every certificate had ended before that day or was revoked on it.
    """
    return _act_on_all(Kind.REVOKED, _still_good, person, scope, act)


@transaction.atomic
def end_certificates(*, person: Person, scope: Scope, act: Act) -> list[CertificateEvent]:
    """End a person's certificates for a scope; the day of the act is the last good one.

    Raises
    ------
    NothingToStop
        If none would have lasted longer than that day.
    """
    return _act_on_all(Kind.ENDED, lasts_longer, person, scope, act)


@transaction.atomic
def reinstate_certificates(*, person: Person, scope: Scope, act: Act) -> list[CertificateEvent]:
    """Put a suspended person's certificates in force again, that day included.

    Raises
    ------
    NothingToStop
        If none is suspended on that day.
    """
    return _act_on_all(Kind.REINSTATED, _is_suspended, person, scope, act)


@transaction.atomic
def restrict_certificates(
    *, person: Person, scope: Scope, restriction: str, act: Act
) -> list[CertificateEvent]:
    """Say what alone a person's certificates for a scope allow from a day on.

    It takes the place of what was said so before, and adds to what a certificate itself says.
    Standing, periods and practice stay as they are.

    Parameters
    ----------
    restriction : str
        What alone is allowed, as printed after "only".

    Raises
    ------
    NothingToStop
        If every certificate had ended before that day or was revoked on it.
    CertificationError
        If nothing is said to be allowed.
    """
    restriction = restriction.strip()
    if not restriction:
        raise CertificationError(_("Say what alone it allows from that day on."))
    return _act_on_all(Kind.RESTRICTED, _still_good, person, scope, act, restriction)


@transaction.atomic
def lift_restriction(*, person: Person, scope: Scope, act: Act) -> list[CertificateEvent]:
    """Lift the restriction of a person's certificates for a scope, from that day on.

    What a certificate itself says since its issue goes on.

    Raises
    ------
    NothingToStop
        If none is restricted by an event on that day.
    """
    return _act_on_all(Kind.UNRESTRICTED, _is_restricted, person, scope, act)


@transaction.atomic
def extend_certificate(
    *, certificate: Certificate, until: date, authority: str, act: Act
) -> CertificateEvent:
    """Move a certificate's last day to a later one, as an authority has granted.

    The day of the act is the one on which it was granted: it may be entered late.

    Raises
    ------
    NothingToStop
        If it had ended or was revoked by then: what is over is renewed, not extended.
    CertificationError
        If the day is no later than the last one, nobody is named who granted it, the
        certificate was ended after it was granted, or it would be good again without a
        restriction that others were given since.
    """
    certificate = lock_certificate(certificate)
    refuse_unless_quality(act.actor, certificate.person)
    _refuse_unless_shown(act, certificate.person, certificate.scope)
    granted_on = act.day_for(certificate.person)
    facts = standing_on_day.facts_for(certificate.person, certificate.scope)
    history = standing_on_day.histories_in(facts).get(certificate.number)
    if why := why_not_extend(certificate, history, granted_on):
        raise NothingToStop(why)
    assert history is not None  # noqa: S101 - it can be extended
    if until <= history.last_day:
        raise CertificationError(
            _("Certificate %(number)s is good through %(day)s already: give a later day.")
            % {"number": certificate.number, "day": format_day(history.last_day)}
        )
    if not authority.strip():
        raise CertificationError(_("Name the authority that granted the extension."))
    _refuse_in_vain(certificate, facts, granted_on, until, act.at)
    _refuse_to_pass_by_restriction(certificate.number, standing_on_day.histories_in(facts))
    [event] = _write(
        Kind.EXTENDED,
        [certificate],
        replace(act, reason=act.required_reason(), effective_on=granted_on),
        until=until,
        authority=authority.strip(),
    )
    return event


def _refuse_in_vain(
    certificate: Certificate, facts: Facts, granted_on: date, until: date, at: datetime
) -> None:
    """Refuse an extension that what happened after it would undo at once."""
    extension = EventFact(
        LAST_OF_ALL, certificate.number, EventKind.EXTENDED, granted_on, at, until=until
    )
    among_all = replace(facts, events=[*facts.events, extension])
    history = standing_on_day.histories_in(among_all)[certificate.number]
    if history.last_day < until:
        raise CertificationError(
            _(
                "Certificate %(number)s was ended on %(day)s, which an extension from before does "
                "not move."
            )
            % {"number": certificate.number, "day": format_day(history.last_day)}
        )


def _refuse_to_pass_by_restriction(number: str, histories: dict[str, CertificateHistory]) -> None:
    """Refuse to bring back what had ended when the others were restricted, and so was not."""
    if (back := histories.get(number)) is None:
        return
    ended_after = back.good_through or date.min
    has = {restriction.event.restriction for restriction in back.restrictions}
    for history in histories.values():
        for restriction in history.restrictions:
            begun_since = ended_after < restriction.first_day <= history.last_day
            is_open = restriction.last_day is None or restriction.last_day > history.last_day
            if begun_since and is_open and restriction.event.restriction not in has:
                raise CertificationError(
                    _(
                        "Certificate %(number)s had ended when what came after it was restricted "
                        "on %(day)s, and would be good again without that. Lift that restriction "
                        "from its day on, do this, and restrict from the same day again."
                    )
                    % {
                        "number": number,
                        "day": format_day(restriction.event.effective_on),
                    }
                )


@transaction.atomic
def void_event(*, event: CertificateEvent, act: Act) -> list[CertificateEvent]:
    """Remove an event entered in error, and with it the rest of the same act.

    An act that touched several certificates was signed once, so it is taken back whole.

    Raises
    ------
    CertificationError
        If the event was removed already, is itself a removal, was signed with a certificate as
        part of it, or a certificate would be good again without a restriction that others were
        given since.
    """
    certificate = lock_certificate(event.certificate)
    refuse_unless_quality(act.actor, certificate.person)
    _refuse_unless_shown(act, certificate.person, certificate.scope)
    if event.kind == Kind.VOIDED:
        raise CertificationError(
            _("A removal cannot be removed. Enter the event again if it was right.")
        )
    if (issued := event.part_of) is not None:
        raise CertificationError(
            _("%(event)s is part of certificate %(number)s: withdraw that one instead.")
            % {"event": event.event_id, "number": issued.number}
        )
    same_act = (
        CertificateEvent.objects.filter(signature=event.signature_id)
        if event.signature_id is not None
        else CertificateEvent.objects.filter(pk=event.pk)
    )
    standing_events = list(
        same_act.filter(voided_by__isnull=True).select_related("certificate__person__site")
    )
    if event.pk not in {standing_event.pk for standing_event in standing_events}:
        raise CertificationError(
            _("Event %(number)s was removed already.") % {"number": event.event_id}
        )
    if event.kind in (Kind.ENDED, Kind.REVOKED):
        histories = standing_on_day.histories_of(certificate.person, certificate.scope)
        for standing_event in standing_events:
            _refuse_to_pass_by_restriction(standing_event.certificate.number, histories)
    return _write(
        Kind.VOIDED,
        [standing_event.certificate for standing_event in standing_events],
        replace(
            act, reason=act.required_reason(), effective_on=certificate.person.site.today(act.at)
        ),
        voids=standing_events,
    )


@transaction.atomic
def withdraw_certificate(*, certificate: Certificate, act: Act) -> CertificateWithdrawal:
    """From now on count a certificate as never entered; the row and its paper stay.

    Others that were ended to make way for it are in force again.
    """
    certificate = lock_certificate(certificate)
    refuse_unless_quality(act.actor, certificate.person)
    _refuse_unless_shown(act, certificate.person, certificate.scope)
    if CertificateWithdrawal.objects.filter(certificate=certificate).exists():
        raise CertificationError(
            _("Certificate %(number)s was withdrawn already.") % {"number": certificate.number}
        )
    reason = act.required_reason()
    about = ("certificate", certificate.number)
    made_way = list(
        CertificateEvent.objects.filter(
            signature=certificate.signature_id or 0, voided_by__isnull=True
        )
        .exclude(certificate=certificate)
        .select_related("certificate")
        .order_by("event_id")
    )
    # Numbers before the signature, since the trail's lock comes last.
    voiding = [
        CertificateEvent(
            event_id=numbers.next_number(certificate.person.site.prefix, "E"),
            certificate=event.certificate,
            kind=Kind.VOIDED,
            effective_on=certificate.person.site.today(act.at),
            voids=event,
            reason=reason,
            recorded_at=act.at,
        )
        for event in made_way
    ]
    withdrawal = CertificateWithdrawal(certificate=certificate, withdrawn_at=act.at, reason=reason)
    content = written_down.withdrawal_content(withdrawal, voiding)
    withdrawal.signature = act.sign(
        certificate.person, meaning=written_down.WITHDRAWS, about=about, content=content
    )
    withdrawal.save(force_insert=True)
    save_under(withdrawal.signature, voiding)
    trail.record(
        actor=act.actor,
        act="certificate withdrawn",
        about=about,
        payload=content,
        at=act.at,
    )
    standing.rebuild_spans(certificate.person, certificate.scope)
    return withdrawal


def why_not(
    kind: str, person: Person, scope: Scope, day: date, histories: dict[str, CertificateHistory]
) -> str:
    """Why an act on all of somebody's certificates has nothing to act on that day.

    Empty where it has. ``histories`` are all of theirs for the scope.
    """
    can_touch = {
        Kind.SUSPENDED: _still_good,
        Kind.REVOKED: _still_good,
        Kind.ENDED: lasts_longer,
        Kind.REINSTATED: _is_suspended,
        Kind.RESTRICTED: _still_good,
        Kind.UNRESTRICTED: _is_restricted,
    }[Kind(kind)]
    if any(can_touch(history, day) for history in histories.values()):
        return ""
    return _nothing_left(kind, person, scope, day, histories)


def why_not_extend(certificate: Certificate, history: CertificateHistory | None, day: date) -> str:
    """Why a certificate cannot be extended that day; empty where it can.

    It has no history where it was withdrawn.
    """
    number = {"number": certificate.number}
    if history is None:
        return _("Certificate %(number)s was withdrawn.") % number
    if standing_on_day.is_revoked_on(history, day):
        return _("Certificate %(number)s was revoked.") % number
    if history.last_day < day:
        return _(
            "Certificate %(number)s ended on %(day)s. What is over is renewed, not extended."
        ) % {**number, "day": format_day(history.last_day)}
    return ""


# What an act can touch


def _still_good(history: CertificateHistory, day: date) -> bool:
    """Neither over before the day nor revoked by it, whatever else keeps it from counting.

    A lapse of vision or practice is no end: a fact that comes in later may lift it, and the
    certificate must not come back to life past somebody who meant to stop it.
    """
    return history.last_day >= day and not standing_on_day.is_revoked_on(history, day)


def lasts_longer(history: CertificateHistory, day: date) -> bool:
    return history.last_day > day and not standing_on_day.is_revoked_on(history, day)


def _is_suspended(history: CertificateHistory, day: date) -> bool:
    day = max(day, history.certificate.issued_on)
    return history.suspension_on(day) is not None and not standing_on_day.is_revoked_on(
        history, day
    )


def _is_restricted(history: CertificateHistory, day: date) -> bool:
    day = max(day, history.certificate.issued_on)
    return history.restricted_by(day) is not None and _still_good(history, day)


def _refuse_unless_shown(act: Act, person: Person, scope: Scope) -> None:
    """Nobody acts on certificates of which something was said that they were not shown."""
    act.refuse_unless_shown(written_down.certificates_to_act_on(person.pk, scope.pk))


def _act_on_all(
    kind: str,
    can_touch: Callable[[CertificateHistory, date], bool],
    person: Person,
    scope: Scope,
    act: Act,
    restriction: str = "",
) -> list[CertificateEvent]:
    person, scope = lock_person_and_scope(person, scope)
    refuse_unless_quality(act.actor, person)
    _refuse_unless_shown(act, person, scope)
    act = replace(act, reason=act.required_reason(), effective_on=act.day_for(person))
    day = act.day_for(person)
    histories = standing_on_day.histories_of(person, scope)
    touched = [number for number, history in histories.items() if can_touch(history, day)]
    if not touched:
        raise NothingToStop(_nothing_left(kind, person, scope, day, histories))
    certificates = list(
        Certificate.objects.filter(number__in=touched)
        .select_related("person__site", "scope")
        .order_by("number")
    )
    return _write(kind, certificates, act, restriction=restriction)


def _nothing_left(
    kind: str, person: Person, scope: Scope, day: date, histories: dict[str, CertificateHistory]
) -> str:
    facts: dict[str, Any] = {"name": person.full_name, "scope": scope, "day": format_day(day)}
    if not histories:
        return _("%(name)s has no certificate for %(scope)s.") % facts
    if kind == Kind.REINSTATED:
        return _("%(name)s is not suspended for %(scope)s on %(day)s.") % facts
    if kind == Kind.UNRESTRICTED:
        return _not_restricted(day, histories, facts)
    facts["ends"] = "; ".join(
        _("%(number)s revoked on %(day)s")
        % {"number": number, "day": format_day(history.revoked_on)}
        if history.revoked_on is not None and history.revoked_on <= day
        else _("%(number)s ended on %(day)s")
        % {"number": number, "day": format_day(history.last_day)}
        for number, history in sorted(histories.items())
    )
    return (
        _(
            "Nothing that %(name)s holds for %(scope)s is left to stop on %(day)s: %(ends)s. "
            "Give an earlier day if it should have been stopped before."
        )
        % facts
    )


def _not_restricted(
    day: date, histories: dict[str, CertificateHistory], facts: dict[str, Any]
) -> str:
    """Why nothing can be lifted that day: a certificate's own restriction is part of it."""
    for number, history in sorted(histories.items(), reverse=True):
        if history.certificate.restriction and _still_good(history, day):
            return _(
                "Certificate %(number)s was issued with its restriction, which only a new "
                "certificate does without."
            ) % {"number": number}
    return _("%(name)s is not restricted for %(scope)s on %(day)s.") % facts


def _write(
    kind: str,
    certificates: Sequence[Certificate],
    act: Act,
    *,
    until: date | None = None,
    authority: str = "",
    restriction: str = "",
    voids: Sequence[CertificateEvent] | None = None,
) -> list[CertificateEvent]:
    """Write one event on each certificate under one signature, and the spans anew."""
    person, scope = certificates[0].person, certificates[0].scope
    events = [
        CertificateEvent(
            event_id=numbers.next_number(person.site.prefix, "E"),
            certificate=certificate,
            kind=kind,
            effective_on=act.day_for(person),
            until=until,
            authority=authority,
            restriction=restriction,
            reason=act.reason,
            voids=voids[place] if voids else None,
            recorded_at=act.at,
        )
        for place, certificate in enumerate(certificates)
    ]
    signature = act.sign(
        person,
        meaning=written_down.EVENT_MEANINGS[Kind(kind)],
        about=("certificate-event", events[0].event_id),
        content=written_down.events_content(events),
    )
    save_under(signature, events)
    trail.record_many(
        actor=act.actor,
        act=written_down.act_of_event(kind),
        items=[
            (("certificate", event.certificate.number), written_down.event_content(event))
            for event in events
        ],
        at=act.at,
    )
    standing.rebuild_spans(person, scope)
    return events


def save_under(signature: Signature, events: Sequence[CertificateEvent]) -> None:
    """Write events that one signature covers."""
    for event in events:
        event.signature = signature
    CertificateEvent.objects.bulk_create(events)


def refuse_unless_quality(actor: User, person: Person) -> None:
    """Raise MayNotCertify for one's own certificates and for whoever is not quality there."""
    if actor.person_id == person.pk:
        raise MayNotCertify(_("Nobody acts on their own certificates."))
    if not actor.has_role(Role.QUALITY, site=person.site_id):
        raise MayNotCertify(
            _("Certificates at %(site)s are acted on by quality there.") % {"site": person.site}
        )

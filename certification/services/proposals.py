"""Proposing somebody for a certificate, and declining a proposal."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from certification import access
from certification.exceptions import CertificationError, MayNotCertify
from certification.models import Proposal, SchemeRevision, Scope
from certification.queries import written_down
from certification.queries.requirements import (
    Candidate,
    Requirement,
    Tallies,
    evidence_of,
    requirements,
)
from certification.queries.standing_on_day import Read
from people.models import Person, User
from records.exceptions import Refusal
from records.services import trail

from . import certificates
from .acts import Act
from .locking import lock_person_and_scope


@transaction.atomic
def propose(
    *,
    person: Person,
    scope: Scope,
    revision: SchemeRevision,
    act: Act,
    note: str = "",
    restriction: str = "",
) -> Proposal:
    """Propose somebody for a scope, signed by their instructor.

    The certificate that a new one would run on from is proposed along with it.

    Raises
    ------
    MayNotCertify
        If the actor is no instructor at the person's site, or is the person.
    RequirementsNotMet
        If anything the scheme asks for is missing.
    CertificationError
        If a proposal for the same is open already.
    ShownOtherwise
        If what it stands on is not what the actor was shown.
    """
    person, scope = lock_person_and_scope(person, scope)
    revision = SchemeRevision.objects.select_related("scheme").get(pk=revision.pk)
    _refuse_to_propose(act.actor, person, scope)
    day = person.site.today(act.at)
    checked = requirements(person, scope, revision, day)
    proposal = proposal_to_make(person, scope, revision, checked, day)
    act.refuse_unless_shown(written_down.proposal_to_sign(proposal))
    certificates.refuse_unmet(person, scope, revision, checked, day)
    proposal.restriction, proposal.note, proposal.recorded_at = restriction, note, act.at
    proposal.signature = act.sign(
        person,
        meaning=written_down.PROPOSES,
        about=("person", person.employee_number),
        content={"name": person.full_name, **written_down.proposal_content(proposal)},
    )
    proposal.save(force_insert=True)
    trail.record(
        actor=act.actor,
        act=written_down.PROPOSED,
        about=proposal,
        payload=written_down.proposed_content(proposal),
        at=act.at,
    )
    return proposal


def proposal_to_make(
    person: Person,
    scope: Scope,
    revision: SchemeRevision,
    checked: Sequence[Requirement],
    day: date,
    read: Read | None = None,
    tallies: Tallies | None = None,
) -> Proposal:
    """A proposal as it would be made that day, without what its instructor types; not stored."""
    return Proposal(
        person=person,
        scope=scope,
        scheme_revision=revision,
        renews=certificates.renewable(person, scope, revision, day, read),
        evidence=evidence_of(checked, tallies),
    )


def _refuse_to_propose(actor: User, person: Person, scope: Scope) -> None:
    if actor.person_id == person.pk:
        raise MayNotCertify(_("Nobody proposes themselves. Ask another instructor."))
    if not access.may_propose(actor, person):
        raise MayNotCertify(
            _("Only an instructor at %(site)s proposes people there.") % {"site": person.site}
        )
    if Proposal.objects.open().filter(person=person, scope=scope).exists():
        raise CertificationError(
            _("A proposal for %(name)s and %(scope)s is open already.")
            % {"name": person.full_name, "scope": scope}
        )


@transaction.atomic
def decline(*, proposal: Proposal, act: Act) -> Proposal:
    """Decline a proposal, or take one's own back; the reason is kept.

    Raises
    ------
    AlreadyDecided
        If somebody was faster.
    MayNotCertify
        If the actor could not issue it either and did not propose it.
    """
    proposal = certificates.locked_open(proposal)
    if why := why_may_not_decline(act.actor, proposal):
        raise MayNotCertify(why)
    if not act.reason.strip():
        raise CertificationError(_("Say why it is declined: the instructor reads it."))
    proposal.decision = Proposal.Decision.DECLINED
    proposal.decided_at, proposal.decided_by = act.at, act.actor
    proposal.decision_reason = act.reason.strip()
    proposal.save(update_fields=["decision", "decided_at", "decided_by", "decision_reason"])
    trail.record(
        actor=act.actor,
        act="certification declined",
        about=proposal,
        payload={
            "person": proposal.person.employee_number,
            "scope": proposal.scope.code,
            "reason": proposal.decision_reason,
        },
        at=act.at,
    )
    return proposal


def why_may_not_decline(user: User, proposal: Proposal) -> str:
    """Empty where the user may decline or take back a proposal, else why not."""
    if user.pk == proposal.signature.signer_id:
        return ""
    return certificates.why_may_not_issue(user, proposal.person, proposal.scheme_revision, [])


@dataclass
class Together:
    """What became of several acts under one proof: what was done, and why the others were not.

    ``stayed`` has the name of each that was refused, and the sentence that says why.
    """

    done: list[Any] = field(default_factory=list)
    stayed: list[tuple[str, str]] = field(default_factory=list)


@dataclass(frozen=True)
class Ticked:
    """What was ticked on a page with many: a candidate or a proposal, as the page showed it.

    ``shown`` is the digest of what would be signed, None where no page was shown;
    ``restriction`` is what it allows alone.
    """

    what: Any
    shown: str | None
    restriction: str = ""


def propose_together(ticked: Iterable[Ticked], *, act: Act, note: str = "") -> Together:
    """Propose each of some candidates, each signed by itself; whoever cannot be proposed stays.

    Every proposal is a transaction of its own, so that none holds the locks of two people and
    a refusal undoes no other.
    """
    together = Together()
    for one in ticked:
        candidate: Candidate = one.what
        try:
            together.done.append(
                propose(
                    person=candidate.person,
                    scope=candidate.scope,
                    revision=candidate.revision,
                    act=replace(act, shown=one.shown),
                    note=note,
                    restriction=one.restriction,
                )
            )
        except Refusal as error:
            together.stayed.append((_named(candidate.person, candidate.scope), str(error)))
    return together


def issue_together(ticked: Iterable[Ticked], *, act: Act) -> Together:
    """Issue what each of some proposals asks for, each signed by itself; the others stay."""
    together = Together()
    for one in ticked:
        proposal: Proposal = one.what
        try:
            together.done.append(
                certificates.issue_certificate(
                    proposal=proposal,
                    act=replace(act, shown=one.shown),
                    restriction=one.restriction,
                )
            )
        except Refusal as error:
            together.stayed.append((_named(proposal.person, proposal.scope), str(error)))
    return together


def _named(person: Person, scope: Scope) -> str:
    return _("%(name)s, %(scope)s") % {"name": person.full_name, "scope": scope}

"""Proposing somebody for a certificate, and declining a proposal."""

from collections.abc import Sequence
from datetime import date

from django.db import transaction
from django.utils.translation import gettext as _

from certification import access
from certification.exceptions import CertificationError, MayNotCertify
from certification.models import Proposal, SchemeRevision, Scope
from certification.queries import written_down
from certification.queries.requirements import Requirement, kept_evidence, requirements
from people.models import Person, User
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
) -> Proposal:
    """A proposal as it would be made that day, without what its instructor types; not stored."""
    return Proposal(
        person=person,
        scope=scope,
        scheme_revision=revision,
        renews=certificates.renewable(person, scope, revision, day),
        evidence=kept_evidence(person, scope, revision, day, checked),
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

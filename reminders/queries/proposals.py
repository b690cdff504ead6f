"""Proposals that wait: which are due to be told of, and whether what is written still holds."""

from collections.abc import Iterable
from datetime import date, timedelta

from django.utils.translation import gettext as _

from certification.models import Proposal
from people.models import Role, Site, SiteRole
from reminders.models import Reminder

from .ends import PROPOSAL


def source_of(proposal: Proposal) -> str:
    return f"{PROPOSAL}:{proposal.pk}"


def told_of_on(proposal: Proposal) -> date:
    """The day from which quality is told that a proposal waits."""
    site = proposal.person.site
    return site.today(proposal.recorded_at) + timedelta(days=site.proposal_days)


def waiting_long(site: Site, day: date) -> list[Proposal]:
    """Proposals at a site that have waited as many days as it allows, the oldest first."""
    if not site.proposal_days:
        return []
    waiting = Proposal.objects.open().filter(person__site=site).select_related("person__site")
    return [
        proposal
        for proposal in waiting.order_by("recorded_at", "pk")
        if told_of_on(proposal) <= day
    ]


def proposals_in(rows: Iterable[Reminder]) -> dict[str, Proposal]:
    """What the reminders among some rows are about that tell of proposals, by source."""
    keys = [row.source.split(":")[1] for row in rows if row.kind == PROPOSAL]
    if not keys:
        return {}
    proposals = Proposal.objects.filter(pk__in=keys).select_related(
        "person__site", "scope", "signature"
    )
    return {source_of(proposal): proposal for proposal in proposals}


def why_not_told(rows: Iterable[Reminder]) -> dict[int, str]:
    """Of rows about proposals those that are not to go out any more, each with the reason."""
    rows = [row for row in rows if row.kind == PROPOSAL]
    proposals = proposals_in(rows)
    decides = (
        set(
            SiteRole.objects.filter(
                role=Role.QUALITY,
                user__is_active=True,
                user__person__in={row.recipient_id for row in rows},
            ).values_list("user__person", "site")
        )
        if rows
        else set()
    )
    why: dict[int, str] = {}
    for row in rows:
        proposal = proposals.get(row.source)
        if proposal is None or proposal.decision:
            why[row.pk] = _("It was decided before this could go out.")
        elif (row.recipient_id, proposal.person.site_id) not in decides:
            words = {"name": row.recipient.full_name, "site": proposal.person.site}
            why[row.pk] = _("%(name)s does not decide at %(site)s any more.") % words
    return why

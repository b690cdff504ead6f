"""Telling quality, once, of each proposal that has waited as long as its site allows."""

from datetime import date, datetime

from people.models import Site
from people.queries.calendars import working_days_at
from reminders.models import Reminder
from reminders.queries.ends import PROPOSAL
from reminders.queries.proposals import source_of, told_of_on, waiting_long
from reminders.queries.readers import address_of, quality_at


def write_waiting_proposals(site: Site, day: date, now: datetime) -> int:
    """Write a row for everybody who decides at a site and was not told yet; count them.

    On working days alone, and once for each reader and proposal, though the site changes how
    many days it allows. Nobody is told of a proposal about themselves.
    """
    if day not in working_days_at(site):
        return 0
    proposals = waiting_long(site, day)
    if not proposals:
        return 0
    readers = [person for person in quality_at(site, day) if address_of(person)]
    told = set(
        Reminder.objects.filter(
            kind=PROPOSAL, source__in=[source_of(proposal) for proposal in proposals]
        ).values_list("source", "recipient")
    )
    rows = [
        Reminder(
            person_id=proposal.person_id,
            source=source_of(proposal),
            kind=PROPOSAL,
            ends_on=told_of_on(proposal),
            step=0,
            recipient=reader,
            state=Reminder.State.WAITING,
            recorded_at=now,
        )
        for proposal in proposals
        for reader in readers
        if reader.pk != proposal.person_id and (source_of(proposal), reader.pk) not in told
    ]
    Reminder.objects.bulk_create(rows, ignore_conflicts=True)
    return len(rows)

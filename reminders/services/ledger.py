"""Writing the ledger of reminders: the rows of a day, as they are planned."""

from datetime import date, datetime, timedelta

from django.db import transaction

from people.models import Person, Site
from people.queries.calendars import working_days_at
from reminders.domain.reminders import Outcome
from reminders.models import Reminder, SiteSweep
from reminders.queries.ends import (
    ends_due,
    find_due,
    steps_by_revision,
)
from reminders.queries.plan import PlannedStep, plan, reason_in_words, recorded_steps
from reminders.queries.readers import address_of, instructors_at, people_with_leads

from .lists import write_lists
from .proposals import write_waiting_proposals

PEOPLE_AT_A_TIME = 500
ROWS_AT_A_TIME = 1000


def write_rows(site: Site, day: date, now: datetime) -> int:
    """Write the ledger's rows of a day, some hundred people in a transaction; count them."""
    swept_on = SiteSweep.objects.filter(site=site).values_list("day", flat=True).first()
    if swept_on is not None and swept_on > day:
        swept_on = day - timedelta(days=1)  # That was another clock.
    steps = steps_by_revision()
    due = find_due(site, day, steps)
    due_people = due.people()
    working = working_days_at(site)
    row_count = 0
    for start in range(0, len(due_people), PEOPLE_AT_A_TIME):
        batch = due_people[start : start + PEOPLE_AT_A_TIME]
        with transaction.atomic():
            endings = ends_due(due, batch, steps).on(day)
            planned = plan(
                people_with_leads(batch),
                endings,
                day,
                site=site,
                working=working,
                recorded=recorded_steps(endings),
                swept_on=swept_on,
            )
            rows = [row for planned_step in planned for row in _rows(planned_step, now)]
            Reminder.objects.bulk_create(rows, batch_size=ROWS_AT_A_TIME, ignore_conflicts=True)
            row_count += len(rows)
    readers = [person for person in instructors_at(site, day) if address_of(person)]
    row_count += write_lists(site, day, now, readers)
    return row_count + write_waiting_proposals(site, day, now)


def _rows(planned: PlannedStep, now: datetime) -> list[Reminder]:
    return [
        Reminder(
            person_id=planned.person.pk,
            source=planned.ending.source,
            kind=planned.ending.kind,
            ends_on=planned.ending.ends_on,
            step=planned.decision.step,
            recipient_id=reader.pk,
            state=_first_state(planned, reader),
            why=reason_in_words(planned),
            recorded_at=now,
        )
        for reader in planned.readers
    ]


def _first_state(planned: PlannedStep, reader: Person) -> Reminder.State:
    if planned.decision.outcome == Outcome.OVERTAKEN:
        return Reminder.State.OVERTAKEN
    if planned.decision.outcome == Outcome.DROPPED:
        return Reminder.State.DROPPED
    return Reminder.State.WAITING if address_of(reader) else Reminder.State.LISTED

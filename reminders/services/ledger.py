"""The ledger of reminders: which row is written on a day, and which still holds later.

Planning is apart from writing, so that what will go out in the coming days is worked out
by the same code as what goes out today.
"""

import re
from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from email.errors import MessageError
from email.headerregistry import Address

from django.db import transaction
from django.db.models import F, QuerySet
from django.utils.encoding import punycode
from django.utils.translation import gettext as _

from people.models import Person, Role, Site, User
from reminders.domain import reminders as domain
from reminders.domain.reminders import Decision, Ending, Outcome, Reason
from reminders.models import Reminder, SiteSweep
from reminders.queries.ends import (
    CALIBRATION,
    Key,
    ends_due,
    find_due,
    in_words,
    steps_by_revision,
)

from .lists import write_lists

PEOPLE_AT_A_TIME = 500
ROWS_AT_A_TIME = 1000

_ATOM = r"[a-z0-9_+-]+"
ORDINARY_ADDRESS = re.compile(rf"{_ATOM}(\.{_ATOM})*@[a-z0-9-]+(\.[a-z0-9-]+)*", re.ASCII)


@dataclass(frozen=True, slots=True)
class PlannedStep:
    """One step of one end, what becomes of it on a day, and who reads of it."""

    person: Person
    ending: Ending
    decision: Decision
    readers: tuple[Person, ...]


def address_of(person: Person) -> str:
    """Where somebody's mail goes, written one way, so that one mailbox is one recipient.

    Empty where there is no address, or none that a mail can be sent to.
    """
    return usable_address(person.email)


def usable_address(email: str) -> str:
    name, at, host = email.strip().lower().rpartition("@")
    if not (name and at and host and name.isascii() and name.isprintable()) or " " in name:
        return ""
    try:
        address = f"{name}@{punycode(host)}"
        if ORDINARY_ADDRESS.fullmatch(address):
            return address
        # What cannot stand in a mail's head would stop the mail from being written.
        return address if Address(addr_spec=address).addr_spec == address else ""
    except (UnicodeError, ValueError, IndexError, MessageError):
        return ""


def reachable_lead(person: Person, day: date) -> Person | None:
    """The line lead who can be written to on a day."""
    lead = person.line_lead
    if lead is None or lead.pk == person.pk or not address_of(lead) or not is_employed(lead, day):
        return None
    return lead


def is_employed(person: Person, day: date) -> bool:
    return person.left_on is None or person.left_on >= day


def plan(
    people: Iterable[Person],
    endings: Iterable[Ending],
    day: date,
    *,
    site: Site,
    recorded: dict[Key, set[int]],
    swept_on: date | None,
) -> list[PlannedStep]:
    """Decide about everything that is due on a day for some people of a site.

    Parameters
    ----------
    people : iterable of Person
        With their line leads.
    endings : iterable of Ending
        Theirs, as they are on the day.
    day : date
        In the site's calendar.
    recorded : dict of Key to set of int
        The steps of each end that are in the ledger.
    swept_on : date or None
        The last day swept to its end at the site.
    """
    by_pk = {person.pk: person for person in people}
    week = domain.working_week(site.working_days)
    planned = []
    for ending in endings:
        person = by_pk.get(ending.person_id)
        if person is None or not is_employed(person, day):
            continue
        for decision in domain.decide(
            ending,
            day,
            working_days=week,
            recorded=recorded.get(ending.key, ()),
            starts_on=site.reminders_start_on,
            swept_on=swept_on,
        ):
            readers = _readers(person, ending, decision, day)
            planned.append(PlannedStep(person, ending, decision, readers))
    return planned


def _readers(person: Person, ending: Ending, decision: Decision, day: date) -> tuple[Person, ...]:
    """Who reads of a step: the person, and from some day on, or for want of an address,
    the line lead."""
    lead = reachable_lead(person, day)
    if decision.outcome != Outcome.GO or lead is None or ending.kind == CALIBRATION:
        return (person,)
    copied = domain.lead_is_copied(ending, decision.step, day) or not address_of(person)
    return (person, lead) if copied else (person,)


# Writing the day's rows


def write_rows(site: Site, day: date, now: datetime) -> int:
    """Write the ledger's rows of a day, some hundred people in a transaction; count them."""
    swept_on = SiteSweep.objects.filter(site=site).values_list("day", flat=True).first()
    if swept_on is not None and swept_on > day:
        swept_on = day - timedelta(days=1)  # That was another clock.
    steps = steps_by_revision()
    due = find_due(site, day, steps)
    due_people = due.people()
    row_count = 0
    for start in range(0, len(due_people), PEOPLE_AT_A_TIME):
        batch = due_people[start : start + PEOPLE_AT_A_TIME]
        with transaction.atomic():
            endings = ends_due(due, batch, steps).on(day)
            planned = plan(
                _people_with_leads(batch),
                endings,
                day,
                site=site,
                recorded=recorded_steps(endings),
                swept_on=swept_on,
            )
            rows = [row for planned_step in planned for row in _rows(planned_step, now)]
            Reminder.objects.bulk_create(rows, batch_size=ROWS_AT_A_TIME, ignore_conflicts=True)
            row_count += len(rows)
    readers = [person for person in instructors_at(site, day) if address_of(person)]
    return row_count + write_lists(site, day, now, readers)


def _people_with_leads(person_ids: Collection[int]) -> QuerySet[Person]:
    """People with as much of them and their line leads as says who reads of what."""
    needed = ("email", "left_on", "line_lead")
    return (
        Person.objects.filter(pk__in=person_ids)
        .select_related("line_lead")
        .only(*needed, *(f"line_lead__{name}" for name in needed))
        .order_by("full_name", "pk")
    )


def people_of(person_ids: Collection[int]) -> list[Person]:
    return list(
        Person.objects.filter(pk__in=person_ids)
        .select_related("site", "line_lead__site")
        .order_by("full_name", "pk")
    )


def recorded_steps(endings: Collection[Ending]) -> dict[Key, set[int]]:
    """The steps that the ledger holds of each of these ends, as the person reads of them."""
    steps: dict[Key, set[int]] = defaultdict(set)
    # By person and day, not by source: SQLite would look for every source at every person.
    rows = Reminder.objects.filter(
        person__in={ending.person_id for ending in endings},
        ends_on__in={ending.ends_on for ending in endings},
        recipient=F("person"),
    )
    for person_id, source, kind, ends_on, step in rows.order_by().values_list(
        "person", "source", "kind", "ends_on", "step"
    ):
        steps[person_id, source, kind, ends_on].add(step)
    return steps


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


def reason_in_words(planned: PlannedStep) -> str:
    match planned.decision.reason:
        case Reason.BY_A_LATER_STEP:
            return _("A later step was due as well.")
        case Reason.ENDED_BEFORE_SEEN:
            return _("It had ended before it was first seen.")
        case Reason.ENDED_BEFORE_START:
            return _("It ended before the site's first day of reminders.")
        case Reason.STOPPED:
            return _("It is %(standing)s since.") % {"standing": in_words(planned.ending.stopped)}
    return ""


def instructors_at(site: Site, day: date) -> list[Person]:
    teaching = User.objects.filter(
        roles__site=site, roles__role=Role.INSTRUCTOR, is_active=True, person__isnull=False
    )
    return list(Person.objects.at_work_on(day).filter(user__in=teaching).select_related("site"))

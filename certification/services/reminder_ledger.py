"""The ledger of reminders: which row is written on a day, and which still holds later.

Planning is apart from writing, so that what will go out in the coming days is worked out
by the same code as what goes out today.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.db.models import F
from django.utils.encoding import punycode
from django.utils.translation import gettext as _

from certification.domain import reminders as domain
from certification.domain.reminders import Decision, Ending, Outcome, Reason
from certification.models import Reminder, SiteSweep
from training.models import Person, Role, Site, User

from .reminder_ends import (
    CALIBRATION,
    Key,
    ends_of,
    in_words,
    people_with_steps_due,
    steps_by_revision,
)
from .reminder_lists import write_lists

PEOPLE_AT_A_TIME = 200
ROWS_AT_A_TIME = 1000


@dataclass(frozen=True, slots=True)
class Planned:
    """One step of one end, what becomes of it on a day, and who reads of it."""

    person: Person
    ending: Ending
    decision: Decision
    readers: tuple[Person, ...]


def address_of(person: Person) -> str:
    """Where somebody's mail goes, written one way, so that one mailbox is one recipient.

    Empty where there is no address, or none that a mail can be sent to.
    """
    name, at, host = person.email.strip().lower().rpartition("@")
    if not (name and at and host and name.isascii() and name.isprintable()) or " " in name:
        return ""
    try:
        return f"{name}@{punycode(host)}"
    except UnicodeError:
        return ""


def lead_of(person: Person, day: date) -> Person | None:
    """The line lead who can be written to on a day."""
    lead = person.line_lead
    if lead is None or lead.pk == person.pk or not address_of(lead) or not is_here(lead, day):
        return None
    return lead


def is_here(person: Person, day: date) -> bool:
    return person.left_on is None or person.left_on >= day


def plan(
    people: Iterable[Person],
    endings: Iterable[Ending],
    day: date,
    *,
    site: Site,
    recorded: dict[Key, set[int]],
    swept_on: date | None,
) -> list[Planned]:
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
        if person is None or not is_here(person, day):
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
            planned.append(Planned(person, ending, decision, readers))
    return planned


def _readers(person: Person, ending: Ending, decision: Decision, day: date) -> tuple[Person, ...]:
    """Who reads of a step: the person, and from some day on, or for want of an address,
    the line lead."""
    lead = lead_of(person, day)
    if decision.outcome != Outcome.GO or lead is None or ending.kind == CALIBRATION:
        return (person,)
    copied = domain.lead_is_copied(ending, decision.step, day) or not address_of(person)
    return (person, lead) if copied else (person,)


# Writing the day's rows


def write_rows(site: Site, day: date, now: datetime) -> int:
    """Write the ledger's rows of a day, some hundred people in a transaction; count them."""
    swept_on = SiteSweep.objects.filter(site=site).values_list("day", flat=True).first()
    steps = steps_by_revision()
    waiting = people_with_steps_due(site, day, steps)
    written = 0
    for start in range(0, len(waiting), PEOPLE_AT_A_TIME):
        lot = waiting[start : start + PEOPLE_AT_A_TIME]
        with transaction.atomic():
            endings = ends_of(lot, steps).on(day)
            planned = plan(
                people_of(lot),
                endings,
                day,
                site=site,
                recorded=recorded_steps(endings),
                swept_on=swept_on,
            )
            rows = [row for one in planned for row in _rows(one, now)]
            Reminder.objects.bulk_create(rows, batch_size=ROWS_AT_A_TIME, ignore_conflicts=True)
            written += len(rows)
    readers = [person for person in instructors_at(site, day) if address_of(person)]
    return written + write_lists(site, day, now, readers)


def people_of(person_ids: Collection[int]) -> list[Person]:
    return list(
        Person.objects.filter(pk__in=person_ids)
        .select_related("site", "line_lead__site")
        .order_by("full_name", "pk")
    )


def recorded_steps(endings: Collection[Ending]) -> dict[Key, set[int]]:
    """The steps that the ledger holds of each of these ends, as the person reads of them."""
    found: dict[Key, set[int]] = defaultdict(set)
    rows = Reminder.objects.filter(
        person__in={ending.person_id for ending in endings},
        source__in={ending.source for ending in endings},
        recipient=F("person"),
    )
    for person_id, source, kind, ends_on, step in rows.order_by().values_list(
        "person", "source", "kind", "ends_on", "step"
    ):
        found[person_id, source, kind, ends_on].add(step)
    return found


def _rows(one: Planned, now: datetime) -> list[Reminder]:
    return [
        Reminder(
            person=one.person,
            source=one.ending.source,
            kind=one.ending.kind,
            ends_on=one.ending.ends_on,
            step=one.decision.step,
            recipient=reader,
            state=_first_state(one, reader),
            why=reason_in_words(one),
            recorded_at=now,
        )
        for reader in one.readers
    ]


def _first_state(one: Planned, reader: Person) -> Reminder.State:
    if one.decision.outcome == Outcome.OVERTAKEN:
        return Reminder.State.OVERTAKEN
    if one.decision.outcome == Outcome.DROPPED:
        return Reminder.State.DROPPED
    return Reminder.State.WAITING if address_of(reader) else Reminder.State.LISTED


def reason_in_words(one: Planned) -> str:
    match one.decision.reason:
        case Reason.BY_A_LATER_STEP:
            return _("A later step was due as well.")
        case Reason.ENDED_BEFORE_SEEN:
            return _("It had ended before it was first seen.")
        case Reason.ENDED_BEFORE_START:
            return _("It ended before the site's first day of reminders.")
        case Reason.STOPPED:
            return _("It is %(standing)s since.") % {"standing": in_words(one.ending.stopped)}
    return ""


def instructors_at(site: Site, day: date) -> list[Person]:
    teaching = User.objects.filter(
        roles__site=site, roles__role=Role.INSTRUCTOR, is_active=True, person__isnull=False
    )
    return list(Person.objects.at_work_on(day).filter(user__in=teaching).select_related("site"))

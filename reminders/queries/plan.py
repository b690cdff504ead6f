"""What becomes of every step that is due on a day, and who reads of it.

Planning is apart from writing, so that what will go out in the coming days is worked out
by the same code as what goes out today.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import F
from django.utils.translation import gettext as _

from people.domain.working_days import WorkingDays
from people.models import Person, Site
from reminders.domain import reminders as domain
from reminders.domain.reminders import Decision, Ending, Outcome, Reason
from reminders.models import Reminder

from .ends import CALIBRATION, Key, in_words
from .readers import address_of, is_employed, reachable_lead


@dataclass(frozen=True, slots=True)
class PlannedStep:
    """One step of one end, what becomes of it on a day, and who reads of it."""

    person: Person
    ending: Ending
    decision: Decision
    readers: tuple[Person, ...]


def plan(
    people: Iterable[Person],
    endings: Iterable[Ending],
    day: date,
    *,
    site: Site,
    working: WorkingDays,
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
    working : WorkingDays
        `people.queries.calendars.working_days_at` the site.
    recorded : dict of Key to set of int
        The steps of each end that are in the ledger.
    swept_on : date or None
        The last day swept to its end at the site.
    """
    by_pk = {person.pk: person for person in people}
    planned = []
    for ending in endings:
        person = by_pk.get(ending.person_id)
        if person is None or not is_employed(person, day):
            continue
        for decision in domain.decide(
            ending,
            day,
            working_days=working,
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

"""Lists of what ends at a site, for those who teach there: as often as each of them wants."""

from collections import defaultdict
from collections.abc import Collection
from datetime import date, datetime

from django.db import transaction

from people.models import Person, Site, User
from people.queries.calendars import working_days_at
from records.services import trail
from reminders.domain import reminders as domain
from reminders.domain.reminders import HowOften
from reminders.models import MailChoice, Reminder
from reminders.queries.ends import WEEK_LIST, upcoming_people


def how_often(person: Person) -> str:
    """How often somebody wants lists."""
    chosen = MailChoice.objects.filter(person=person).values_list("lists", flat=True).first()
    return chosen or MailChoice.Lists.WEEKLY


@transaction.atomic
def choose_lists(*, person: Person, lists: str, actor: User, at: datetime) -> None:
    """Set how often somebody gets lists; what is in the ledger already goes out."""
    before = how_often(person)
    if lists == before:
        return
    MailChoice.objects.update_or_create(person=person, defaults={"lists": lists})
    trail.record(
        actor=actor,
        act="frequency of lists chosen",
        about=person,
        payload={"before": before, "after": lists},
        at=at,
    )


def write_lists(site: Site, day: date, now: datetime, readers: Collection[Person]) -> int:
    """Write a row for everybody whose list is due on a day and not in the ledger; count them."""
    chosen = dict(MailChoice.objects.filter(person__in=readers).values_list("person", "lists"))
    by_choice: dict[str, list[Person]] = defaultdict(list)
    for person in readers:
        by_choice[chosen.get(person.pk, HowOften.WEEKLY.value)].append(person)
    rows: list[Reminder] = []
    working = working_days_at(site)
    for choice, people in by_choice.items():
        through = domain.list_through(choice, day, working)
        if through is None:
            continue
        this = {"source": _source(site, choice), "kind": WEEK_LIST, "ends_on": through, "step": 0}
        have = set(Reminder.objects.filter(**this).values_list("recipient", flat=True))
        rows += [
            Reminder(
                **this,
                person=person,
                recipient=person,
                state=Reminder.State.WAITING,
                recorded_at=now,
            )
            for person in people
            if person.pk not in have
        ]
    if not rows or not upcoming_people(site, day):
        return 0
    Reminder.objects.bulk_create(rows, ignore_conflicts=True)
    return len(rows)


def _source(site: Site, choice: str) -> str:
    """What a list's row is told by: the days a list is for may be the same for two kinds."""
    return f"{WEEK_LIST}:{site.prefix}" + ("" if choice == HowOften.WEEKLY else f":{choice}")

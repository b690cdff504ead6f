"""How many people a list would have leave, of those who are at work."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from math import floor

from people.models import Person, Site

from .list_bringers import Bringer
from .list_plan import Plan

MOST_LEAVING_PERCENT = 5


@dataclass(frozen=True, slots=True)
class Leaving:
    """That more would leave at once than a list may have leave without a word."""

    leaving: int
    at_work: int
    most: int


def staff_at_work(bringer: Bringer, at: datetime) -> Iterable[Person]:
    """Own staff at work at the sites of the bringer; whoever has a last day leaves by it."""
    for site in Site.objects.filter(pk__in=bringer.people_sites):
        people = Person.objects.filter(site=site, kind=Person.Kind.OWN, left_on__isnull=True)
        yield from people.at_work_on(site.today(at)).select_related("site")


def own_staff_ending(plan: Plan) -> list[Person]:
    """Own staff without a last day to whom a list gives one."""
    return [
        person
        for person in plan.ending_sooner
        if person.left_on is None and person.kind == Person.Kind.OWN
    ]


def too_many(leaving: int, at_work: int, percent: int = MOST_LEAVING_PERCENT) -> Leaving | None:
    """What is too much of it: more than a share, of which one who is not the last is none.

    Examples
    --------
    >>> too_many(2, 40), too_many(1, 2), too_many(1, 1, 100)
    (None, None, None)
    >>> too_many(3, 40)
    Leaving(leaving=3, at_work=40, most=2)
    >>> too_many(1, 1)
    Leaving(leaving=1, at_work=1, most=0)
    """
    most = max(floor(at_work * percent / 100), min(1, at_work - 1))
    return Leaving(leaving, at_work, most) if leaving > most else None


def too_many_of_list(plan: Plan, bringer: Bringer, at: datetime) -> Leaving | None:
    """Whether a list that says nothing of who is absent gives too many a last day."""
    ending = own_staff_ending(plan)
    return too_many(len(ending), sum(1 for _each in staff_at_work(bringer, at))) if ending else None

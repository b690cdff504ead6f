"""On which days people are away."""

from collections.abc import Collection, Iterable
from datetime import date

from people.models import Person
from training.models import Absence, AwayLimit


def away_on(person_ids: Iterable[int], days: Collection[date]) -> dict[int, set[date]]:
    """Of these days those on which somebody is away, by the key of whoever is on any of them."""
    away: dict[int, set[date]] = {}
    absences = Absence.objects.touching(days).filter(person__in=set(person_ids))
    for person_id, first, last in absences.order_by().values_list(
        "person", "from_day", "through_day"
    ):
        held = {day for day in days if first <= day <= last}
        if held:
            away.setdefault(person_id, set()).update(held)
    return away


def limits_of(lead_ids: Iterable[int]) -> dict[int, int]:
    """How many of their people may be away at once, of those line leads who have a limit."""
    limits = AwayLimit.objects.filter(lead__in=set(lead_ids))
    return dict(limits.values_list("lead", "people"))


def led_by(lead_ids: Iterable[int]) -> dict[int, int]:
    """Everybody whom one of these people leads, with who leads them."""
    led = Person.objects.filter(line_lead__in=set(lead_ids)).order_by()
    return {person: lead for person, lead in led.values_list("pk", "line_lead") if lead is not None}

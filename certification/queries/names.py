"""Which certificates bear a name that their holder has no more."""

from datetime import date

from certification.models import Certificate
from people.models import Person

from . import standing_on_day


def bearing_another_name(person: Person, day: date) -> list[Certificate]:
    """Certificates in force on a day whose paper bears another name than their holder's.

    What others issued stays on their paper, so certificates from elsewhere are none of them.
    """
    certificates = (
        Certificate.objects.filter(person=person, withdrawal__isnull=True)
        .exclude(origin=Certificate.Origin.ELSEWHERE)
        .select_related("person", "scope")
        .prefetch_related("names")
        .order_by("number")
    )
    other = [row for row in certificates if row.printed_name != person.full_name]
    if not other:
        return []
    facts = standing_on_day.facts_for_many([person.pk]).by_person_and_scope
    histories = {
        number: history
        for each in facts.values()
        for number, history in standing_on_day.histories_in(each).items()
    }
    return [
        row
        for row in other
        if (history := histories.get(row.number)) is not None
        and row.issued_on <= history.last_day
        and day <= history.last_day
        and not standing_on_day.is_revoked_on(history, max(day, row.issued_on))
    ]


def name_since(person: Person, day: date) -> date:
    """Since when somebody has the name they have; a day where it was only put right."""
    latest = person.name_changes.filter(after=person.full_name).order_by("-from_day").first()
    return latest.from_day if latest else day

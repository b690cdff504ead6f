"""What was true of somebody on a past day: what is recorded now is the present alone."""

from dataclasses import dataclass
from datetime import date

from people.models import Person, User


@dataclass(frozen=True, slots=True)
class Change:
    """One change of somebody, as their page tells it."""

    kind: str
    before: str
    after: str
    from_day: date
    reason: str
    by: User | None


def name_on(person: Person, day: date) -> str:
    """The name that somebody had on a day."""
    changes = list(person.name_changes.order_by("from_day", "pk"))
    begun = [change for change in changes if change.from_day <= day]
    if begun:
        return begun[-1].after if begun[-1] != changes[-1] else person.full_name
    return changes[0].before if changes else person.full_name


def line_lead_on(person: Person, day: date) -> Person | None:
    """The line lead that somebody had on a day; as now where nothing is known of it."""
    changes = list(
        person.line_lead_changes.select_related("before", "after").order_by("from_day", "pk")
    )
    begun = [change for change in changes if change.from_day <= day]
    if begun:
        return begun[-1].after
    return changes[0].before if changes else person.line_lead


def changes_of(person: Person) -> list[Change]:
    """Names and line leads that somebody had before, the latest change first."""
    names = [
        Change("name", row.before, row.after, row.from_day, row.reason, row.entered_by)
        for row in person.name_changes.select_related("entered_by__person")
    ]
    leads = [
        Change(
            "lead",
            str(row.before or ""),
            str(row.after or ""),
            row.from_day,
            row.reason,
            row.entered_by,
        )
        for row in person.line_lead_changes.select_related("before", "after", "entered_by__person")
    ]
    return sorted([*names, *leads], key=lambda change: change.from_day, reverse=True)

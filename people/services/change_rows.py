"""Rows of what changed of somebody from a day on, each with its entry in the trail.

The person is locked by whoever calls, and written by them too.
"""

from datetime import date, datetime

from people.models import LineLeadChange, NameChange, Person, User
from people.queries import written_down
from records.services import trail


def write_name_change(
    person: Person, *, after: str, from_day: date, reason: str, actor: User, at: datetime
) -> None:
    row = NameChange.objects.create(
        person=person,
        before=person.full_name,
        after=after,
        from_day=from_day,
        reason=reason,
        entered_by=actor,
        recorded_at=at,
    )
    content = written_down.name_change_content(row)
    trail.record(actor=actor, act=written_down.NAME_CHANGED, about=row, payload=content, at=at)


def write_line_lead(
    person: Person,
    *,
    before: Person | None,
    after: Person | None,
    from_day: date,
    reason: str,
    actor: User | str | None,
    at: datetime,
) -> None:
    """No day before the last change, so that the latest row says who leads them now."""
    latest = person.line_lead_changes.order_by("-from_day").first()
    row = LineLeadChange.objects.create(
        person=person,
        before=before,
        after=after,
        from_day=max(from_day, latest.from_day) if latest else from_day,
        reason=reason,
        # The trail names the program where one did it.
        entered_by=actor if isinstance(actor, User) else None,
        recorded_at=at,
    )
    content = written_down.line_lead_content(row)
    act = written_down.LINE_LEAD_CHANGED
    trail.record(actor=actor, act=act, about=row, payload=content, at=at)

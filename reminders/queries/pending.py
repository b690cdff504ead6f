"""Whether a reminder that has not gone out yet still holds, and if not, why."""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from django.utils.translation import gettext as _

from people.models import Role, Site, SiteRole
from people.presenters.days import format_day
from people.queries.calendars import working_days_of
from reminders.domain import reminders as domain
from reminders.domain.reminders import DAY_AFTER, Ending
from reminders.models import Reminder

from .ends import CERTIFIED, PROPOSAL, WEEK_LIST, Ends, Key, ends_of, in_words
from .proposals import why_not_told


@dataclass(frozen=True)
class PendingReminders:
    """Rows that still hold with the ends they are about, and why the others do not."""

    valid: list[tuple[Reminder, Ending | None]]
    obsolete: list[tuple[Reminder, Reminder.State, str]]


def check_pending(
    rows: Collection[Reminder], now: datetime, on: date | None = None
) -> PendingReminders:
    """Tell the reminders that still hold from those that are overtaken or no longer needed.

    Parameters
    ----------
    rows : collection of Reminder
        With person and recipient and their sites.
    now : datetime
    on : date or None
        The day to judge by; by default the day at each person's site.
    """
    ends = ends_of({row.person_id for row in rows})
    steps = _other_steps(rows)
    not_told = why_not_told(rows) | _why_not_listed(rows)
    working = working_days_of({row.person.site for row in rows})
    by_day: dict[date, dict[Key, Ending]] = {}
    pending = PendingReminders([], [])
    for row in rows:
        day = on or row.person.site.today(now)
        if day not in by_day:
            by_day[day] = ends.by_key(day)
        ending = by_day[day].get(key_of(row))
        reach = domain.reach(day, working[row.person.site_id])
        others = steps[key_of(row), row.recipient_id]
        state, why = _obsolete_state(row, ending, day, reach, others)
        if not why and row.pk in not_told:
            state, why = Reminder.State.DROPPED, not_told[row.pk]
        if not why and row.kind not in (WEEK_LIST, PROPOSAL) and ending is None:
            state, why = Reminder.State.DROPPED, _why_no_longer(row, ends, day)
        if why:
            pending.obsolete.append((row, state, why))
        else:
            pending.valid.append((row, ending))
    return pending


def key_of(row: Reminder) -> Key:
    return row.person_id, row.source, row.kind, row.ends_on


def site_of_list(row: Reminder) -> str:
    """The prefix of the site of whose people a list of what ends tells."""
    return row.source.split(":")[1]


def _other_steps(rows: Collection[Reminder]) -> dict[tuple[Key, int], set[int]]:
    """The steps that each reader has of each of these ends, without the overtaken."""
    steps: dict[tuple[Key, int], set[int]] = defaultdict(set)
    reminders = Reminder.objects.filter(
        person__in={row.person_id for row in rows}, source__in={row.source for row in rows}
    ).exclude(state=Reminder.State.OVERTAKEN)
    for row in reminders.only("person_id", "source", "kind", "ends_on", "step", "recipient_id"):
        steps[key_of(row), row.recipient_id].add(row.step)
    return steps


def _is_overtaken(row: Reminder, reach: date, steps: Collection[int]) -> bool:
    """Whether a later step's day has come; one that a wrong clock sent too early is none."""
    left = (row.ends_on - reach).days
    return any(left <= step < row.step for step in steps)


def _obsolete_state(
    row: Reminder, ending: Ending | None, day: date, reach: date, steps: Collection[int]
) -> tuple[Reminder.State, str]:
    """Why a reminder is not to go out though what it tells of still ends; empty if it is."""
    for person in (row.person, row.recipient):
        if person.left_on is not None and person.left_on < day:
            why = _("%(name)s left: the last day here was %(day)s.")
            return Reminder.State.DROPPED, why % {
                "name": person.full_name,
                "day": format_day(person.left_on),
            }
    if row.kind == WEEK_LIST:
        over = row.ends_on < day
        return Reminder.State.OVERTAKEN, _("The days it was for are over.") if over else ""
    if row.kind == PROPOSAL:
        return Reminder.State.WAITING, ""
    if row.recipient_id not in (row.person_id, row.person.line_lead_id):
        why = _("%(name)s is no longer the line lead.") % {"name": row.recipient.full_name}
        return Reminder.State.DROPPED, why
    if _is_overtaken(row, reach, steps):
        return Reminder.State.OVERTAKEN, _("A later step became due before it went out.")
    if row.ends_on < day and row.step != DAY_AFTER:
        return Reminder.State.OVERTAKEN, _("It ended before this could go out.")
    if ending is not None and ending.stopped:
        why = _("It is %(standing)s since.") % {"standing": in_words(ending.stopped)}
        return Reminder.State.DROPPED, why
    return Reminder.State.WAITING, ""


def _why_not_listed(rows: Collection[Reminder]) -> dict[int, str]:
    """Of lists of what ends those whose reader is an instructor there no more, with the reason."""
    lists = [row for row in rows if row.kind == WEEK_LIST]
    if not lists:
        return {}
    teach = set(
        SiteRole.objects.filter(
            role=Role.INSTRUCTOR,
            user__is_active=True,
            user__person__in={row.recipient_id for row in lists},
        ).values_list("user__person", "site__prefix")
    )
    names = dict(Site.objects.values_list("prefix", "name"))
    why = _("%(name)s does not teach at %(site)s any more.")
    return {
        row.pk: why % {"name": row.recipient.full_name, "site": names.get(prefix, prefix)}
        for row in lists
        if (row.recipient_id, prefix := site_of_list(row)) not in teach
    }


def _why_no_longer(row: Reminder, ends: Ends, day: date) -> str:
    """Say what has taken the place of an end that is no longer to come."""
    current = [
        spans[index]
        for spans in ends.scopes_of(row.person_id)
        if (index := domain.span_on(spans, day)) is not None
        and any(end.source == row.source for span in spans for end in span.ends)
    ]
    if not current:
        return _replaced(row)
    standings = {span.standing for span in current}
    if CERTIFIED not in standings:
        return _("It is %(standing)s since.") % {"standing": in_words(min(standings))}
    numbers = sorted(span.certificate for span in current if span.standing == CERTIFIED)
    if row.kind == "certificate" and row.source != f"certificate:{numbers[-1]}":
        return _("Certificate %(number)s holds now.") % {"number": numbers[-1]}
    return _replaced(row)


def _replaced(row: Reminder) -> str:
    match row.kind:
        case "vision":
            return _("Another vision test counts now.")
        case "practice":
            return _("Work was recorded since, or another certificate holds.")
        case "calibration":
            return _("Another calibration counts now, or the tool is out of use or out of service.")
    return _("Its last day has moved, or it was withdrawn.")

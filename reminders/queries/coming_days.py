"""What would go out in the coming days, by the sweep's own rules."""

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from people.domain.working_days import WorkingDays
from people.models import Site
from people.queries.calendars import working_days_at
from reminders.domain.reminders import Ending, Outcome
from reminders.models import Message, Reminder, SiteSweep

from .ends import WEEK_LIST, Key, ends_of, people_with_ends_through
from .pending import check_pending
from .plan import PlannedStep, plan, recorded_steps
from .readers import address_of, people_of

PEOPLE_AT_A_TIME = 500
DAYS_SHOWN = 30


@dataclass
class ComingDay:
    """What would go out on one day, by person."""

    day: date
    planned: list[PlannedStep] = field(default_factory=list)
    waiting: list[tuple[Reminder, Ending]] = field(default_factory=list)


def coming_days(
    site: Site, now: datetime, days: int = DAYS_SHOWN, on: date | None = None
) -> list[ComingDay]:
    """What would go out at a site from today on if nothing changed; days without are left out.

    Worked out by the sweep's own rules, with the ledger as it would be by then.
    """
    today = on or site.today(now)
    last = today + timedelta(days=days)
    days_by_date = {
        today + timedelta(days=n): ComingDay(today + timedelta(days=n)) for n in range(days + 1)
    }
    people = people_with_ends_through(site, today, last)
    swept_on = SiteSweep.objects.filter(site=site).values_list("day", flat=True).first()
    working = working_days_at(site)
    for start in range(0, len(people), PEOPLE_AT_A_TIME):
        batch = people[start : start + PEOPLE_AT_A_TIME]
        _plan_ahead(batch, site, working, days_by_date, swept_on)
    if site.reminders_start_on is None or site.reminders_start_on <= last:
        _add_waiting(site, now, days_by_date, on)
    return [
        days_by_date[day]
        for day in sorted(days_by_date)
        if days_by_date[day].planned or days_by_date[day].waiting
    ]


def _plan_ahead(
    batch: list[int],
    site: Site,
    working: WorkingDays,
    days_by_date: dict[date, ComingDay],
    swept_on: date | None,
) -> None:
    ends, people = ends_of(batch), people_of(batch)
    by_day = {day: ends.on(day) for day in sorted(days_by_date)}
    every = {ending.key: ending for endings in by_day.values() for ending in endings}
    recorded: dict[Key, set[int]] = recorded_steps(every.values())
    for day, endings in by_day.items():
        if site.reminders_start_on is not None and day < site.reminders_start_on:
            continue
        for planned in plan(
            people,
            endings,
            day,
            site=site,
            working=working,
            recorded=recorded,
            swept_on=swept_on,
        ):
            recorded[planned.ending.key].add(planned.decision.step)
            if planned.decision.outcome == Outcome.GO:
                days_by_date[day].planned.append(planned)
        swept_on = day
    for shown in days_by_date.values():
        shown.planned.sort(key=lambda planned: (planned.person.full_name, planned.ending.ends_on))


def _add_waiting(
    site: Site, now: datetime, days_by_date: dict[date, ComingDay], on: date | None
) -> None:
    """Reminders that are in the ledger and have not gone out: today, or tomorrow where the
    reader had a message today."""
    rows = list(
        Reminder.objects.unsent()
        .filter(recipient__site=site)
        .exclude(kind=WEEK_LIST)
        .exclude(message__refused=True)
        .select_related("person__site", "recipient__site", "message")
    )
    today = min(days_by_date)
    already_written_to = set(
        Message.objects.filter(day=today, sent_at__isnull=False).values_list("recipient", flat=True)
    )
    for row, ending in check_pending(rows, now, on).valid:
        waits = address_of(row.recipient) in already_written_to
        day = today + timedelta(days=1) if waits else today
        if ending is not None and day in days_by_date:
            days_by_date[day].waiting.append((row, ending))

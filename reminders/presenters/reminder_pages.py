"""What the pages of reminders show, worded for whoever looks at them."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from certification.domain.disclosure import SEE_INSTRUCTOR, end_kind_for, reader_for
from people.models import Person, Site
from reminders.domain.reminders import DAY_AFTER, Ending
from reminders.models import Message, Reminder
from reminders.queries.coming_days import DAYS_SHOWN, coming_days
from reminders.queries.ends import CALIBRATION, PROPOSAL, WEEK_LIST
from reminders.queries.pending import check_pending
from reminders.queries.readers import address_of, reachable_lead
from reminders.services import mail
from reminders.services.letters import SiteDay, kind_in_words, plain_words

PersonEndStep = tuple[Person, Ending, int]

_OF_NO_END = (PROPOSAL, WEEK_LIST)
LISTED_AFTER_END = timedelta(days=30)

SHAPES = {
    Message.State.SENT: ("accept", "is-accept"),
    Message.State.WAITING: ("open", "is-none"),
    Message.State.RETRIED: ("unsaved", "is-caution"),
    Message.State.FAILED: ("reject", "is-reject"),
    Message.State.WITHDRAWN: ("na", "is-none"),
}


@dataclass(frozen=True)
class ComingReminder:
    """One end as one person is told of it on one day."""

    what: str
    kind: str
    ends_on: date
    step: str
    readers: list[str]


@dataclass(frozen=True)
class DayOfReminders:
    """What would go out on one day, by person."""

    day: date
    people: list[tuple[Person, list[ComingReminder]]]

    @property
    def number(self) -> int:
        return sum(len(lines) for _person, lines in self.people)


def kind_for(kind: str, in_full: bool) -> str:
    """What ends, in words; to whom a vision test is none of their business, just that it does."""
    if kind in (CALIBRATION, PROPOSAL, WEEK_LIST):
        return kind_in_words(kind)
    if end_kind_for(kind, reader_for(in_full=in_full)) == SEE_INSTRUCTOR:
        return _("certification")
    return kind_in_words(kind)


def step_in_words(step: int) -> str:
    if step == DAY_AFTER:
        return _("the day after")
    if step == 0:
        return _("the last day")
    return ngettext("%(n)d day before", "%(n)d days before", step) % {"n": step}


def days_to_come(site: Site, now: datetime, text: str, in_full: bool) -> list[DayOfReminders]:
    """What would go out in the coming days to those whose name or number holds the words."""
    site_day = SiteDay(site, site.today(now))
    days = []
    for coming_day in coming_days(site, now, DAYS_SHOWN):
        readers_of: dict[PersonEndStep, list[Person]] = {
            (planned.person, planned.ending, planned.decision.step): list(planned.readers)
            for planned in coming_day.planned
        }
        for row, ending in coming_day.waiting:
            readers_of.setdefault((row.person, ending, row.step), []).append(row.recipient)
        people: dict[Person, list[ComingReminder]] = defaultdict(list)
        for (person, ending, step), readers in readers_of.items():
            if _matches(person, text):
                people[person].append(_line(site_day, person, ending, step, readers, in_full))
        if people:
            for lines in people.values():
                lines.sort(key=lambda line: (line.ends_on, line.what))
            days.append(
                DayOfReminders(
                    coming_day.day, sorted(people.items(), key=lambda pair: pair[0].full_name)
                )
            )
    return days


def _matches(person: Person, text: str) -> bool:
    return all(
        word in f"{person.full_name} {person.employee_number}".lower()
        for word in text.lower().split()
    )


def _line(
    site_day: SiteDay,
    person: Person,
    ending: Ending,
    step: int,
    readers: Iterable[Person],
    in_full: bool,
) -> ComingReminder:
    return ComingReminder(
        site_day.what(ending),
        kind_for(ending.kind, in_full),
        ending.ends_on,
        step_in_words(step),
        [
            _reached_at(reader, person)
            for reader in sorted(
                readers, key=lambda reader: (reader.pk != person.pk, reader.full_name)
            )
        ],
    )


def _reached_at(reader: Person, person: Person) -> str:
    address = address_of(reader)
    if not address:
        return _("printed list")
    if reader.pk == person.pk:
        return address
    return _("copy to %(name)s") % {"name": reader.full_name}


# The outbox


@dataclass(frozen=True)
class ReminderInMessage:
    """One reminder as a message carries it."""

    reminder: Reminder
    kind: str
    source: str
    step: str
    state: str


def text_for(message: Message, in_full: bool) -> str | None:
    """The text of a message, or None where it is none of the reader's business.

    Every text is withheld alike: if only those about vision tests were, one would know
    which these are.
    """
    return mail.text_of(message) if in_full else None


def reminders_in(message: Message, in_full: bool) -> list[ReminderInMessage]:
    """What a message carries; what ends and why it no longer does only to whom may know."""
    rows = message.reminders.select_related("person").order_by("ends_on", "person__full_name")
    return [
        ReminderInMessage(
            row,
            kind_for(row.kind, in_full),
            row.source.split(":")[1] if in_full and row.kind not in _OF_NO_END else "",
            "" if row.kind in _OF_NO_END else step_in_words(row.step),
            _state_in_words(row, in_full),
        )
        for row in rows
    ]


def _state_in_words(row: Reminder, in_full: bool) -> str:
    if in_full and row.why:
        return f"{row.get_state_display()}: {row.why}"
    return row.get_state_display()


# The printed list


@dataclass
class PrintedListEntry:
    """Somebody without an address, what they are to be told, and who can pass it on."""

    person: Person
    lead: Person | None
    lines: list[str] = field(default_factory=list)


def printed_list(site: Site, now: datetime) -> list[PrintedListEntry]:
    """Those at a site whom no mail reaches and for whom a reminder still holds, by name.

    A sheet of paper is read by others, so it says of every end the same.
    """
    today = site.today(now)
    site_day = SiteDay(site, today)
    rows = (
        Reminder.objects.filter(
            state=Reminder.State.LISTED,
            person__site=site,
            ends_on__gte=today - LISTED_AFTER_END,
        )
        .select_related("person__site", "person__line_lead", "recipient__site")
        .order_by("person__full_name", "ends_on", "source")
    )
    entries: dict[int, PrintedListEntry] = {}
    for row, ending in _valid_without_address(list(rows), now):
        person = row.person
        entry = entries.setdefault(
            person.pk, PrintedListEntry(person, reachable_lead(person, today))
        )
        entry.lines.append(plain_words(site_day, ending))
    return list(entries.values())


def _valid_without_address(rows: list[Reminder], now: datetime) -> list[tuple[Reminder, Ending]]:
    valid = []
    for row, ending in check_pending(rows, now).valid:
        if ending is not None and not address_of(row.person):
            valid.append((row, ending))
    return valid

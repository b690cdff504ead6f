"""What ends for one person as a calendar: RFC 5545, to be fetched again and again.

Every entry is an all-day one on a last good day. A calendar hangs open on desks and is shared
with colleagues, so unless its owner asks for more all ends but a tool's read alike: nobody
can tell a vision test's from a certificate's.
"""

import hashlib
from datetime import UTC, datetime, time, timedelta
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.db.models import Count, Max
from django.urls import reverse
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from icalendar import Alarm, Calendar, Event, vText

from certification.domain import disclosure
from certification.domain.disclosure import end_kind_for, reader_for
from certification.models import Certificate, CertificateEvent, CertificateWithdrawal
from people.models import Person
from reminders.domain.reminders import Ending
from reminders.queries.ends import CALIBRATION, ends_of
from reminders.services.letters import SiteDay
from training.models import PracticeRecord, PracticeWithdrawal, VisionTest
from training.models.vision import VisionTestWithdrawal

FETCH_AGAIN_AFTER = timedelta(hours=6)
ALARMS_FROM = 30
"""Days before an end from which on the steps of its scheme ring; mails begin earlier."""


def calendar_of(person: Person, now: datetime, in_full: bool = False) -> bytes:
    """Write somebody's calendar in the language that is active.

    Parameters
    ----------
    person : Person
        With site and line lead.
    now : datetime
        What has ended by this instant's day at the site is left out.
    in_full : bool
        Say of every end what it is.
    """
    today = person.site.today(now)
    site_day = SiteDay(person.site, today)
    sequence, changed_at = _last_change(person)
    calendar = Calendar()
    calendar.add("prodid", f"-//Jointworthy//Calendar//{(get_language() or 'en').upper()}")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    # Names that are no part of RFC 5545 itself are written as they come unless told to be text.
    title = vText(_("Certification: %(name)s") % {"name": person.full_name})
    calendar.add("name", title)
    calendar.add("x-wr-calname", title)
    calendar.add("refresh-interval", FETCH_AGAIN_AFTER, parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", "PT6H")
    for uid, ending in _entries(person, today):
        event = _event(site_day, person, ending, in_full)
        event.add("uid", uid)
        event.add("dtstamp", changed_at)
        event.add("last-modified", changed_at)
        event.add("sequence", sequence)
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def _entries(person: Person, today: Any) -> list[tuple[str, Ending]]:
    """What is to come, each with an id that stays when its day moves.

    A certificate keeps its id when it is extended, and so does the practice that keeps one
    alive when work moves its end. The same test may end on several days for schemes of
    different figures; these are numbered. The id is a hash: it must not say what ends.
    """
    coming = [ending for ending in ends_of([person.pk]).on(today) if ending.ends_on >= today]
    host = urlsplit(settings.PUBLIC_URL).hostname
    numbers: dict[str, int] = {}
    entries = []
    for ending in sorted(coming, key=lambda ending: (ending.ends_on, ending.source)):
        stem = ":".join(ending.source.split(":")[:2])
        numbers[stem] = numbers.get(stem, 0) + 1
        name = f"{person.pk} {ending.kind} {stem} {numbers[stem]}"
        entries.append((f"{hashlib.sha256(name.encode()).hexdigest()[:32]}@{host}", ending))
    return entries


def _event(site_day: SiteDay, person: Person, ending: Ending, in_full: bool) -> Event:
    event = Event()
    event.add("dtstart", ending.ends_on)
    event.add("dtend", ending.ends_on + timedelta(days=1))
    event.add("summary", _summary(site_day, ending, in_full))
    event.add("description", _description(site_day, person))
    event.add("url", settings.PUBLIC_URL + reverse("certification:my_card"))
    event.add("class", "PRIVATE")
    event.add("transp", "TRANSPARENT")  # A last day takes up nobody's time.
    for step in sorted(step for step in ending.steps if step <= ALARMS_FROM):
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", event["summary"])
        alarm.add("trigger", _from_midnight(person.site.work_starts, step))
        event.add_component(alarm)
    return event


def _from_midnight(clock: time, step: int) -> timedelta:
    """So many days before, when work starts and not when the day does (RFC 5545, 3.8.6.3: a
    trigger counts from midnight where the reader is)."""
    return timedelta(hours=clock.hour, minutes=clock.minute) - timedelta(days=step)


def _summary(site_day: SiteDay, ending: Ending, in_full: bool) -> str:
    words = {"what": site_day.what(ending), "number": ending.source.split(":")[1]}
    if ending.kind == CALIBRATION:
        return _("Calibration of tool %(what)s ends") % words
    match end_kind_for(ending.kind, reader_for(in_full=in_full)):
        case disclosure.SEE_INSTRUCTOR:
            return _("Certified through this day: %(what)s") % words
        case "vision":
            return _("Vision test ends: %(what)s") % words
        case "practice":
            return _("Work needed by this day: %(what)s") % words
    return _("Certificate %(number)s ends: %(what)s") % words


def _description(site_day: SiteDay, person: Person) -> str:
    lines = [
        _("Your card says what ends and what to do: %(url)s")
        % {"url": settings.PUBLIC_URL + reverse("certification:my_card")}
    ]
    if site_day.site.address:
        lines.append(_("Where to book:") + " " + site_day.site.address)
    contact = site_day.to_ask or (person.line_lead.full_name if person.line_lead else "")
    if contact:
        lines.append(_("Whom to ask:") + " " + contact)
    return "\n".join(lines)


def _last_change(person: Person) -> tuple[int, datetime]:
    """How often the facts behind the calendar have changed, and when last.

    Facts are only ever added, so the number grows with every change and never falls.
    """
    number, latest = 0, person.recorded_at
    for facts, instant in (
        (Certificate.objects.filter(person=person), "recorded_at"),
        (CertificateWithdrawal.objects.filter(certificate__person=person), "withdrawn_at"),
        (CertificateEvent.objects.filter(certificate__person=person), "recorded_at"),
        (VisionTest.objects.filter(person=person), "recorded_at"),
        (VisionTestWithdrawal.objects.filter(vision_test__person=person), "withdrawn_at"),
        (PracticeRecord.objects.filter(person=person), "recorded_at"),
        (PracticeWithdrawal.objects.filter(practice__person=person), "withdrawn_at"),
    ):
        totals = facts.order_by().aggregate(n=Count("pk"), at=Max(instant))
        number += totals["n"]
        latest = max(latest, totals["at"] or latest)
    return number, latest.astimezone(UTC).replace(microsecond=0)

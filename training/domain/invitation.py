"""A place in a class as a calendar entry that goes out by mail: RFC 5545, sent as RFC 5546 says.

One message holds one entry, since a message may hold components of one UID alone (RFC 5546,
3.2.2) and mail programs take the first. Several days are one daily rule with the days between
left out (RRULE and EXDATE), which is what they all read; RDATE is not. A rule needs local times
(RFC 5545, 3.8.5.3: in UTC it would shift with the clocks), so the time zone goes along.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from typing import Any
from zoneinfo import ZoneInfo

from icalendar import Calendar, Event, vCalAddress


class Method(StrEnum):
    REQUEST = "REQUEST"
    CANCEL = "CANCEL"


@dataclass(frozen=True)
class Party:
    """Who invites or is invited: a name and a mail address, both one line."""

    name: str
    address: str


@dataclass(frozen=True)
class Invitation:
    """One person's place in a class.

    Parameters
    ----------
    uid : str
        The same in every message about the place.
    sequence : int
        Greater with every message about it; a calendar keeps the greatest.
    days : sequence of date
        The days of the class, in order, at least one.
    starts, ends : time
        On each day, on the clocks of `zone`; an end that is not after the start is the next day's.
    zone : str
        An IANA time zone.
    stamp : datetime
        When the message was written, aware.
    """

    method: Method
    uid: str
    sequence: int
    summary: str
    description: str
    location: str
    organizer: Party
    attendee: Party
    days: Sequence[date]
    starts: time
    ends: time
    zone: str
    stamp: datetime
    url: str = ""


def calendar(invitation: Invitation) -> bytes:
    """Write the entry as bytes of text/calendar.

    Raises
    ------
    ValueError
        If there is no day.
    """
    if not invitation.days:
        raise ValueError("An invitation is to at least one day.")
    first, last = invitation.days[0], invitation.days[-1]
    written = Calendar()
    written.add("prodid", "-//Jointworthy//Classes//EN")
    written.add("version", "2.0")
    written.add("calscale", "GREGORIAN")
    written.add("method", invitation.method.value)
    event = Event()
    event.add("uid", invitation.uid)
    event.add("sequence", invitation.sequence)
    event.add("dtstamp", invitation.stamp.astimezone(UTC).replace(microsecond=0))
    for name, value in _times(invitation).items():
        event.add(name, value)
    event.add("summary", invitation.summary)
    event.add("description", invitation.description)
    event.add("location", invitation.location)
    if invitation.url:
        event.add("url", invitation.url)
    event.add("organizer", _party(invitation.organizer))
    attendee = _party(invitation.attendee)
    # Who comes is kept on the site: an answer by mail would change nothing there.
    attendee.params |= {"ROLE": "REQ-PARTICIPANT", "RSVP": "FALSE"}
    event.add("attendee", attendee)
    cancelled = invitation.method is Method.CANCEL
    event.add("status", "CANCELLED" if cancelled else "CONFIRMED")
    event.add("transp", "TRANSPARENT" if cancelled else "OPAQUE")
    written.add_component(event)
    written.add_missing_timezones(
        first_date=first - timedelta(days=1), last_date=last + timedelta(days=2)
    )
    return bytes(written.to_ical())


def _times(invitation: Invitation) -> dict[str, Any]:
    first, last = invitation.days[0], invitation.days[-1]
    zone = ZoneInfo(invitation.zone)
    next_day = timedelta(days=invitation.ends <= invitation.starts)
    times: dict[str, Any] = {
        "dtstart": datetime.combine(first, invitation.starts, zone),
        "dtend": datetime.combine(first + next_day, invitation.ends, zone),
    }
    length = (last - first).days + 1
    if length > 1:
        times["rrule"] = {"freq": "daily", "count": length}
    held = set(invitation.days)
    between = (first + timedelta(days=n) for n in range(length))
    left_out = [day for day in between if day not in held]
    if left_out:
        times["exdate"] = [datetime.combine(day, invitation.starts, zone) for day in left_out]
    return times


def _party(party: Party) -> vCalAddress:
    address = vCalAddress(f"mailto:{party.address}")
    # A parameter has no way to write a quotation mark or a control character (RFC 5545, 3.1).
    name = "".join(" " if ord(letter) < 32 else letter for letter in party.name.replace('"', "’"))
    address.params["CN"] = name
    return address

"""A place in a class as a calendar entry: read back by another library, day by day."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
import vobject
from dateutil.rrule import rrule, rruleset, rrulestr
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from training.domain.invitation import Invitation, Method, Party, calendar

DAYS = [date(2026, 10, 22), date(2026, 10, 23), date(2026, 10, 26)]
"""From a Thursday to the Monday after it; the clocks go back on the Sunday between."""


def invitation(**fields) -> Invitation:
    return Invitation(
        **{
            "method": Method.REQUEST,
            "uid": "class-1@example.org",
            "sequence": 3,
            "summary": "Hand soldering; terminals, day 1",
            "description": "You have a place.\nBring your glasses.",
            "location": "Bench room 2, Castelmar",
            "organizer": Party('The "works"', "training@example.org"),
            "attendee": Party("Åsa Öhrn; Jr", "asa@example.org"),
            "days": DAYS,
            "starts": time(7),
            "ends": time(16),
            "zone": "Europe/Madrid",
            "stamp": datetime(2026, 9, 1, 8, 0, 0, 5, tzinfo=UTC),
            **fields,
        }
    )


def entry(written: bytes):
    [event] = Calendar.from_ical(written).walk("VEVENT")
    return event


def occurrences(written: bytes) -> list[datetime]:
    """The beginnings as dateutil, which knows nothing of how it was written, works them out."""
    event = vobject.readOne(written.decode()).vevent
    rules = rruleset()
    starts = event.dtstart.value
    local = starts.replace(tzinfo=None)
    if "rrule" not in event.contents:
        return [starts]
    rule = rrulestr(event.rrule.value, dtstart=local)
    assert isinstance(rule, rrule)
    rules.rrule(rule)
    for left_out in event.contents.get("exdate", []):
        for instant in left_out.value:
            rules.exdate(instant.replace(tzinfo=None))
    return list(rules)


def test_each_day_is_held_at_the_clock_of_the_site_over_the_change_of_clocks():
    written = calendar(invitation())

    assert [one.date() for one in occurrences(written)] == DAYS
    assert {one.time() for one in occurrences(written)} == {time(7)}
    event = entry(written)
    assert event["DTSTART"].dt.utcoffset() == timedelta(hours=2)
    assert event["DTEND"].dt - event["DTSTART"].dt == timedelta(hours=9)
    zone = Calendar.from_ical(written).walk("VTIMEZONE")[0].to_tz()
    assert datetime(2026, 10, 23, 7, tzinfo=zone).utcoffset() == timedelta(hours=2)
    assert datetime(2026, 10, 26, 7, tzinfo=zone).utcoffset() == timedelta(hours=1)


def test_request_names_who_invites_whom_and_no_answer_is_asked_for():
    written = calendar(invitation())
    event = entry(written)

    assert Calendar.from_ical(written)["METHOD"] == "REQUEST"
    assert (event["UID"], event["SEQUENCE"], event["STATUS"]) == (
        "class-1@example.org",
        3,
        "CONFIRMED",
    )
    assert event["ORGANIZER"] == "mailto:training@example.org"
    assert event["ORGANIZER"].params["CN"] == "The ’works’"
    assert event["ATTENDEE"] == "mailto:asa@example.org"
    assert event["ATTENDEE"].params["CN"] == "Åsa Öhrn; Jr"
    assert event["ATTENDEE"].params["RSVP"] == "FALSE"
    assert event["DTSTAMP"].dt == datetime(2026, 9, 1, 8, tzinfo=UTC)
    assert event["SUMMARY"] == "Hand soldering; terminals, day 1"
    assert event["DESCRIPTION"] == "You have a place.\nBring your glasses."


def test_cancellation_takes_the_entry_away_and_its_time():
    event = entry(calendar(invitation(method=Method.CANCEL)))

    assert (event["STATUS"], event["TRANSP"]) == ("CANCELLED", "TRANSPARENT")


def test_one_day_has_no_rule():
    assert "RRULE" not in entry(calendar(invitation(days=DAYS[:1])))


def test_shift_over_midnight_ends_on_the_next_day():
    event = entry(calendar(invitation(starts=time(22), ends=time(6), days=DAYS[:1])))

    assert event["DTEND"].dt - event["DTSTART"].dt == timedelta(hours=8)


def test_lines_are_as_long_as_the_standard_lets_them_be():
    written = calendar(invitation(description="ä" * 500))

    assert all(len(line) <= 75 for line in written.split(b"\r\n"))
    assert entry(written)["DESCRIPTION"] == "ä" * 500


def test_entry_without_a_day_is_refused():
    with pytest.raises(ValueError, match="at least one day"):
        calendar(invitation(days=[]))


@given(
    st.sets(st.integers(0, 91), min_size=1, max_size=20),
    st.sampled_from(["Europe/Madrid", "America/New_York", "Asia/Kolkata", "Pacific/Auckland"]),
)
def test_whatever_the_days_a_calendar_holds_these_and_no_others(offsets, zone):
    days = [date(2026, 2, 1) + timedelta(days=n) for n in sorted(offsets)]

    assert [one.date() for one in occurrences(calendar(invitation(days=days, zone=zone)))] == days

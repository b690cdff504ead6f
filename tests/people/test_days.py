"""Days and instants are written in one place: each form, in each language that has a pattern."""

import datetime as dt

import pytest
from django.utils import timezone, translation

from people.presenters import days

DAY = dt.date(2026, 11, 5)
AT = dt.datetime(2026, 11, 25, 23, 30, tzinfo=dt.UTC)
NO_BREAK = "\u00a0"


@pytest.mark.parametrize(
    ("format_day", "english", "german"),
    [
        (days.format_day, "5 Nov 2026", "5. Nov 2026"),
        (days.format_unbroken_day, "5~Nov~2026", "5.~Nov~2026"),
        (days.format_day_with_weekday, "Thu 5 Nov 2026", "Do, 5. Nov 2026"),
        (days.format_page_day, "5~Nov~2026", "05.11.2026"),
        (days.format_long_page_day, "Thu~5~Nov~2026", "Do,~05.11.2026"),
        (days.format_short_page_day, "5~Nov", "05.11."),
        (days.format_letter_day, "Thursday 5 November 2026", "Donnerstag, 5. November 2026"),
        (days.format_short_letter_day, "Thu 5 Nov 2026", "Do, 05.11.2026"),
        (days.format_console_day, "05 Nov 2026", "05 Nov 2026"),
        (days.format_console_day_with_weekday, "Thu 05 Nov 2026", "Thu 05 Nov 2026"),
        (days.format_month, "Nov", "Nov"),
        (days.format_year, "2026", "2026"),
    ],
)
def test_a_day_is_written_in_the_form_of_its_place(format_day, english, german):
    for language, text in (("en", english), ("de", german)):
        with translation.override(language):
            assert format_day(DAY) == text.replace("~", NO_BREAK)


@pytest.mark.parametrize(
    ("zone", "text"),
    [
        ("Europe/Madrid", "Thu~26~Nov~2026, 00:30~CET"),
        (dt.timezone(dt.timedelta(hours=-3), "-03"), "Wed~25~Nov~2026, 20:30~-03"),
        (None, "Wed~25~Nov~2026, 23:30~UTC"),
    ],
)
def test_an_instant_is_written_by_the_clock_of_its_zone(zone, text):
    with translation.override("en"), timezone.override(dt.UTC):
        assert days.format_instant(AT, zone) == text.replace("~", NO_BREAK)


def test_the_day_of_an_instant_is_that_of_the_current_zone():
    with timezone.override(dt.timezone(dt.timedelta(hours=1))):
        assert days.day_of(AT) == dt.date(2026, 11, 26)
    assert days.day_of(DAY) == DAY

"""The instant up to which something counts as known is read in one way everywhere."""

import doctest
from argparse import ArgumentTypeError
from datetime import UTC, date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError

from audit.management.commands.check_work_log import day_or_instant
from certification.domain import known_at
from certification.domain.known_at import end_of_day, known_through, read_moment
from certification.forms.instants import KnownAtField

MADRID = ZoneInfo("Europe/Madrid")
MOMENTS = {
    "2026-05-03": date(2026, 5, 3),
    "2026-05-03T14:30": datetime(2026, 5, 3, 14, 30),  # noqa: DTZ001 - on whichever clock is meant
    "2026-05-03 14:30:15": datetime(2026, 5, 3, 14, 30, 15),  # noqa: DTZ001
    "2026-05-03T14:30Z": datetime(2026, 5, 3, 14, 30, tzinfo=UTC),
    "2026-05-03T14:30+02:00": datetime(2026, 5, 3, 14, 30, tzinfo=timezone(timedelta(hours=2))),
}


@pytest.mark.parametrize(("text", "moment"), MOMENTS.items(), ids=MOMENTS.keys())
def test_day_and_instant_are_read_alike_by_the_page_and_the_command(text, moment):
    assert read_moment(text) == day_or_instant(text) == moment
    through = known_through(moment, UTC)
    assert KnownAtField().clean(text) == through
    assert through.tzinfo is not None


@pytest.mark.parametrize("text", ["last week", "2026-02-30", "1899-12-31", "3000-01-01", "14:30"])
def test_what_is_no_moment_is_refused_by_both(text):
    with pytest.raises(ValueError, match=r"neither|far off|range|month"):
        read_moment(text)
    with pytest.raises(ArgumentTypeError):
        day_or_instant(text)
    with pytest.raises(ValidationError):
        KnownAtField().clean(text)


def test_plus_sign_that_an_address_turned_into_a_space_is_an_offset():
    assert KnownAtField().clean("2026-05-03T14:30 02:00") == datetime(
        2026, 5, 3, 12, 30, tzinfo=UTC
    )


def test_day_is_known_through_its_end_on_the_clock_asked_for():
    end = end_of_day(date(2026, 3, 29), MADRID)  # The day on which the clocks go forward.
    assert end.astimezone(UTC) == datetime(2026, 3, 29, 21, 59, 59, 999999, tzinfo=UTC)


def test_examples_run():
    assert doctest.testmod(known_at).failed == 0

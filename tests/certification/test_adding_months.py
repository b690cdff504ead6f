"""Months are added as calendars do, always from the anchor.

Results marked *documented* stand in the documentation of python-dateutil's relativedelta;
the others are worked by hand and hold for it too.
"""

from datetime import date

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from certification.domain.months import add_months, end_of_month

LIKELY_DAYS = st.dates(date(1900, 1, 1), date(2199, 12, 31))


@pytest.mark.parametrize(
    ("anchor", "months", "expected"),
    [
        pytest.param("2003-01-31", 1, "2003-02-28", id="documented: 31 January"),
        pytest.param("2003-01-30", 1, "2003-02-28", id="documented: 30 January"),
        pytest.param("2003-01-31", 2, "2003-03-31", id="documented: two months from 31 January"),
        pytest.param("2003-05-31", -1, "2003-04-30", id="documented: a month back"),
        pytest.param("2000-02-29", 12, "2001-02-28", id="documented: a year from a leap day"),
        pytest.param("2024-01-31", 1, "2024-02-29", id="into a leap February"),
        pytest.param("2024-08-31", 6, "2025-02-28", id="half a year over the new year"),
        pytest.param("2025-08-31", 6, "2026-02-28", id="half a year, no leap year near"),
        pytest.param("2024-11-30", 3, "2025-02-28", id="30 November"),
        pytest.param("2024-02-29", 24, "2026-02-28", id="two years from a leap day"),
        pytest.param("2024-02-29", 48, "2028-02-29", id="from a leap day to the next"),
        pytest.param("2024-12-15", 1, "2025-01-15", id="over the new year"),
        pytest.param("2024-12-31", 12, "2025-12-31", id="December to December"),
        pytest.param("2024-03-15", 0, "2024-03-15", id="no month"),
        pytest.param("1900-01-31", 1, "1900-02-28", id="1900 was no leap year"),
    ],
)
def test_same_day_number_or_the_last_of_the_month(anchor, months, expected):
    assert add_months(date.fromisoformat(anchor), months) == date.fromisoformat(expected)


@given(LIKELY_DAYS, st.integers(-1200, 1200))
def test_agrees_with_dateutil(anchor, months):
    assert add_months(anchor, months) == anchor + relativedelta(months=months)


@given(LIKELY_DAYS, LIKELY_DAYS, st.integers(0, 1200))
def test_a_later_anchor_never_gives_an_earlier_day(one, other, months):
    earlier, later = sorted([one, other])
    assert add_months(earlier, months) <= add_months(later, months)


def test_two_months_at_once_are_not_one_and_one():
    anchor = date(2024, 1, 31)
    assert add_months(anchor, 2) == date(2024, 3, 31)
    assert add_months(add_months(anchor, 1), 1) == date(2024, 3, 29)


@pytest.mark.parametrize(
    ("anchor", "months"), [(date(9999, 12, 31), 1), (date(1, 1, 31), -1), (date(2024, 1, 1), 10**6)]
)
def test_a_day_that_no_calendar_holds_is_refused(anchor, months):
    with pytest.raises(ValueError, match="past the ends of the calendar"):
        add_months(anchor, months)


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        pytest.param("2024-02-10", "2024-02-29", id="leap February"),
        pytest.param("2025-02-28", "2025-02-28", id="already the last"),
        pytest.param("2024-12-01", "2024-12-31", id="December"),
    ],
)
def test_end_of_month(day, expected):
    assert end_of_month(date.fromisoformat(day)) == date.fromisoformat(expected)

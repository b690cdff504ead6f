"""Which back-ups stay when a night's has been made."""

import doctest
from datetime import UTC, datetime, timedelta

import pytest

from operations.domain import back_ups
from operations.domain.back_ups import Policy, instant_of, kept, name_of


def test_examples_run():
    results = doctest.testmod(back_ups)
    assert results.attempted > 0
    assert results.failed == 0


def after_nights(nights: int, policy: Policy) -> set[datetime]:
    """What is there after so many nights, each of which threw away what the policy let go."""
    there: set[datetime] = set()
    for night in range(nights):
        there = kept({*there, datetime(2026, 1, 1, 1, 40, tzinfo=UTC) + timedelta(night)}, policy)
    return there


def test_a_pruned_folder_holds_what_one_that_was_never_pruned_would_keep():
    policy = Policy(days=7, weeks=5, months=12)
    all_of_them = {datetime(2026, 1, 1, 1, 40, tzinfo=UTC) + timedelta(n) for n in range(800)}

    there = after_nights(800, policy)

    assert there == kept(all_of_them, policy)
    newest = sorted(there, reverse=True)
    assert [at.date() for at in newest[:7]] == [newest[0].date() - timedelta(n) for n in range(7)]
    assert len({(at.year, at.month) for at in there}) == 12
    assert len(there) <= 7 + 5 + 12


@pytest.mark.parametrize(
    ("policy", "left"),
    [
        pytest.param(Policy(0, 0, 0), ["2026-03-10"], id="the newest stays whatever is set"),
        pytest.param(Policy(2, 0, 0), ["2026-03-09", "2026-03-10"], id="days"),
        pytest.param(Policy(0, 2, 0), ["2026-03-08", "2026-03-10"], id="weeks end on Sunday"),
        pytest.param(Policy(0, 0, 3), ["2026-01-31", "2026-02-28", "2026-03-10"], id="months"),
    ],
)
def test_each_period_keeps_its_last(policy, left):
    first = datetime(2026, 1, 1, 1, 40, tzinfo=UTC)
    made = [first + timedelta(n) for n in range(69)]

    assert sorted(str(at.date()) for at in kept(made, policy)) == left


def test_a_site_that_stood_still_for_a_year_loses_none_for_its_age():
    made = [datetime(2025, 1, day, tzinfo=UTC) for day in (1, 2, 3)]

    assert kept([*made, datetime(2026, 6, 1, tzinfo=UTC)], Policy(4, 0, 0)) >= set(made)


@pytest.mark.parametrize(
    "name",
    ["jointworthy-20261330T014000Z.backup", "jointworthy-20261130T014000Z.backup.part", "old.zip"],
)
def test_other_names_are_none_of_a_night(name):
    assert instant_of(name) is None


def test_a_name_tells_its_instant():
    at = datetime(2026, 11, 30, 1, 40, 7, tzinfo=UTC)
    assert instant_of(name_of(at)) == at

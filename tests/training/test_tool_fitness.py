"""How a tool stood on a day, and over which days nobody can say that it was good."""

from datetime import date, timedelta
from itertools import permutations, product

import pytest

from training.domain.tool_fitness import (
    CalibrationFact,
    Fitness,
    OutOfService,
    ToolFacts,
    doubts,
    fitness_on,
)

DAY_0 = date(2026, 1, 1)


def day(number):
    return DAY_0 + timedelta(days=number)


def calibrated(key, on, through=None, *, found=True, left=True):
    return CalibrationFact(key, day(on), day(through or on + 365), found, left)


GOOD = calibrated(1, 10, 100)


@pytest.mark.parametrize(
    ("facts", "on", "fitness"),
    [
        (ToolFacts(), 5, Fitness.NEVER_CALIBRATED),
        (ToolFacts((GOOD,)), 9, Fitness.NEVER_CALIBRATED),
        (ToolFacts((GOOD,)), 10, Fitness.GOOD),
        (ToolFacts((GOOD,)), 100, Fitness.GOOD),
        (ToolFacts((GOOD,)), 101, Fitness.ENDED),
        (ToolFacts((GOOD, calibrated(2, 50, left=False))), 49, Fitness.GOOD),
        (ToolFacts((GOOD, calibrated(2, 50, left=False))), 50, Fitness.FAILED),
        (ToolFacts((GOOD, calibrated(2, 50, found=False))), 50, Fitness.GOOD),
        (ToolFacts((calibrated(2, 50), calibrated(1, 50, left=False))), 50, Fitness.GOOD),
        (ToolFacts((GOOD,), (OutOfService(day(20), day(30)),)), 19, Fitness.GOOD),
        (ToolFacts((GOOD,), (OutOfService(day(20), day(30)),)), 20, Fitness.OUT_OF_SERVICE),
        (ToolFacts((GOOD,), (OutOfService(day(20), day(30)),)), 29, Fitness.OUT_OF_SERVICE),
        (ToolFacts((GOOD,), (OutOfService(day(20), day(30)),)), 30, Fitness.GOOD),
        (ToolFacts((GOOD,), (OutOfService(day(20), day(20)),)), 20, Fitness.GOOD),
        (ToolFacts((GOOD,), (OutOfService(day(20)),)), 99, Fitness.OUT_OF_SERVICE),
        (ToolFacts((GOOD,), (OutOfService(day(20)),), day(40)), 40, Fitness.RETIRED),
        (ToolFacts((GOOD,), (), day(40)), 39, Fitness.GOOD),
        (ToolFacts(without_calibration=True), 5, Fitness.GOOD),
        (ToolFacts((GOOD,), without_calibration=True), 101, Fitness.GOOD),
        (ToolFacts((calibrated(1, 4, left=False),), without_calibration=True), 5, Fitness.FAILED),
    ],
)
def test_how_a_tool_stands_on_a_day(facts, on, fitness):
    assert fitness_on(facts, day(on)).fitness == fitness


def plain_doubt(calibrations, on, of):
    """The same by walking the days: whether a day is in doubt because of one calibration."""
    earlier = [each for each in calibrations if each.calibrated_on < of.calibrated_on]
    good = [each.calibrated_on for each in earlier if each.left_good]
    if good and on < max(good):
        return False
    if on <= of.calibrated_on:
        return True
    later = [each.calibrated_on for each in calibrations if each.calibrated_on > of.calibrated_on]
    return not of.left_good and (not later or on <= min(later))


def test_days_in_doubt_are_those_that_a_walk_over_every_day_finds():
    for states in product(product((True, False), repeat=2), repeat=3):
        calibrations = [
            calibrated(number + 1, 10 * (number + 1), found=found, left=left)
            for number, (found, left) in enumerate(states)
        ]
        for doubt in doubts(calibrations):
            for number in range(45):
                expected = plain_doubt(calibrations, day(number), doubt.calibration)
                assert doubt.touches(day(number), day(number)) is expected, (states, number)


def test_only_what_was_found_out_of_limits_puts_days_in_doubt():
    calibrations = [calibrated(1, 10), calibrated(2, 20, found=False), calibrated(3, 30)]
    assert [doubt.calibration.key for doubt in doubts(calibrations)] == [2]
    assert doubts([calibrated(1, 10), calibrated(2, 20)]) == []


def test_the_order_of_recording_changes_nothing():
    facts = [
        calibrated(1, 10),
        calibrated(2, 20, found=False),
        calibrated(3, 30, found=False, left=False),
        calibrated(4, 40),
    ]
    expected = doubts(facts)
    assert all(doubts(order) == expected for order in permutations(facts))
    # Recorded last, about a day between: its number is the largest, and it counts on its day.
    [backdated] = doubts([calibrated(1, 10), calibrated(3, 30), calibrated(9, 20, found=False)])
    assert (backdated.first_day, backdated.last_day) == (day(10), day(20))

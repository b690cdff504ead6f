"""Which step of setting up is done, next, open or waiting follows from what is true alone."""

import doctest
from itertools import product

import pytest

from operations.domain import setting_up
from operations.domain.setting_up import AFTER, DONE, StepName, StepState, Truth, places

ALL = tuple(StepName)


def test_examples_run():
    results = doctest.testmod(setting_up)
    assert results.attempted > 0
    assert results.failed == 0


def of(*done: StepName, gaps=()):
    return places({name: Truth(name in done, gaps=int(name in gaps)) for name in StepName})


@pytest.mark.parametrize(
    ("done", "states"),
    [
        pytest.param((), "next open open open " + "waits " * 6 + "open", id="nothing"),
        pytest.param(ALL[:1], "done next open open " + "waits " * 6 + "open", id="first"),
        pytest.param(ALL[:4], "done done done done next open " + "waits " * 4 + "open", id="half"),
        pytest.param(ALL[:7], "done " * 7 + "next open waits open", id="a board without a class"),
        pytest.param(ALL[:10], "done " * 10 + "next", id="all but the last"),
        pytest.param(ALL, "done " * 11, id="all"),
        pytest.param(
            (StepName.SITES, StepName.CLASSES),
            "done next open open waits waits waits done waits waits open",
            id="what is done stays done, whatever should have come before",
        ),
    ],
)
def test_states_follow_from_what_is_done(done, states):
    assert [place.state.value for place in of(*done).values()] == states.split()


def test_gap_is_told_of_what_is_done_and_of_nothing_else():
    found = of(StepName.SITES, gaps=(StepName.SITES, StepName.MAIL))
    assert found[StepName.SITES].state is StepState.DONE_WITH_GAP
    assert (found[StepName.SITES].gaps, found[StepName.MAIL].gaps) == (1, 0)


def test_in_every_combination_one_step_is_next_and_nothing_waits_for_what_is_done():
    for done in product([True, False], repeat=len(ALL)):
        truths = {name: Truth(is_done) for name, is_done in zip(ALL, done, strict=True)}
        found = places(truths)
        nexts = [name for name, place in found.items() if place.state is StepState.NEXT]
        assert len(nexts) == (0 if all(done) else 1)
        for name, place in found.items():
            assert (place.state in DONE) == truths[name].is_done
            assert not any(truths[before].is_done for before in place.waits_for)
            waits = any(not truths[before].is_done for before in AFTER.get(name, ()))
            assert (place.state is StepState.WAITS) == (waits and not truths[name].is_done)

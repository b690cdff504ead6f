"""Which make counts, and what two readings of a board come to."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assessments.domain import readings
from assessments.domain.scoring import CriterionRule, JointState, Outcome, Severity, joint_result

OUTCOMES = st.sampled_from(list(Outcome))
READING = st.dictionaries(st.tuples(st.integers(1, 5), st.sampled_from("ABC")), OUTCOMES)
A, R, N = Outcome.ACCEPT, Outcome.REJECT, Outcome.NOT_APPLICABLE


@pytest.mark.parametrize(
    ("makes", "allowed", "counts", "left"),
    [
        pytest.param([1], 0, 1, 0, id="none allowed, one made"),
        pytest.param([1, 2], 0, 1, 0, id="none allowed, the first counts"),
        pytest.param([1], 1, 1, 1, id="one allowed and not used"),
        pytest.param([1, 2], 1, 2, 0, id="one allowed and used"),
        pytest.param([2, 1], 1, 2, 0, id="in any order"),
        pytest.param([1, 2, 3], 1, 2, 0, id="one too many does not count"),
        pytest.param([1, 2], 2, 2, 1, id="two allowed, one used"),
    ],
)
def test_the_last_make_counts_where_rework_is_allowed(makes, allowed, counts, left):
    assert readings.make_that_counts(makes, allowed) == counts
    assert readings.reworks_left(counts, allowed) == left


@pytest.mark.parametrize(
    ("severity", "judged", "state"),
    [
        pytest.param(Severity.MAJOR, {"F": R}, JointState.REJECTED, id="never soldered"),
        pytest.param(Severity.CRITICAL, {"F": R, "S": A}, JointState.REJECTED, id="all judged"),
        pytest.param(Severity.MINOR, {"F": R}, JointState.OPEN, id="only a remark so far"),
        pytest.param(Severity.MINOR, {"F": R, "S": A}, JointState.REMARKS, id="a remark"),
        pytest.param(Severity.MAJOR, {"F": A}, JointState.OPEN, id="not judged to the end"),
    ],
)
def test_a_first_make_that_was_rejected_early_is_rejected(severity, judged, state):
    rules = [CriterionRule("F", severity, 10), CriterionRule("S", Severity.MAJOR, 10)]
    assert readings.state_for_statistics(joint_result(rules, judged)) == state


@pytest.mark.parametrize(
    ("first", "second", "decided", "said", "undecided"),
    [
        pytest.param({1: A}, {1: A}, {}, {1: A}, (), id="alike"),
        pytest.param({1: A}, {1: R}, {}, {}, (1,), id="they differ and nobody decided"),
        pytest.param({1: A}, {1: R}, {1: R}, {1: R}, (), id="the third agrees with one"),
        pytest.param({1: A}, {1: R}, {1: N}, {1: N}, (), id="the third agrees with neither"),
        pytest.param({1: N}, {1: A}, {}, {}, (1,), id="not applicable is another judgement"),
        pytest.param({1: A}, {1: A}, {1: R}, {1: A}, (), id="where they agree nobody decides"),
        pytest.param({1: A, 2: R}, {1: A}, {}, {1: A, 2: R}, (), id="judged by one alone"),
    ],
)
def test_a_third_person_decides_where_two_differ(first, second, decided, said, undecided):
    merged = readings.merge([first, second], decided)
    assert (merged.said, merged.undecided) == (said, undecided)


@given(READING, READING, READING)
def test_two_readings_come_to_the_same_in_either_order(first, second, decided):
    one, other = (
        readings.merge([first, second], decided),
        readings.merge([second, first], decided),
    )
    assert one.said == other.said
    assert set(one.undecided) == set(other.undecided)


@given(READING, READING, READING)
def test_every_place_is_said_or_waits_for_a_decision(first, second, decided):
    merged = readings.merge([first, second], decided)
    assert set(merged.said) | set(merged.undecided) == set(first) | set(second)
    assert not set(merged.said) & set(merged.undecided)
    for place, outcome in merged.said.items():
        given_by = [one[place] for one in (first, second) if place in one]
        assert outcome in given_by or outcome == decided[place]


@given(READING, READING)
def test_comparing_counts_every_place_once(first, second):
    compared = readings.compare(first, second)
    counted = compared.same + len(compared.differ) + len(compared.alone)
    assert counted == len(set(first) | set(second))


@given(READING)
def test_a_reading_agrees_with_itself(reading):
    merged = readings.merge([reading, reading], {})
    assert (merged.said, merged.undecided) == (reading, ())
    assert readings.compare(reading, reading).same == len(reading)


def test_a_score_is_untouched_by_how_a_first_make_is_counted():
    rules = [CriterionRule("F", Severity.MAJOR, 10), CriterionRule("S", Severity.MAJOR, 10)]
    result = joint_result(rules, {"F": R})
    assert readings.state_for_statistics(result) != result.state
    assert result.score == Fraction(90)

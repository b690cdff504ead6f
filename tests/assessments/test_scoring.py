"""From judgements to a board's result, worked by hand in each case."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assessments.domain.scoring import (
    CriterionRule,
    JointResult,
    JointState,
    NoJointsJudged,
    Outcome,
    PassRule,
    Severity,
    board_result,
    board_score,
    joint_result,
    shown_score,
)

WRAP = CriterionRule("W", Severity.CRITICAL, 40)
FILLET = CriterionRule("F", Severity.MAJOR, 20)
CLEAN = CriterionRule("C", Severity.MINOR, 5)
ALL = [WRAP, FILLET, CLEAN]
A, R, N = Outcome.ACCEPT, Outcome.REJECT, Outcome.NOT_APPLICABLE


@pytest.mark.parametrize(
    ("judgements", "state", "score"),
    [
        pytest.param({"W": A, "F": A, "C": A}, JointState.ACCEPTED, 100, id="all accepted"),
        pytest.param({"W": A, "F": A, "C": R}, JointState.REMARKS, 95, id="minor only"),
        pytest.param({"W": A, "F": R, "C": R}, JointState.REJECTED, 75, id="major"),
        pytest.param({"W": R, "F": A, "C": A}, JointState.REJECTED, 60, id="critical"),
        pytest.param({"W": R, "F": R, "C": R}, JointState.REJECTED, 35, id="all rejected"),
        pytest.param({"W": N, "F": N, "C": N}, JointState.ACCEPTED, 100, id="nothing applies"),
        pytest.param({"W": A, "F": A}, JointState.OPEN, 100, id="one unjudged"),
        pytest.param({"W": R, "F": A}, JointState.OPEN, 60, id="rejected but unjudged: open"),
        pytest.param({}, JointState.OPEN, 100, id="nothing judged"),
        pytest.param({"W": A, "F": A, "C": A, "X": R}, JointState.ACCEPTED, 100, id="stranger"),
    ],
)
def test_a_joint_is_what_its_worst_rejection_makes_it(judgements, state, score):
    result = joint_result(ALL, judgements)
    assert (result.state, result.score) == (state, Fraction(score))


def test_demerits_never_take_a_joint_below_nothing():
    heavy = [CriterionRule(str(n), Severity.MAJOR, 60) for n in range(2)]
    assert joint_result(heavy, {"0": R, "1": R}).score == 0


def test_a_board_of_eight_worked_by_hand():
    # Five at 100, one with a minor (95), one major and minor (75), one critical (60):
    # 730 / 8 = 91.25; the board's own minor costs 5 more: 86.25.
    scores = [Fraction(n) for n in (100, 100, 100, 100, 100, 95, 75, 60)]
    assert board_score(scores, joints_required=8, board_demerits=5) == Fraction(8625, 100)


def test_a_missing_joint_gives_no_score():
    with pytest.raises(NoJointsJudged):
        board_score([Fraction(100)], joints_required=2, board_demerits=0)
    with pytest.raises(NoJointsJudged):
        board_score([], joints_required=0, board_demerits=0)


@pytest.mark.parametrize(
    ("score", "shown"),
    [
        pytest.param(Fraction(7995, 100), "79.9", id="79.95 never shows as 80.0"),
        pytest.param(Fraction(80), "80.0", id="whole"),
        pytest.param(Fraction(2399, 30), "79.9", id="79.9666"),
        pytest.param(Fraction(0), "0.0", id="nothing"),
    ],
)
def test_a_score_is_shown_rounded_down(score, shown):
    assert str(shown_score(score)) == shown


def made(state: JointState, score: int = 100, rejected: tuple[CriterionRule, ...] = ()):
    return JointResult(state, Fraction(score), rejected, ())


RULE = PassRule(joints_required=3, allowed_rejects=1, pass_mark=Decimal("80"), stages=("a", "b"))
GOOD = made(JointState.ACCEPTED)


@pytest.mark.parametrize(
    ("joints", "board", "signed", "passed", "unmet"),
    [
        pytest.param([GOOD] * 3, None, ["a", "b"], True, set(), id="all good"),
        pytest.param([GOOD] * 3, None, ["a"], None, {"stages_signed"}, id="a stage unsigned"),
        pytest.param(
            [GOOD, GOOD, made(JointState.REJECTED, 80, (FILLET,))],
            None,
            ["a", "b"],
            True,
            set(),
            id="one major reject is allowed",
        ),
        pytest.param(
            [GOOD] + [made(JointState.REJECTED, 80, (FILLET,))] * 2,
            None,
            ["a", "b"],
            False,
            {"rejects_allowed"},
            id="two rejects are one too many",
        ),
        pytest.param(
            [GOOD, GOOD, made(JointState.REJECTED, 60, (WRAP,))],
            None,
            ["a", "b"],
            False,
            {"no_critical_rejection"},
            id="a critical reject fails although one reject is allowed",
        ),
        pytest.param(
            [GOOD] * 2,
            None,
            ["a", "b"],
            False,
            {"joints_present", "score_reached"},
            id="a joint is missing",
        ),
        pytest.param(
            [GOOD] * 3,
            made(JointState.REJECTED, 60, (WRAP,)),
            ["a", "b"],
            False,
            {"no_critical_rejection", "score_reached"},
            id="a critical board criterion fails the board: 100 - 40 is under 80",
        ),
        pytest.param(
            [GOOD] * 3,
            made(JointState.REJECTED, 80, (FILLET,)),
            ["a", "b"],
            True,
            set(),
            id="a board demerit of 20 leaves exactly the pass mark",
        ),
    ],
)
def test_each_rule_of_a_pass_is_said_with_its_figures(joints, board, signed, passed, unmet):
    result = board_result(rule=RULE, joints=joints, board=board, stages_signed=signed)
    assert result.passed is passed
    assert {line.rule for line in result.lines if not line.met} == unmet


def test_79_95_does_not_reach_80():
    # Twenty joints, one with a demerit of 401 capped to nothing would be 95; here the mean is
    # (19 × 80 + 79) / 20 = 79.95.
    rule = PassRule(20, 20, Decimal("80"), ("a",))
    joints = [made(JointState.ACCEPTED, 80)] * 19 + [made(JointState.ACCEPTED, 79)]
    result = board_result(rule=rule, joints=joints, board=None, stages_signed=["a"])
    assert result.score == Fraction(7995, 100)
    assert result.passed is False


outcomes = st.sampled_from(list(Outcome))
rules = st.lists(
    st.builds(
        CriterionRule,
        code=st.uuids().map(str),
        severity=st.sampled_from(list(Severity)),
        demerits=st.integers(0, 100),
    ),
    min_size=1,
    max_size=8,
)


@given(rules=rules, data=st.data())
def test_turning_an_accept_into_a_reject_never_helps(rules, data):
    judgements = {rule.code: data.draw(outcomes) for rule in rules}
    worse = dict(judgements)
    worse[data.draw(st.sampled_from([rule.code for rule in rules]))] = Outcome.REJECT
    before, after = joint_result(rules, judgements), joint_result(rules, worse)
    order = [JointState.ACCEPTED, JointState.REMARKS, JointState.REJECTED]
    assert after.score <= before.score
    assert order.index(after.state) >= order.index(before.state)


@given(st.lists(st.integers(0, 100), min_size=1, max_size=40), st.integers(0, 150))
def test_a_board_score_is_exact_and_between_nothing_and_a_hundred(scores, demerits):
    exact = board_score(map(Fraction, scores), joints_required=len(scores), board_demerits=demerits)
    assert exact == max(Fraction(0), Fraction(sum(scores), len(scores)) - demerits)
    assert 0 <= exact <= 100

"""Sixteen boards worked by hand, each at every threshold that its exercise could set.

The sums stand beside each board. What a rejection costs and how it weighs is made up for them;
the rules are the domain's own, restated here for one board after the other.
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import pytest

from assessments.domain.scoring import (
    CriterionRule,
    Outcome,
    PassRule,
    Severity,
    board_result,
    joint_result,
)

# Of a joint: wrap (critical, 40), fillet (major, 20), spike (major, 15), flux (minor, 5).
JOINT = [
    CriterionRule("W", Severity.CRITICAL, 40),
    CriterionRule("F", Severity.MAJOR, 20),
    CriterionRule("S", Severity.MAJOR, 15),
    CriterionRule("C", Severity.MINOR, 5),
]
# Of the board: burnt laminate (critical, 50), lifted label (minor, 3), residue (major, 10).
BOARD = [
    CriterionRule("B", Severity.CRITICAL, 50),
    CriterionRule("L", Severity.MINOR, 3),
    CriterionRule("R", Severity.MAJOR, 10),
]
STAGES = ("formed", "soldered")


@dataclass(frozen=True)
class Worked:
    """A board, and what it adds up to by hand.

    Attributes
    ----------
    joints : str
        One word a joint: the codes rejected, "-" for none, "?" after what is judged of an open one.
    board : str, optional
        The same of the board; None where the exercise asks nothing of it.
    asked : int
        Joints that the exercise requires.
    score : Fraction or None
    rejected, critical : int
        Joints rejected; joints and board with a critical rejection.
    """

    joints: str
    board: str | None
    asked: int
    score: Fraction | None
    rejected: int
    critical: int
    is_open: bool = False


BOARDS = [
    # (100 + 100 + 100 + 100) / 4 = 100
    pytest.param(Worked("- - - -", None, 4, Fraction(100), 0, 0), id="nothing wrong"),
    # (95 + 100 + 100 + 100) / 4 = 98.75; a minor one rejects no joint
    pytest.param(Worked("C - - -", None, 4, Fraction(9875, 100), 0, 0), id="one minor"),
    # (80 + 100 + 100 + 100) / 4 = 95
    pytest.param(Worked("F - - -", None, 4, Fraction(95), 1, 0), id="one major"),
    # (60 + 100 + 100 + 100) / 4 = 90
    pytest.param(Worked("W - - -", None, 4, Fraction(90), 1, 1), id="one critical"),
    # 100 - 40 - 20 - 15 - 5 = 20; (20 + 100 + 100 + 100) / 4 = 80
    pytest.param(Worked("WFSC - - -", None, 4, Fraction(80), 1, 1), id="all of one joint"),
    # (80 + 85 + 100) / 3 = 88.333…: a third that no decimal holds
    pytest.param(Worked("F S -", None, 3, Fraction(265, 3), 2, 0), id="a third"),
    # (95 + 95 + 95) / 3 = 95
    pytest.param(Worked("C C C", None, 3, Fraction(95), 0, 0), id="minor everywhere"),
    # (65 + 65 + 65) / 3 = 65
    pytest.param(Worked("FS FS FS", None, 3, Fraction(65), 3, 0), id="two majors everywhere"),
    # (20 + 20) / 2 = 20
    pytest.param(Worked("WFSC WFSC", None, 2, Fraction(20), 2, 2), id="all of every joint"),
    # 100 - 3 = 97
    pytest.param(Worked("- -", "L", 2, Fraction(97), 0, 0), id="a minor one of the board"),
    # (80 + 100) / 2 = 90; 90 - 10 = 80
    pytest.param(Worked("F -", "R", 2, Fraction(80), 1, 0), id="joint and board"),
    # 100 - 50 = 50; critical though no joint is rejected
    pytest.param(Worked("- -", "B", 2, Fraction(50), 0, 1), id="a critical one of the board"),
    # (20 + 20) / 2 = 20; 20 - 50 - 3 - 10 is under nothing
    pytest.param(Worked("WFSC WFSC", "BLR", 2, Fraction(0), 2, 3), id="not below nothing"),
    # one of three joints is not made: no score
    pytest.param(Worked("- -", "-", 3, None, 0, 0), id="a joint is missing"),
    # the third joint is not judged to the end: it counts for nothing, not even as rejected
    pytest.param(Worked("- F W?", "-", 3, None, 1, 1), id="a joint is open"),
    # every joint is good, and the board's own criteria are not judged to the end
    pytest.param(Worked("- -", "-?", 2, None, 0, 0, is_open=True), id="the board is open"),
]
A_TENTH = Decimal("0.1")


def judged(rules: list[CriterionRule], word: str):
    codes = [rule.code for rule in rules][: 2 if word.endswith("?") else None]
    rejected = word.strip("-?")
    return joint_result(
        rules, {code: Outcome.REJECT if code in rejected else Outcome.ACCEPT for code in codes}
    )


def result_of(worked: Worked, *, allowed: int, mark: Decimal, signed=STAGES):
    return board_result(
        rule=PassRule(worked.asked, allowed, mark, STAGES),
        joints=[judged(JOINT, word) for word in worked.joints.split()],
        board=None if worked.board is None else judged(BOARD, worked.board),
        stages_signed=signed,
    )


def marks_around(score: Fraction | None) -> list[Decimal]:
    """Pass marks at the score, a tenth below and above it, and the ends of the scale."""
    if score is None:
        return [Decimal(0), Decimal(100)]
    tenths = Decimal(int(score * 10)) / 10
    around = {tenths - A_TENTH, tenths, tenths + A_TENTH, Decimal(0), Decimal(100)}
    return sorted(mark for mark in around if 0 <= mark <= 100)


def test_there_are_sixteen():
    assert len(BOARDS) == 16


@pytest.mark.parametrize("worked", BOARDS)
def test_board_adds_up_as_by_hand(worked):
    result = result_of(worked, allowed=0, mark=Decimal(80))
    assert result.score == worked.score
    assert (result.joints_rejected, result.critical_rejections) == (
        worked.rejected,
        worked.critical,
    )


@pytest.mark.parametrize("worked", BOARDS)
def test_board_passes_on_the_right_side_of_every_threshold(worked):
    for mark in marks_around(worked.score):
        for allowed in range(worked.rejected + 2):
            met = {
                "no_critical_rejection": worked.critical == 0,
                "rejects_allowed": worked.rejected <= allowed,
                "score_reached": worked.score is not None and worked.score >= Fraction(mark),
                "joints_present": worked.score is not None or worked.is_open,
            }
            if worked.board is not None:
                met["board_judged"] = not worked.is_open
            result = result_of(worked, allowed=allowed, mark=mark)
            assert {line.rule: line.met for line in result.lines} == met | {"stages_signed": True}
            assert result.passed is all(met.values()), (mark, allowed)


@pytest.mark.parametrize("worked", BOARDS)
@pytest.mark.parametrize("signed", [(), ("formed",), ("soldered",)])
def test_no_board_passes_or_fails_before_every_stage_is_signed(worked, signed):
    assert result_of(worked, allowed=9, mark=Decimal(0), signed=signed).passed is None

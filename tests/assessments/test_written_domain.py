"""Written tests computed: answers marked, forms drawn, and what the answers of many say.

Values named "by pingouin" were computed once by pingouin 0.7.0 (`cronbach_alpha`, whose interval is
Feldt's too), which the project does not depend on; the others are computed here by scipy.
"""

import numpy as np
import pytest
from scipy import integrate, stats

from assessments.domain import item_analysis
from assessments.domain.answers import (
    SQUARES,
    Asked,
    Kind,
    Marked,
    NothingAsked,
    is_right,
    least_right,
    outcome_of,
)
from assessments.domain.written_forms import Candidate, TooFewQuestions, draw, next_form, shuffled

ONE = Asked(Kind.ONE, 3, {"right": [1]})
SEVERAL = Asked(Kind.SEVERAL, 4, {"right": [0, 3]})
NUMBER = Asked(Kind.NUMBER, 0, {"value": "0.76", "tolerance": "0.02"}, "mm")
MICROMETRES = Asked(Kind.NUMBER, 0, {"value": "25", "tolerance": "0"}, "\u00b5m")
OHMS = Asked(Kind.NUMBER, 0, {"value": "1.2", "tolerance": "0"}, "\u2126")
ORDER = Asked(Kind.ORDER, 3, {})
PLACE = Asked(Kind.PLACE, 0, {"right": ["C4", "C5"]})


@pytest.mark.parametrize(
    ("asked", "given", "shown", "right"),
    [
        (ONE, ["1"], [], True),
        (ONE, ["0"], [], False),
        (ONE, ["0"], [1, 0, 2], True),
        (ONE, ["1", "0"], [], False),
        (ONE, [], [], False),
        (ONE, ["7"], [], False),
        (ONE, ["-1"], [], False),
        (ONE, ["9" * 5000], [], False),
        (ONE, ["²"], [], False),
        (SEVERAL, ["3", "0"], [], True),
        (SEVERAL, ["0"], [], False),
        (SEVERAL, ["0", "3", "1"], [], False),
        (SEVERAL, ["0", "3", "3"], [], False),
        (NUMBER, ["0.78"], [], True),
        (NUMBER, ["0,74 mm"], [], True),
        (NUMBER, ["0.76\u200b"], [], True),  # Pasted, with what nobody sees.
        (NUMBER, ["\ufeff0.76\tmm"], [], True),
        (MICROMETRES, ["25 \u03bcm"], [], True),  # The Greek letter, the key of some telephones.
        (MICROMETRES, ["25 \u00b5m"], [], True),
        (MICROMETRES, ["25 mm"], [], False),
        (OHMS, ["1,2 \u03a9"], [], True),
        (NUMBER, ["10²"], [], False),
        (NUMBER, ["0.7801"], [], False),
        (NUMBER, ["0.76 d"], [], False),
        (NUMBER, ["about 0.76"], [], False),
        (NUMBER, ["NaN"], [], False),
        (NUMBER, ["1e999999"], [], False),
        (NUMBER, ["1e-999999"], [], False),
        (NUMBER, ["7.6e-1"], [], True),
        (NUMBER, ["0." + "7" * 5000], [], False),
        (NUMBER, ["0,7,6"], [], False),
        (NUMBER, ["0_76"], [], False),
        (NUMBER, [""], [], False),
        (NUMBER, ["0.76", "0.76"], [], False),
        (ORDER, ["3", "1", "2"], [2, 0, 1], True),
        (ORDER, ["1", "2", "3"], [2, 0, 1], False),
        (ORDER, ["3", "1"], [2, 0, 1], False),
        (ORDER, ["", "", ""], [2, 0, 1], False),
        (PLACE, ["C5"], [], True),
        (PLACE, ["C6"], [], False),
        (PLACE, ["C4", "C5"], [], False),
    ],
)
def test_an_answer_is_right_as_a_whole_or_wrong(asked, given, shown, right):
    assert is_right(asked, given, shown) is right


def test_the_pass_mark_is_met_by_whole_questions_and_every_one_that_must_be_right():
    for of in range(1, 60):
        for percent in range(1, 101):
            least = least_right(of, percent)
            assert least * 100 >= percent * of > (least - 1) * 100
    assert outcome_of([Marked("1", True)] * 12 + [Marked("2", False)] * 3, 80).passed
    assert not outcome_of([Marked("1", True)] * 11 + [Marked("2", False)] * 4, 80).passed
    missed = outcome_of([Marked("1", True)] * 19 + [Marked("S", False, must_be_right=True)], 80)
    assert (missed.right, missed.of, missed.missed, missed.passed) == (19, 20, ("S",), False)
    with pytest.raises(NothingAsked):
        outcome_of([], 80)


def test_a_drawn_form_has_its_numbers_and_follows_from_its_seed():
    pool = [Candidate(f"H{n}", "heat") for n in range(6)]
    pool += [Candidate("S1", "safety", must_be_right=True), Candidate("S2", "safety")]
    counts = {"safety": 1, "heat": 3}
    first = draw(pool, counts, "a")
    assert first == draw(reversed(pool), counts, "a")
    assert first[0] == "S1"  # It must be right, so no draw leaves it out.
    assert len(first) == 4 == len(set(first))
    assert len({tuple(draw(pool, counts, str(seed))) for seed in range(20)}) > 10
    again = draw(pool, counts, "b", had=dict.fromkeys(first, 1))
    assert set(again) & set(first) == {"S1"}
    with pytest.raises(TooFewQuestions) as refused:
        draw(pool, {"heat": 7}, "a")
    assert refused.value.topic == "heat"
    with pytest.raises(TooFewQuestions):
        draw([*pool, Candidate("S3", "safety", must_be_right=True)], counts, "a")


def test_another_form_is_one_not_had_before():
    given = [next_form("ABC", had, "x", another=True) for had in ([], ["A"], ["A", "B"])]
    assert given[0] in "ABC"
    assert given[1] in "BC"
    assert given[2] == "C"
    assert next_form("ABC", ["A", "C", "B"], "x", another=True) is None
    assert next_form("ABC", ["C", "A", "B", "A"], "x", another=False) == "C"
    for count in range(2, 9):
        assert all(shuffled(count, str(n)) != list(range(count)) for n in range(30))
        assert sorted(shuffled(count, "x")) == list(range(count))


def test_squares_of_a_picture_are_named_once():
    assert len(SQUARES) == len(set(SQUARES)) == 48


def table(text: str) -> list[list[int]]:
    """A row a paper, of its marks."""
    return [[int(mark) for mark in row] for row in text.split()]


# Ten people, ten questions: East Carolina University's note on KR-20
KR1 = table(
    "1111110110 1011011101 1111011001 0010001000 0000010010 1110111111 "
    "1101110111 1111111101 0101111101 1101101110"
)
# Forty papers of twelve questions, drawn once at random
FORTY = table(
    "010101000001 111010000010 111010100100 011100100000 110101010100 110000000000 "
    "011011010000 111110111010 110000000100 010000000010 111111010000 111100100000 "
    "111111010101 100000101000 111100100100 111111100100 011010000000 110011010000 "
    "000100000000 001000010000 110000000000 110000001000 110100000000 111010001101 "
    "111010101010 111100010011 010000000000 110011100000 110110110000 110101101000 "
    "010100000000 110010100101 011000100010 111011000000 111111111010 011000000100 "
    "111111110000 111001101010 111100000000 110100010000"
)


def test_known_answers_of_item_analysis():
    """The note gives 0.696; the other figures were computed anew from its data."""
    assert item_analysis.difficulty(KR1) == pytest.approx(
        [0.7, 0.7, 0.6, 0.7, 0.6, 0.8, 0.7, 0.7, 0.5, 0.6]
    )
    assert item_analysis.corrected_point_biserial(KR1) == pytest.approx(
        [0.7059, 0.7059, 0.0, 0.4736, 0.5839, 0.2861, -0.0274, 0.7059, -0.1236, 0.4759], abs=5e-5
    )
    kr20 = item_analysis.kr20(KR1)
    assert kr20.value == pytest.approx(0.696347, abs=5e-7)
    assert (kr20.low, kr20.high) == pytest.approx((0.309, 0.911), abs=5e-4)  # by pingouin
    assert item_analysis.kr21(KR1) == pytest.approx(0.684170, abs=5e-7)
    forty = item_analysis.kr20(FORTY)
    assert forty.value == pytest.approx(0.6081603435934145)  # by pingouin
    assert (forty.low, forty.high) == pytest.approx((0.402, 0.766), abs=5e-4)  # by pingouin


def test_each_question_goes_with_the_rest_as_scipy_correlates_them():
    answers = np.array(FORTY)
    totals = answers.sum(axis=1)
    theirs = [stats.pearsonr(column, totals - column).statistic for column in answers.T]
    assert item_analysis.corrected_point_biserial(FORTY) == pytest.approx(theirs)
    alike = np.column_stack([answers, np.ones(len(answers), dtype=int)])
    assert item_analysis.corrected_point_biserial(alike)[-1] is None


def test_feldts_interval_covers_as_often_as_it_says():
    """Persons' and errors' normal effects have a known reliability; 0 and 1 only come near it."""
    rng = np.random.default_rng(11)
    papers, questions, covered, runs = 60, 20, 0, 400
    people = rng.normal(size=(runs, papers, 1))
    chance = stats.norm.cdf(people * 0.6)
    tables = (rng.random((runs, papers, questions)) < chance).astype(int)
    # Over all people: the share of the variance of totals that knowledge has.
    p = stats.norm.cdf(rng.normal(size=400_000) * 0.6)
    true, noise = p.var(), (p * (1 - p)).mean()
    rho = questions * true / (questions * true + noise)
    for answers in tables:
        found = item_analysis.kr20(answers)
        covered += found.low <= rho <= found.high
    assert 0.92 <= covered / runs <= 0.98


@pytest.mark.parametrize(
    ("alpha", "beta", "questions", "least"), [(4.0, 2.0, 10, 7), (7.9, 3.1, 20, 16), (2, 2, 5, 3)]
)
def test_decision_consistency_is_the_integral_that_it_stands_for(alpha, beta, questions, least):
    """Two binomial scores under one beta distribution, integrated; passing once, by scipy."""

    def alike(share):
        passes = stats.binom.sf(least - 1, questions, share)
        return (passes**2 + (1 - passes) ** 2) * stats.beta.pdf(share, alpha, beta)

    found = item_analysis.beta_binomial_consistency(alpha, beta, questions, least)
    assert found.alike == pytest.approx(integrate.quad(alike, 0, 1)[0], abs=1e-7)
    passes = stats.betabinom.sf(least - 1, questions, alpha, beta)
    assert found.by_chance == pytest.approx(passes**2 + (1 - passes) ** 2)
    assert found.kappa == pytest.approx((found.alike - found.by_chance) / (1 - found.by_chance))


def test_consistency_takes_mean_and_variance_of_the_papers():
    """The beta-binomial distribution that it takes has the mean and the KR-21 of the table."""
    found = item_analysis.decision_consistency(FORTY, 6)
    totals = np.array(FORTY).sum(axis=1)
    reliability = item_analysis.kr21(FORTY)
    alpha = (1 / reliability - 1) * totals.mean()
    fitted = stats.betabinom(12, alpha, 12 / reliability - 12 - alpha)
    assert (fitted.mean(), fitted.var()) == pytest.approx((totals.mean(), totals.var()))
    assert 0.5 < found.alike < 1
    # All alike, and answers that fit no such distribution: nothing is said.
    assert item_analysis.decision_consistency([[1, 0]] * 30, 1) is None
    assert item_analysis.kr20([[1, 0]] * 30) is None
    assert item_analysis.decision_consistency([[1, 0, 1], [0, 1, 0], [0, 1, 1]], 2) is None


def test_nothing_is_said_of_fewer_than_thirty_papers():
    assert item_analysis.analyse_form(FORTY[:29], 8) is None
    analysis = item_analysis.analyse_form(FORTY[:30], 8)
    assert analysis.papers == 30
    assert len(analysis.difficulty) == len(analysis.discrimination) == 12


def test_a_wrong_choice_is_told_by_whom_it_draws():
    ticked = [frozenset({0}), frozenset({1}), frozenset({1}), frozenset()]
    found = item_analysis.choices_taken(ticked, [9, 4, 6, 2], 3)
    assert [(one.chosen, one.mean_rest) for one in found] == [(1, 9.0), (2, 5.0), (0, None)]

"""What the answers of many people say of a written test and of each of its questions.

Rows are papers, columns are questions; 1 is right and 0 is wrong, no answer among the latter.
Below `LEAST_PAPERS` nothing is said at all: a figure would be read, and it would be chance.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import comb

import numpy as np
from numpy.typing import ArrayLike, NDArray

LEAST_PAPERS = 30
CONFIDENCE = 0.95

Right = NDArray[np.int64]


def _table(right: ArrayLike) -> Right:
    table = np.asarray(right, dtype=np.int64)
    if table.ndim != 2 or not np.isin(table, (0, 1)).all():
        raise ValueError("Answers are a table of 0 and 1: a row a paper, a column a question.")
    return table


def difficulty(right: ArrayLike) -> NDArray[np.float64]:
    """The share of papers on which each question is right, shape (questions,)."""
    return _table(right).mean(axis=0)


def corrected_point_biserial(right: ArrayLike) -> list[float | None]:
    """How each question goes with the rest of its test: Pearson's correlation.

    The question itself is taken out of the total, which would else go with itself. None where all
    papers have the question, or the rest of it, alike.

    Examples
    --------
    >>> corrected_point_biserial([[1, 1, 1], [1, 0, 0], [0, 0, 1], [1, 0, 1]])[1]
    0.5
    """
    table = _table(right)
    totals = table.sum(axis=1)
    found: list[float | None] = []
    for column in table.T:
        rest = totals - column
        own, others = column - column.mean(), rest - rest.mean()
        spread = float(np.sqrt((own @ own) * (others @ others)))
        found.append(float(own @ others) / spread if spread > 0 else None)
    return found


@dataclass(frozen=True, slots=True)
class Choice:
    """What became of one choice of a question.

    Attributes
    ----------
    chosen : int
        On how many papers it was ticked.
    mean_rest : float or None
        What those papers have right of the other questions, on average.
    """

    chosen: int
    mean_rest: float | None


def choices_taken(ticked: Sequence[frozenset[int]], rest: ArrayLike, count: int) -> list[Choice]:
    """What became of each choice: whom a wrong one draws, and whether any.

    Parameters
    ----------
    ticked : sequence of frozenset of int
        What each paper has ticked; empty for no answer.
    rest : array_like, shape (papers,)
        What each paper has right of the other questions.
    count : int
        How many choices there are.
    """
    scores = np.asarray(rest, dtype=float)
    found = []
    for choice in range(count):
        taken = np.array([choice in one for one in ticked], dtype=bool)
        chosen = int(taken.sum())
        found.append(Choice(chosen, float(scores[taken].mean()) if chosen else None))
    return found


@dataclass(frozen=True, slots=True)
class Reliability:
    """Kuder and Richardson's formula 20 with an interval; ``low`` may lie below 0."""

    value: float
    low: float
    high: float


def kr20(right: ArrayLike, confidence: float = CONFIDENCE) -> Reliability | None:
    """How far a fixed form would rank the same people alike again, by KR-20.

    With the variance of the totals over N, as that of each question is p(1 − p): mixed with N − 1
    it comes out too high. None where all totals are alike, or there is one question.

    The interval is Feldt's: (1 − ρ) ÷ (1 − r) is distributed as F with N − 1 and (N − 1)(k − 1)
    degrees of freedom, for N papers and k questions.

    References
    ----------
    .. [1] G. F. Kuder, M. W. Richardson, Psychometrika 2, 1937, doi:10.1007/BF02288391 (from
       memory).
    .. [2] L. S. Feldt, The approximate sampling distribution of Kuder-Richardson reliability
       coefficient twenty, Psychometrika 30, 1965, doi:10.1007/BF02289499 (from memory).
    """
    # A second to import, and only whoever reads an analysis needs it.
    from scipy.special import fdtri

    table = _table(right)
    papers, questions = table.shape
    variance = float(table.sum(axis=1).var()) if papers else 0.0
    if questions < 2 or papers < 2 or variance == 0:
        return None
    p = table.mean(axis=0)
    value = questions / (questions - 1) * (1 - float((p * (1 - p)).sum()) / variance)
    above, below = papers - 1, (papers - 1) * (questions - 1)
    tail = (1 - confidence) / 2
    low, high = (1 - (1 - value) * float(fdtri(above, below, share)) for share in (1 - tail, tail))
    return Reliability(value, low, high)


def kr21(right: ArrayLike) -> float | None:
    """Formula 21, which takes all questions as equally difficult; None as `kr20` has it."""
    table = _table(right)
    papers, questions = table.shape
    totals = table.sum(axis=1)
    variance = float(totals.var()) if papers else 0.0
    if questions < 2 or variance == 0:
        return None
    mean = float(totals.mean())
    return questions / (questions - 1) * (1 - mean * (questions - mean) / (questions * variance))


@dataclass(frozen=True, slots=True)
class Consistency:
    """How far a second form would decide alike.

    Attributes
    ----------
    alike : float
        Share of people who would pass both times or fail both times.
    by_chance : float
        The share that two draws without any tie between them would give.
    kappa : float or None
        What is left beyond chance; None where chance alone decides all alike.
    """

    alike: float
    by_chance: float
    kappa: float | None


def decision_consistency(right: ArrayLike, least: int) -> Consistency | None:
    """Huynh's agreement of two decisions at a pass mark, from one giving of a form.

    What people know is taken as a beta distribution, and their answers as binomial: then two forms
    have a bivariate beta-binomial distribution, whose parameters follow from mean and KR-21. It
    takes questions as equally difficult, which makes it rather low than high. None where KR-21 is
    not above 0, or is 1: the answers then fit no such distribution.

    Parameters
    ----------
    least : int
        The fewest right answers that pass.

    References
    ----------
    .. [1] H. Huynh, On the reliability of decisions in domain-referenced testing, Journal of
       Educational Measurement 13, 1976, 253-264 (from memory).
    """
    table = _table(right)
    reliability = kr21(table)
    if reliability is None or not 0 < reliability < 1:
        return None
    questions = table.shape[1]
    mean = float(table.sum(axis=1).mean())
    alpha = (1 / reliability - 1) * mean
    beta = questions / reliability - questions - alpha
    return beta_binomial_consistency(alpha, beta, questions, least)


def beta_binomial_consistency(
    alpha: float, beta: float, questions: int, least: int
) -> Consistency | None:
    """The same from the parameters of the beta distribution; None where one is not above 0."""
    from scipy.special import betaln

    if alpha <= 0 or beta <= 0:
        return None
    score = np.arange(questions + 1)
    ways = np.log([float(comb(questions, one)) for one in score])
    begin = betaln(alpha, beta)
    one = np.exp(ways + betaln(alpha + score, beta + questions - score) - begin)
    both = score[:, None] + score[None, :]
    pair = np.exp(
        ways[:, None] + ways[None, :] + betaln(alpha + both, beta + 2 * questions - both) - begin
    )
    passing = score >= least
    passes = float(one[passing].sum())
    alike = float(pair[np.ix_(passing, passing)].sum() + pair[np.ix_(~passing, ~passing)].sum())
    chance = passes**2 + (1 - passes) ** 2
    return Consistency(alike, chance, (alike - chance) / (1 - chance) if chance < 1 else None)


@dataclass(frozen=True, slots=True)
class FormAnalysis:
    """What the papers of one fixed form say.

    Attributes
    ----------
    papers : int
    difficulty : tuple of float
        The share right, for each question.
    discrimination : tuple of float or None
        `corrected_point_biserial`.
    reliability : Reliability or None
    consistency : Consistency or None
    """

    papers: int
    difficulty: tuple[float, ...]
    discrimination: tuple[float | None, ...]
    reliability: Reliability | None
    consistency: Consistency | None


def analyse_form(right: ArrayLike, least: int) -> FormAnalysis | None:
    """All of it for the papers of one fixed form; None while there are too few to say anything.

    Parameters
    ----------
    least : int
        The fewest right answers that pass.
    """
    table = _table(right)
    if len(table) < LEAST_PAPERS:
        return None
    return FormAnalysis(
        papers=len(table),
        difficulty=tuple(float(share) for share in difficulty(table)),
        discrimination=tuple(corrected_point_biserial(table)),
        reliability=kr20(table),
        consistency=decision_consistency(table, least),
    )

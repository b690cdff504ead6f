"""Tails and points of χ² and F, and of the range of normal readings, in plain Python."""

from functools import cache
from math import erf, exp, lgamma, log, sqrt

import numpy as np

NEAR = 1e-15
MOST_STEPS = 10_000
TINY = 1e-300


def chi_square_cdf(x: float, freedom: float) -> float:
    """The probability that χ² with these degrees of freedom is at most x.

    References
    ----------
    .. [1] NIST Digital Library of Mathematical Functions, 8.7.1 (series) and 8.9.2 (continued
       fraction) of the incomplete gamma function.

    Examples
    --------
    >>> round(chi_square_cdf(3.841459, 1), 6)
    0.95
    """
    if x <= 0:
        return 0.0
    a, z = freedom / 2, x / 2
    front = exp(a * log(z) - z - lgamma(a))
    if z < a + 1:
        term = total = 1 / a
        for step in range(1, MOST_STEPS):
            term *= z / (a + step)
            total += term
            if term < total * NEAR:
                break
        return front * total
    b = z + 1 - a
    c, d = 1 / TINY, 1 / b
    fraction = d
    for step in range(1, MOST_STEPS):
        by = -step * (step - a)
        b += 2
        d = 1 / _away_from_zero(by * d + b)
        c = _away_from_zero(b + by / c)
        fraction *= d * c
        if abs(d * c - 1) < NEAR:
            break
    return 1 - front * fraction


def chi_square_point(probability: float, freedom: float) -> float:
    """The x that χ² stays under with this probability.

    Raises
    ------
    ValueError
        If the probability is not between 0 and 1, or there is no degree of freedom.

    Examples
    --------
    >>> round(chi_square_point(0.05, 10), 4)
    3.9403
    """
    if not 0 < probability < 1 or freedom <= 0:
        raise ValueError("A point needs a probability between 0 and 1, and degrees of freedom.")
    low, high = 0.0, freedom + 10.0
    while chi_square_cdf(high, freedom) < probability:
        high *= 2
    for _step in range(200):
        middle = (low + high) / 2
        if chi_square_cdf(middle, freedom) < probability:
            low = middle
        else:
            high = middle
        if high - low <= NEAR * high:
            break
    return (low + high) / 2


def f_exceeds(f: float, above: float, below: float) -> float:
    """The probability that F with these degrees of freedom is f or more.

    References
    ----------
    .. [1] NIST Digital Library of Mathematical Functions, 8.17.22: the continued fraction of the
       incomplete beta function.

    Examples
    --------
    >>> round(f_exceeds(4.9646, 1, 10), 4)
    0.05
    """
    if f <= 0:
        return 1.0
    x = below / (below + above * f)
    return _beta_ratio(x, below / 2, above / 2)


def _beta_ratio(x: float, a: float, b: float) -> float:
    """The regularised incomplete beta function."""
    if x <= 0:
        return 0.0
    if x >= 1:
        return 1.0
    if x > (a + 1) / (a + b + 2):
        return 1 - _beta_ratio(1 - x, b, a)
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log(1 - x)) / a
    c, d = 1.0, 1 / _away_from_zero(1 - (a + b) * x / (a + 1))
    fraction = d
    for step in range(1, MOST_STEPS):
        even = step * (b - step) * x / ((a + 2 * step - 1) * (a + 2 * step))
        odd = -(a + step) * (a + b + step) * x / ((a + 2 * step) * (a + 2 * step + 1))
        for by in (even, odd):
            d = 1 / _away_from_zero(1 + by * d)
            c = _away_from_zero(1 + by / c)
            fraction *= d * c
        if abs(d * c - 1) < NEAR:
            break
    return front * fraction


def _away_from_zero(value: float) -> float:
    return value if abs(value) > TINY else TINY


@cache
def range_moments(size: int) -> tuple[float, float]:
    """Mean d2 and standard deviation d3 of the range of so many normal readings of σ = 1.

    Parameters
    ----------
    size : int
        At least 2.

    References
    ----------
    .. [1] L. H. C. Tippett, Biometrika 17, 1925 (from memory): with Φ the normal distribution,
       E(w) = ∫ 1 − Φⁿ − (1 − Φ)ⁿ, and E(w²) = 2∬ 1 − Φ(y)ⁿ − (1 − Φ(x))ⁿ + (Φ(y) − Φ(x))ⁿ
       over x < y. Integrated here by the trapezoidal rule.

    Examples
    --------
    >>> mean, deviation = range_moments(3)
    >>> round(mean, 4), round(deviation, 4)
    (1.6926, 0.8884)
    """
    if size < 2:
        raise ValueError("A range is of two readings or more.")
    reach, step = 8.5, 0.0125
    x = np.arange(-reach, reach + step / 2, step)
    below = np.array([(1 + erf(each / sqrt(2))) / 2 for each in x])
    mean = float(np.sum(1 - below**size - (1 - below) ** size)) * step
    total = 0.0
    for n in range(len(x)):  # Row by row, so that little is held at once.
        inner = 1 - below[n:] ** size - (1 - below[n]) ** size + (below[n:] - below[n]) ** size
        total += float(np.sum(inner)) - inner[0] / 2  # The edge x = y counts by half.
    square = 2 * total * step**2
    return mean, sqrt(square - mean**2)


def range_divisor(size: int, ranges: int) -> float:
    """What a mean of ranges is divided by for a standard deviation: d2*, or d2 of many.

    Parameters
    ----------
    size : int
        How many readings each range spans.
    ranges : int
        How many ranges the mean is of; of more than 15 the divisor is d2.

    References
    ----------
    .. [1] A. J. Duncan, Quality Control and Industrial Statistics, table D3 (from memory); there
       d2* = √(d2² + d3² ÷ g), and beyond 15 ranges the table ends in d2.

    Examples
    --------
    >>> round(1 / range_divisor(3, 1), 4), round(1 / range_divisor(10, 1), 4)
    (0.5231, 0.3146)
    >>> round(1 / range_divisor(3, 30), 4)
    0.5908
    """
    mean, deviation = range_moments(size)
    return mean if ranges > 15 else sqrt(mean**2 + deviation**2 / ranges)

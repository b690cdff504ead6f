"""Points of χ², tails of F, and the range of normal readings.

scipy.special takes a second to import, and only whoever reads a study needs it: each function
imports it for itself.
"""

from functools import cache
from math import sqrt

import numpy as np


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
    from scipy.special import gammaincinv

    if not 0 < probability < 1 or freedom <= 0:
        raise ValueError("A point needs a probability between 0 and 1, and degrees of freedom.")
    return 2 * float(gammaincinv(freedom / 2, probability))


def f_exceeds(f: float, above: float, below: float) -> float:
    """The probability that F with these degrees of freedom is f or more.

    Examples
    --------
    >>> round(f_exceeds(4.9646, 1, 10), 4)
    0.05
    """
    from scipy.special import fdtrc

    return float(fdtrc(above, below, f)) if f > 0 else 1.0


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
    from scipy.special import ndtr

    if size < 2:
        raise ValueError("A range is of two readings or more.")
    reach, step = 8.5, 0.0125
    x = np.arange(-reach, reach + step / 2, step)
    below = ndtr(x)
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

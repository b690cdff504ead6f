"""How far one person's marks scatter, by what they measured several times over."""

from collections.abc import Iterable, Sequence
from math import sqrt

LEAST_FREEDOM = 10  # values beyond the first of each thing: fewer say too little of a person


def scatter(things: Iterable[Sequence[tuple[float, float]]]) -> float:
    """By how many times the marks of a person scatter more than a pixel as shown.

    Parameters
    ----------
    things : iterable of sequence of (value, uncertainty)
        Of each thing the values that the person measured of it on one photograph, each with the
        standard uncertainty that marks uncertain by one pixel as shown give it. What is the same
        for all of them, the scale and the view, cancels.

    Returns
    -------
    float
        The pooled standard deviation in those units; at least 1, and 1 where there are fewer
        than ten values beyond the first of each thing.

    Examples
    --------
    >>> scatter([[(10.0, 1.0), (14.0, 1.0)]] * 10)
    2.8284271247461903
    >>> scatter([[(10.0, 1.0), (14.0, 1.0)]] * 9)
    1.0
    """
    squares, freedom = 0.0, 0
    for thing in things:
        values = [(value, u) for value, u in thing if u > 0]
        if len(values) < 2:
            continue
        middle = sum(value for value, _u in values) / len(values)
        squares += sum(((value - middle) / u) ** 2 for value, u in values)
        freedom += len(values) - 1
    if freedom < LEAST_FREEDOM:
        return 1.0
    return max(1.0, sqrt(squares / freedom))

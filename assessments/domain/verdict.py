"""Comparing a measured value with its limits."""

from decimal import Decimal
from enum import StrEnum


class Verdict(StrEnum):
    WITHIN = "within"
    OUTSIDE = "outside"
    TOO_CLOSE = "too_close_to_call"


def verdict(
    value: Decimal,
    expanded: Decimal,
    low: Decimal | None,
    high: Decimal | None,
    *,
    proven: bool = True,
) -> Verdict:
    """Say whether a value is within its limits, allowing for its uncertainty.

    Parameters
    ----------
    value, expanded : Decimal
        The value and its expanded uncertainty U = 2u, in the unit of the limits.
    low, high : Decimal or None
        The limits, both themselves allowed; None is no limit on that side.
    proven : bool
        Whether the uncertainty is: with a remark that something is not proven the value says
        nothing of its limits.

    Returns
    -------
    Verdict
        Within if the whole of value ± U lies inside the limits, outside if the whole of it
        lies beyond one of them, otherwise, and where U is not proven, too close to call.

    References
    ----------
    .. [1] The decision rule of ISO 14253-1 in its editions of 1998 and 2013, as described in
       public summaries: conformity is proved by limits drawn in by U with k = 2,
       non-conformity by limits pushed out by U. The edition of 2017 asks by default for a
       probability of conformity of 95 %, which limits drawn in by 1.65 u give; 2 u are stricter,
       97.7 % (a normal distribution, one limit in reach; from memory, the standard was not
       at hand).

    Examples
    --------
    >>> verdict(Decimal("1.90"), Decimal("0.10"), None, Decimal("2")).value
    'within'
    >>> verdict(Decimal("1.95"), Decimal("0.10"), None, Decimal("2")).value
    'too_close_to_call'
    """
    if not proven:
        return Verdict.TOO_CLOSE
    if (low is not None and value + expanded < low) or (
        high is not None and value - expanded > high
    ):
        return Verdict.OUTSIDE
    if (low is None or value - expanded >= low) and (high is None or value + expanded <= high):
        return Verdict.WITHIN
    return Verdict.TOO_CLOSE

"""How often work was rejected, of how much that was judged, and how sure that is.

Each thing judged is taken as independent of the others.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class FailureRate:
    """How many were rejected of how many that were judged; of nothing there is no rate.

    Examples
    --------
    >>> FailureRate(3, 12).share
    Fraction(1, 4)
    """

    rejected: int
    judged: int

    @property
    def share(self) -> Fraction:
        return Fraction(self.rejected, self.judged)

    def interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """Between which shares the true one lies: exact, and never narrower than it says.

        Returns
        -------
        tuple of float
            Lower and upper limit, from 0 to 1.

        Raises
        ------
        ValueError
            If nothing was judged.

        References
        ----------
        .. [1] C. J. Clopper, E. S. Pearson, Biometrika 26, 1934, as points of the beta
           distribution.

        Examples
        --------
        >>> [round(limit, 4) for limit in FailureRate(0, 20).interval()]
        [0.0, 0.1684]
        """
        # Importing it takes a second, and most who count failures need no interval.
        from scipy.special import betaincinv

        if not self.judged:
            raise ValueError("Of nothing judged there is no share.")
        left, good = (1 - confidence) / 2, self.judged - self.rejected
        low = betaincinv(self.rejected, good + 1, left) if self.rejected else 0.0
        high = betaincinv(self.rejected + 1, good, 1 - left) if good else 1.0
        return float(low), float(high)


def failure_rates(judged: Iterable[tuple[str, bool]]) -> dict[str, FailureRate]:
    """Count what was judged by what it belongs to.

    Parameters
    ----------
    judged : iterable of (str, bool)
        For each thing judged what it belongs to, and whether it was rejected.

    Returns
    -------
    dict of str to FailureRate
        What nothing was judged of does not stand in it.

    Examples
    --------
    >>> failure_rates([("S-1", True), ("S-1", False), ("S-2", False)])["S-1"]
    FailureRate(rejected=1, judged=2)
    """
    counts: dict[str, list[int]] = {}
    for key, is_rejected in judged:
        count = counts.setdefault(key, [0, 0])
        count[0] += is_rejected
        count[1] += 1
    return {key: FailureRate(*count) for key, count in counts.items()}


def most_rejected_first(rates: Mapping[str, FailureRate]) -> list[str]:
    """What was rejected most often comes first; what was as often, by its code.

    Examples
    --------
    >>> most_rejected_first(
    ...     {"B": FailureRate(1, 9), "A": FailureRate(1, 2), "C": FailureRate(4, 99)}
    ... )
    ['C', 'A', 'B']
    """
    return sorted(rates, key=lambda key: (-rates[key].rejected, key))


def most_after_good_run(run: int, confidence: float = 0.95) -> float:
    """The largest share of rejects that a run without one leaves open.

    Parameters
    ----------
    run : int
        How many in a row were good, at least 1.

    Examples
    --------
    59 in a row show that fewer than 5 % are rejected:

    >>> round(most_after_good_run(59), 4), most_after_good_run(58) > 0.05
    (0.0495, True)
    """
    return float(1 - (1 - confidence) ** (1 / run))

"""How often work was rejected, of how much that was judged."""

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

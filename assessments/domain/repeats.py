"""Several measurements of one thing: what they come to, so that the last or the best is none."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from math import hypot, sqrt

from .verdict import Verdict, verdict

STRICT = {Verdict.OUTSIDE: 0, Verdict.TOO_CLOSE: 1, Verdict.WITHIN: 2}


class How(StrEnum):
    """How a counted value comes of its measurements."""

    SINGLE = "single"
    COMBINED = "combined"
    WORST = "worst"


@dataclass(frozen=True, slots=True)
class Repeat:
    """One measurement of the thing.

    Attributes
    ----------
    value : float
    terms : dict of str to float
        Of its standard uncertainty: their squares add up.
    picture : int
        Which photograph it was made on.
    proven : bool
        Whether its uncertainty is.
    """

    value: float
    terms: Mapping[str, float]
    picture: int
    proven: bool = True

    @property
    def u(self) -> float:
        return hypot(*self.terms.values())

    @property
    def bound(self) -> float:
        """The bound of the view behind its term, as `view.with_bound` took it in."""
        rest = hypot(*(term for name, term in self.terms.items() if name != "view"))
        return 2 * (self.u - rest)

    @property
    def own(self) -> float:
        """What differs between two measurements on one picture: the marks."""
        return self.terms.get("marks", self.u)


@dataclass(frozen=True, slots=True)
class Counted:
    """What several measurements come to.

    Attributes
    ----------
    value, u : float
    proven : bool
    how : How
    used : tuple of int
        Which of them it comes of, as they were given.
    """

    value: float
    u: float
    proven: bool
    how: How
    used: tuple[int, ...]

    @property
    def expanded(self) -> float:
        return 2 * self.u

    def verdict(self, low: Decimal | None, high: Decimal | None) -> Verdict:
        return _verdict(self.value, self.u, low, high, proven=self.proven)


def count(repeats: Sequence[Repeat], low: Decimal | None, high: Decimal | None) -> Counted:
    """Let several measurements of one thing count as one.

    Those that are proven, or all where none is, are averaged with the weights 1/u². Each term of
    the uncertainty is the same average of theirs: repeating makes the value surer and not what is
    stated of it, so that nobody comes within a limit by measuring again until it fits. Where they
    do not agree, the worst counts: the one that is least within the limits.

    Parameters
    ----------
    repeats : sequence of Repeat
        At least one, in any order.
    low, high : Decimal or None
        The limits.

    References
    ----------
    .. [1] Agreement: the sum of (value − average)² ÷ u² stays under the 95 % point of χ² with
       one degree of freedom less than there are values (R. T. Birge, Physical Review 40, 1932,
       the ratio behind it; from memory). On one picture u is of the marks alone.

    Examples
    --------
    >>> of = lambda value: Repeat(value, {"marks": 3.0, "view": 4.0}, picture=1)
    >>> count([of(200.0), of(204.0)], Decimal(180), Decimal(270))
    Counted(value=202.0, u=5.0, proven=True, how=<How.COMBINED: 'combined'>, used=(0, 1))
    >>> count([of(170.0), of(204.0)], Decimal(180), Decimal(270)).value
    170.0
    """
    used = [n for n, repeat in enumerate(repeats) if repeat.proven] or list(range(len(repeats)))
    chosen = [repeats[n] for n in used]
    proven = chosen[0].proven
    if len(chosen) == 1:
        return Counted(chosen[0].value, chosen[0].u, proven, How.SINGLE, tuple(used))
    weights = _weights([repeat.u for repeat in chosen])
    value = sum(w * repeat.value for w, repeat in zip(weights, chosen, strict=True))
    if not _agree(chosen, value):
        worst = min(used, key=lambda n: _strictness(repeats[n], low, high))
        return Counted(repeats[worst].value, repeats[worst].u, proven, How.WORST, (worst,))
    names = {name for repeat in chosen for name in repeat.terms} - {"view"}
    terms = [
        sum(w * repeat.terms.get(name, 0.0) for w, repeat in zip(weights, chosen, strict=True))
        for name in sorted(names)
    ]
    bound = sum(w * repeat.bound for w, repeat in zip(weights, chosen, strict=True))
    return Counted(value, hypot(*terms) + bound / 2, proven, How.COMBINED, tuple(used))


def _weights(us: Sequence[float]) -> list[float]:
    least = max(min(us), 1e-12)
    raw = [(least / max(u, least)) ** 2 for u in us]
    return [each / sum(raw) for each in raw]


def _agree(chosen: Sequence[Repeat], average: float) -> bool:
    alone = len({repeat.picture for repeat in chosen}) == 1
    spread = sum(
        ((repeat.value - average) / max(repeat.own if alone else repeat.u, 1e-12)) ** 2
        for repeat in chosen
    )
    return spread <= chi_square_95(len(chosen) - 1)


def chi_square_95(freedom: int) -> float:
    """The 95 % point of χ² by Wilson and Hilferty's cube, to 1 % from two degrees on.

    Examples
    --------
    >>> round(chi_square_95(9), 1)
    16.9
    """
    ninth = 2 / (9 * freedom)
    return freedom * (1 - ninth + 1.6449 * sqrt(ninth)) ** 3


def _strictness(repeat: Repeat, low: Decimal | None, high: Decimal | None) -> tuple[int, float]:
    """How far within the limits: less is worse."""
    said = _verdict(repeat.value, repeat.u, low, high, proven=repeat.proven)
    room = [repeat.value - float(low)] if low is not None else []
    room += [float(high) - repeat.value] if high is not None else []
    return STRICT[said], min(room, default=0.0) - 2 * repeat.u


def _verdict(
    value: float, u: float, low: Decimal | None, high: Decimal | None, *, proven: bool
) -> Verdict:
    return verdict(Decimal(repr(value)), Decimal(repr(2 * u)), low, high, proven=proven)

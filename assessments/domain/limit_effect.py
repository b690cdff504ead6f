"""What other limits would have made of joints that were measured."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from .scoring import Outcome
from .verdict import Verdict, verdict


@dataclass(frozen=True, slots=True)
class MeasuredJoint:
    """A joint that was measured and judged.

    Attributes
    ----------
    key : int
        Names the judgement.
    value, expanded : Decimal
        The value and its expanded uncertainty, in the unit of the later limits.
    outcome : Outcome
        What was judged then.
    """

    key: int
    value: Decimal
    expanded: Decimal
    outcome: Outcome


@dataclass(frozen=True, slots=True)
class LimitEffect:
    """Keys of the joints that other limits would judge otherwise, and of those in doubt.

    ``unclear`` are those whose value, with its uncertainty, lies too close to the later limits,
    and would be for a grader to decide; they are counted as they were judged.
    """

    joints: int
    now_rejected: tuple[int, ...]
    now_accepted: tuple[int, ...]
    unclear: tuple[int, ...]

    @property
    def judged_otherwise(self) -> dict[int, Outcome]:
        return dict.fromkeys(self.now_rejected, Outcome.REJECT) | dict.fromkeys(
            self.now_accepted, Outcome.ACCEPT
        )


def limit_effect(
    joints: Iterable[MeasuredJoint], low: Decimal | None, high: Decimal | None
) -> LimitEffect:
    """Judge measured joints by other limits, by the rule that graders' screens go by.

    Parameters
    ----------
    joints : iterable of MeasuredJoint
    low, high : Decimal or None
        The later limits, both included; None is no limit on that side.

    Examples
    --------
    >>> joint = MeasuredJoint(7, Decimal("0.3"), Decimal("0.1"), Outcome.ACCEPT)
    >>> limit_effect([joint], Decimal("0.5"), Decimal(2)).now_rejected
    (7,)
    """
    seen = list(joints)
    now_rejected, now_accepted, unclear = [], [], []
    for joint in seen:
        found = verdict(joint.value, joint.expanded, low, high)
        if found == Verdict.TOO_CLOSE:
            unclear.append(joint.key)
        elif found == Verdict.OUTSIDE and joint.outcome == Outcome.ACCEPT:
            now_rejected.append(joint.key)
        elif found == Verdict.WITHIN and joint.outcome == Outcome.REJECT:
            now_accepted.append(joint.key)
    return LimitEffect(len(seen), tuple(now_rejected), tuple(now_accepted), tuple(unclear))


@dataclass(frozen=True, slots=True)
class Bin:
    """A stretch of values with how many joints lie in it, and how many of them turn."""

    begin: float
    end: float
    joints: int
    turned: int


def heaps(values: Sequence[tuple[float, bool]], begin: float, end: float, n: int) -> list[Bin]:
    """Count values in stretches of one width; each comes with whether its joint turns.

    A value on an edge counts in the stretch that begins there, the last edge in the last.

    Examples
    --------
    >>> [(heap.joints, heap.turned) for heap in heaps([(0.5, False), (2.0, True)], 0.0, 2.0, 2)]
    [(1, 0), (1, 1)]
    """
    width = (end - begin) / n
    joints, turned = [0] * n, [0] * n
    for value, turns in values:
        place = min(max(int((value - begin) / width), 0), n - 1)
        joints[place] += 1
        turned[place] += turns
    return [
        Bin(begin + place * width, begin + (place + 1) * width, joints[place], turned[place])
        for place in range(n)
    ]

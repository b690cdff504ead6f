"""Several readings of one board: which make counts, and what two graders come to together."""

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from .scoring import JointResult, JointState, Outcome, Severity

Place = TypeVar("Place", bound=Hashable)


def make_that_counts(makes: Iterable[int], rework_allowed: int) -> int:
    """The make of a joint that counts toward the pass.

    Parameters
    ----------
    makes : iterable of int
        Those there are, the first being 1; at least one.
    rework_allowed : int
        How often the exercise lets a joint be reworked; 0 where it does not.

    Returns
    -------
    int
        The last make where the exercise allows rework, else the first. A make beyond what
        it allows does not count.

    Examples
    --------
    >>> make_that_counts([1, 2], rework_allowed=1)
    2
    >>> make_that_counts([1, 2], rework_allowed=0)
    1
    """
    allowed = [make for make in makes if make <= rework_allowed + 1]
    return max(allowed)


def reworks_left(make: int, rework_allowed: int) -> int:
    """How often a joint may still be reworked after this make of it."""
    return max(rework_allowed + 1 - make, 0)


def state_for_statistics(result: JointResult) -> JointState:
    """How a first make went, whether or not it was judged at every stage.

    A joint that was rejected when it was formed and made again before it was soldered was
    rejected, though its later criteria stay unjudged for ever.
    """
    if any(rule.severity != Severity.MINOR for rule in result.rejected):
        return JointState.REJECTED
    return result.state


@dataclass(frozen=True, slots=True)
class Compared:
    """Two readings of one board side by side.

    Attributes
    ----------
    same : int
        Judgements that both gave alike.
    differ : tuple of places
        In the order of the first reading.
    alone : tuple of places
        Judged by one of them only, as a spare joint may be.
    """

    same: int
    differ: tuple
    alone: tuple


def compare(first: Mapping[Place, Outcome], second: Mapping[Place, Outcome]) -> Compared:
    """Hold two readings against each other, judgement by judgement.

    Parameters
    ----------
    first, second : mapping of place to Outcome
        A place is one joint (or the board) under one criterion.
    """
    both = [place for place in first if place in second]
    differ = tuple(place for place in both if first[place] != second[place])
    alone = tuple(place for place in first if place not in second)
    alone += tuple(place for place in second if place not in first)
    return Compared(len(both) - len(differ), differ, alone)


@dataclass(frozen=True, slots=True)
class Merged:
    """What counts of two readings, and the places on which a third person has still to decide."""

    said: dict
    undecided: tuple


def merge(readings: Sequence[Mapping[Place, Outcome]], decided: Mapping[Place, Outcome]) -> Merged:
    """What two readings come to: what both say, and where they differ what a third decided.

    Parameters
    ----------
    readings : sequence of two mappings of place to Outcome
    decided : mapping of place to Outcome
        The third person's judgements. They count only where the two differ.

    Returns
    -------
    Merged
        A place on which nobody has decided has no judgement, so its joint stays open. One that
        a single grader judged counts as that grader judged it.

    Examples
    --------
    >>> a, r = Outcome.ACCEPT, Outcome.REJECT
    >>> merge([{"E01": a, "E02": a}, {"E01": a, "E02": r}], {}).undecided
    ('E02',)
    >>> merge([{"E01": a, "E02": a}, {"E01": a, "E02": r}], {"E02": r}).said["E02"].value
    'reject'
    """
    first, second = readings
    compared = compare(first, second)
    merged = {**second, **first}
    undecided = []
    for place in compared.differ:
        if place in decided:
            merged[place] = decided[place]
        else:
            del merged[place]
            undecided.append(place)
    return Merged(merged, tuple(undecided))

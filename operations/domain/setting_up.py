"""The order in which a site is set up: which step is done, which is next, and which waits."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class StepName(StrEnum):
    """What a site needs before its first certificate and soon after it, in this order."""

    SITES = "sites"
    MAIL = "mail"
    PEOPLE = "people"
    EXERCISES = "exercises"
    SCHEMES = "schemes"
    CRITERIA = "criteria"
    INSTRUCTORS = "instructors"
    CLASSES = "classes"
    BOARDS = "boards"
    CERTIFICATES = "certificates"
    BACK_UP = "back_up"

    @property
    def number(self) -> int:
        """Its place, from 1."""
        return list(StepName).index(self) + 1


class StepState(StrEnum):
    DONE = "done"
    DONE_WITH_GAP = "done_with_gap"
    NEXT = "next"
    OPEN = "open"
    WAITS = "waits"


DONE = frozenset({StepState.DONE, StepState.DONE_WITH_GAP})

AFTER: Mapping[StepName, tuple[StepName, ...]] = {
    # No scheme is published that asks for boards of a draft.
    StepName.SCHEMES: (StepName.EXERCISES,),
    StepName.CRITERIA: (StepName.PEOPLE,),
    StepName.INSTRUCTORS: (StepName.PEOPLE, StepName.SCHEMES),
    StepName.CLASSES: (StepName.CRITERIA, StepName.EXERCISES, StepName.INSTRUCTORS),
    # A board may be handed out without a class.
    StepName.BOARDS: (StepName.CRITERIA, StepName.EXERCISES, StepName.INSTRUCTORS),
    StepName.CERTIFICATES: (StepName.SCHEMES, StepName.BOARDS),
}
"""What has to be done before a step can be; the others can be done at any time."""


@dataclass(frozen=True, slots=True)
class Truth:
    """What is true of one step: whether it is done, and how much is missing all the same."""

    is_done: bool
    gaps: int = 0


@dataclass(frozen=True, slots=True)
class Place:
    """Where a step stands among the others.

    Attributes
    ----------
    state : StepState
        Exactly one step is next while any is not done.
    gaps : int
        How much is missing of a step that is done.
    waits_for : tuple of StepName
        What has to be done before it; empty unless it waits.
    """

    state: StepState
    gaps: int = 0
    waits_for: tuple[StepName, ...] = ()


def places(truths: Mapping[StepName, Truth]) -> dict[StepName, Place]:
    """Say of every step how it stands, in their order.

    Parameters
    ----------
    truths : mapping of StepName to Truth
        Of every step.

    Examples
    --------
    >>> done = {StepName.SITES, StepName.PEOPLE}
    >>> found = places({name: Truth(name in done) for name in StepName})
    >>> {name.value: place.state.value for name, place in found.items()}  # doctest: +ELLIPSIS
    {'sites': 'done', 'mail': 'next', 'people': 'done', 'exercises': 'open', ...}
    >>> found[StepName.CLASSES].waits_for  # doctest: +ELLIPSIS
    (<StepName.CRITERIA: 'criteria'>, <StepName.EXERCISES: ...>, <StepName.INSTRUCTORS: ...>)
    """
    found: dict[StepName, Place] = {}
    next_is_found = False
    for name in StepName:
        truth = truths[name]
        waits_for = tuple(before for before in AFTER.get(name, ()) if not truths[before].is_done)
        if truth.is_done:
            state = StepState.DONE_WITH_GAP if truth.gaps else StepState.DONE
            found[name] = Place(state, truth.gaps)
        elif waits_for:
            found[name] = Place(StepState.WAITS, waits_for=waits_for)
        else:
            found[name] = Place(StepState.OPEN if next_is_found else StepState.NEXT)
            next_is_found = True
    return found

"""How a measured criterion was judged, and how many of a board were judged how."""

from collections.abc import Collection, Iterable
from enum import StrEnum


class MeasuredBy(StrEnum):
    """What a judgement under a measured criterion rests on."""

    MARKS = "marks"
    INSTRUMENT = "instrument"
    BY_EYE = "by_eye"
    DECIDED = "decided"
    NOT_APPLICABLE = "not_applicable"
    UNSAID = "unsaid"
    """Judged by eye before a reason was asked for."""


def measured_by(
    *, how: str, outcome: str, has_value: bool, reason: str, is_decision: bool
) -> MeasuredBy:
    """Tell what a judgement under a measured criterion rests on.

    Parameters
    ----------
    how, outcome : str
        As the judgement has them.
    has_value : bool
        Whether something was read or measured.
    reason : str
        Why it was judged by eye; empty where nobody said.
    is_decision : bool
        Whether a third person decided between two readings.

    Examples
    --------
    >>> measured_by(
    ...     how="at_board", outcome="accept", has_value=False, reason="no gauge reaches it",
    ...     is_decision=False,
    ... ).value
    'by_eye'
    """
    if outcome == "not_applicable":
        return MeasuredBy.NOT_APPLICABLE
    if has_value:
        return MeasuredBy.MARKS if how == "marks" else MeasuredBy.INSTRUMENT
    if is_decision:
        return MeasuredBy.DECIDED
    return MeasuredBy.BY_EYE if reason else MeasuredBy.UNSAID


def by_kind(
    places: Iterable[tuple[MeasuredBy, str]],
) -> dict[MeasuredBy, Collection[str]]:
    """Gather places by what their judgements rest on, in the order of the kinds.

    Examples
    --------
    >>> by_kind([(MeasuredBy.BY_EYE, "E02 W1"), (MeasuredBy.MARKS, "E01 W1")])[MeasuredBy.BY_EYE]
    ['E02 W1']
    """
    found: dict[MeasuredBy, list[str]] = {}
    for kind, place in places:
        found.setdefault(kind, []).append(place)
    return {kind: found[kind] for kind in MeasuredBy if kind in found}

"""What differs between two revisions of a criterion, and whether it is stricter by that."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from difflib import SequenceMatcher
from enum import StrEnum
from typing import Any


class Effect(StrEnum):
    STRICTER = "stricter"
    MILDER = "milder"
    ALIKE = "alike"
    BOTH = "both"
    UNTOLD = "untold"


SEVERITIES = ("minor", "major", "critical")
NEVER_JUDGED = (
    "document",
    "edition",
    "clause",
    "source_note",
    "accept_drawing",
    "reject_drawing",
    "more_reject_drawings",
)
"""What changes nothing about how a joint is judged: where it is written, and how it is shown."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that differs: its name, what it was, what it is, and what follows from it."""

    name: str
    before: Any
    after: Any
    effect: Effect


@dataclass(frozen=True, slots=True)
class Segment:
    """A run of words that both texts have, or only the earlier, or only the later."""

    kind: str
    """``same``, ``gone`` or ``new``."""
    text: str


def differences(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[Difference]:
    """List what differs between two states of one criterion.

    Parameters
    ----------
    before, after : mapping
        By field; ``low`` and ``high`` are decimal text or empty, texts are named
        ``title_en`` and so on.

    Returns
    -------
    list of Difference
        In the order of `after`. ``low``, ``high`` and ``unit`` that differ are each one of them;
        a limit says what follows of limit and unit together.

    Examples
    --------
    >>> [one] = differences({"low": "0", "unit": "D"}, {"low": "0.5", "unit": "D"})
    >>> one.name, one.effect.value
    ('low', 'stricter')
    """
    return [
        Difference(name, before.get(name, ""), value, _effect(name, before, after))
        for name, value in after.items()
        if before.get(name, "") != value
    ]


def overall(effects: Sequence[Effect]) -> Effect:
    """What several differences come to: both where they go both ways, untold where one is.

    Examples
    --------
    >>> overall([Effect.ALIKE, Effect.STRICTER]).value
    'stricter'
    >>> overall([Effect.MILDER, Effect.STRICTER]).value
    'both'
    """
    told = set(effects) - {Effect.ALIKE}
    if not told:
        return Effect.ALIKE
    if told >= {Effect.STRICTER, Effect.MILDER} or Effect.BOTH in told:
        return Effect.BOTH
    return told.pop() if len(told) == 1 else Effect.UNTOLD


def _effect(name: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> Effect:
    old, new = before.get(name, ""), after[name]
    if name in NEVER_JUDGED or name.startswith("advice_"):
        return Effect.ALIKE
    if name == "severity":
        return _more_is_stricter(SEVERITIES.index(old), SEVERITIES.index(new))
    if name == "demerits":
        return _more_is_stricter(old, new)
    if name in ("joint_types", "alloys"):
        return _asked_of(old, new, all_of=name == "alloys")
    if name == "by_eye":
        return Effect.STRICTER if new == "never" else Effect.MILDER
    if name in ("low", "high", "unit"):
        return _limits(name, before, after)
    # Words, the stage, by eye or measured: only somebody who reads it can tell.
    return Effect.UNTOLD


def _more_is_stricter(old: int, new: int) -> Effect:
    if new == old:
        return Effect.ALIKE
    return Effect.STRICTER if new > old else Effect.MILDER


def _asked_of(old: Sequence[str], new: Sequence[str], *, all_of: bool) -> Effect:
    """Asked of more joints is stricter; an empty list of alloys is all of them."""
    if all_of and not new:
        return Effect.STRICTER
    if all_of and not old:
        return Effect.MILDER
    more, fewer = set(new) - set(old), set(old) - set(new)
    if more and fewer:
        return Effect.BOTH
    if more:
        return Effect.STRICTER
    return Effect.MILDER if fewer else Effect.ALIKE


def _limits(name: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> Effect:
    if before.get("unit", "") != after.get("unit", ""):
        sides = [
            _limit_in_other_unit(side, before, after)
            for side in ("low", "high")
            if before.get(side, "") != "" or after.get(side, "") != ""
        ]
        return overall(sides)
    if name == "unit":
        return Effect.ALIKE
    old, new = _number(before.get(name, "")), _number(after.get(name, ""))
    if new is None:
        return Effect.MILDER
    if old is None:
        return Effect.STRICTER
    raised = new > old
    return Effect.STRICTER if raised == (name == "low") else Effect.MILDER


def _limit_in_other_unit(side: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> Effect:
    """Compare limits counted in conductor and in overall diameters: the overall one is larger."""
    old, new = _number(before.get(side, "")), _number(after.get(side, ""))
    if new is None or old is None:
        return Effect.MILDER if new is None else Effect.STRICTER
    units = (before.get("unit", ""), after.get("unit", ""))
    if old == new == 0:
        return Effect.ALIKE
    if units == ("d", "D") and new >= old >= 0:
        grows = True
    elif units == ("D", "d") and 0 <= new <= old:
        grows = False
    else:
        return Effect.UNTOLD
    return Effect.STRICTER if grows == (side == "low") else Effect.MILDER


def _number(text: Any) -> Decimal | None:
    return None if text in (None, "") else Decimal(str(text))


WORD = re.compile(r"\s+|\w+|[^\w\s]")


def word_differences(before: str, after: str) -> list[Segment]:
    """Tell two texts apart word by word.

    Examples
    --------
    >>> [(one.kind, one.text) for one in word_differences("It lies close.", "It lies against.")]
    [('same', 'It lies '), ('gone', 'close'), ('new', 'against'), ('same', '.')]
    """
    old, new = WORD.findall(before), WORD.findall(after)
    segments: list[Segment] = []
    matcher = SequenceMatcher(None, old, new, autojunk=False)
    for kind, first, last, begin, end in matcher.get_opcodes():
        if kind == "equal":
            segments.append(Segment("same", "".join(new[begin:end])))
            continue
        if first < last:
            segments.append(Segment("gone", "".join(old[first:last])))
        if begin < end:
            segments.append(Segment("new", "".join(new[begin:end])))
    return segments

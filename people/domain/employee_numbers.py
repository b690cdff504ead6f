"""Employee numbers: how one is written, and when two are the same.

The rule holds wherever a number comes in: forms, imports, the terminal. Numbers that differ in
capitals alone are one number, since nobody hears or types the difference; it is kept as it was
written first.
"""

import re
from collections.abc import Iterable
from enum import StrEnum
from typing import TypeVar

LONGEST = 32
SPELLING = r"^[A-Za-z0-9](?:[A-Za-z0-9._' -]*[A-Za-z0-9._'-])?\Z"
"""Letters of which every database knows the capitals, and what registers join them with."""
RESERVED = frozenset({"new"})
"""Words that are addresses themselves where a number could stand."""

T = TypeVar("T")


class NumberFault(StrEnum):
    SPELLING = "spelling"
    LENGTH = "length"
    RESERVED = "reserved"


def number_fault(number: str) -> NumberFault | None:
    """Why a text cannot be anybody's employee number; None where it can.

    Examples
    --------
    >>> number_fault("CD-9"), number_fault("New"), number_fault("C/9")
    (None, <NumberFault.RESERVED: 'reserved'>, <NumberFault.SPELLING: 'spelling'>)
    """
    if len(number) > LONGEST:
        return NumberFault.LENGTH
    if not re.match(SPELLING, number):
        return NumberFault.SPELLING
    return NumberFault.RESERVED if number.lower() in RESERVED else None


def number_key(number: str) -> str:
    """What two ways of writing one number have in common.

    Examples
    --------
    >>> number_key("cd9") == number_key("CD9")
    True
    """
    return number.lower()


def meant_by(text: str, candidates: Iterable[tuple[str, T]]) -> T | None:
    """Whose number a typed text is: the one written so, else the only one that is the same.

    Parameters
    ----------
    text : str
        What was typed.
    candidates : iterable of (str, T)
        Numbers and whose they are.

    Returns
    -------
    T or None
        None where it is nobody's, and where it could be more than one person's.

    Examples
    --------
    >>> meant_by("cd9", [("CD9", 1)]), meant_by("cd9", [("CD9", 1), ("Cd9", 2)])
    (1, None)
    """
    exact = []
    same = []
    for number, whose in candidates:
        if number == text:
            exact.append(whose)
        elif number_key(number) == number_key(text):
            same.append(whose)
    matches = exact or same
    return matches[0] if len(matches) == 1 else None

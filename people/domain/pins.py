"""PINs for shared tablets: which are too easily guessed, and how long wrong ones wait.

A PIN opens for looking alone, so short ones do; what stands against guessing is the wait.
"""

from collections.abc import Iterable
from enum import StrEnum
from itertools import pairwise

MIN_LENGTH, MAX_LENGTH = 4, 8
FREE_FAILURES = 3
FIRST_WAIT_S = 30
MAX_WAIT_S = 3600
MAX_FAILURES = 10


class PinFault(StrEnum):
    LENGTH = "length"
    REPEATED = "repeated"
    RUN = "run"
    YEAR = "year"
    KNOWN = "known"


def pin_fault(pin: str, identifiers: Iterable[str] = ()) -> PinFault | None:
    """Why a PIN cannot be taken; None where it can.

    Parameters
    ----------
    pin : str
        Four to eight of the digits 0 to 9.
    identifiers : iterable of str
        What others know of the person, such as employee number and badge: no PIN is part of
        one, or holds the three or more digits of one.

    Examples
    --------
    >>> pin_fault("7890"), pin_fault("2580")
    (<PinFault.RUN: 'run'>, None)
    """
    if not (MIN_LENGTH <= len(pin) <= MAX_LENGTH and pin.isascii() and pin.isdigit()):
        return PinFault.LENGTH
    if any(pin == pin[:size] * (len(pin) // size) for size in range(1, len(pin) // 2 + 1)):
        return PinFault.REPEATED
    steps = {(int(after) - int(before)) % 10 for before, after in pairwise(pin)}
    if steps in ({1}, {9}):
        return PinFault.RUN
    if len(pin) == 4 and pin[:2] in ("19", "20"):
        return PinFault.YEAR
    for identifier in identifiers:
        digits = "".join(letter for letter in identifier if letter in "0123456789")
        if pin in digits or (len(digits) >= 3 and digits in pin):
            return PinFault.KNOWN
    return None


def wait_after_s(failures: int) -> int:
    """Seconds to wait after so many wrong tries in a row.

    None after the first two; then half a minute, doubled each time, an hour at most.

    Examples
    --------
    >>> [wait_after(n) for n in (2, 3, 4, 10)]
    [0, 30, 60, 3600]
    """
    if failures < FREE_FAILURES:
        return 0
    return min(FIRST_WAIT_S << min(failures - FREE_FAILURES, 16), MAX_WAIT_S)

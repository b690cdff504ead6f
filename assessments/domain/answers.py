"""Answers of a written test: which are right, and whether the whole passes.

An answer is kept as it was given: the texts of what was ticked, typed, ranked or marked. What is
right is asked of it here, and nowhere before the paper is handed in. A question is right or wrong
as a whole, so that every question counts the same and answers by chance do not add up.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from typing import Any

COLUMNS, ROWS = "ABCDEFGH", "123456"
"""The squares of a picture on which a place is marked: columns from the left, rows from the top."""
SQUARES = tuple(f"{column}{row}" for row in ROWS for column in COLUMNS)
MOST_CHOICES = 8
LONGEST_NUMBER = 24
LARGEST_EXPONENT = 12
SPACES = str.maketrans("", "", " \t\u00a0\u2009\u202f")
UNSEEN = str.maketrans("", "", "\u200b\u200c\u200d\u200e\u200f\u2060\ufeff")
"""What comes along with a paste and is not seen."""
ALIKE = str.maketrans("\u00b5\u2126", "\u03bc\u03a9")
"""Signs of units by the letters that look like them: micro and ohm."""


class Kind(StrEnum):
    ONE = "one"
    SEVERAL = "several"
    NUMBER = "number"
    ORDER = "order"
    PLACE = "place"


@dataclass(frozen=True, slots=True)
class Asked:
    """A question as it is marked.

    Attributes
    ----------
    kind : Kind
    choices : int
        How many there are to tick or to bring into order.
    key : mapping
        ``right``: choices or squares that are right; ``value`` and ``tolerance`` of a number.
    unit : str
        Of a number; it may be typed behind it, and no other.
    """

    kind: Kind
    choices: int
    key: Mapping[str, Any]
    unit: str = ""


def number_in(text: str, unit: str = "") -> Decimal | None:
    """The number that was typed, with a point or a comma, with its unit or without; else None.

    Examples
    --------
    >>> number_in("0,76 mm", "mm"), number_in("1 250"), number_in("3 d", "mm")
    (Decimal('0.76'), Decimal('1250'), None)
    """
    text, unit = text.translate(UNSEEN).translate(ALIKE).strip(), unit.translate(ALIKE)
    if unit and text.endswith(unit):
        text = text[: -len(unit)]
    text = text.translate(SPACES).replace("−", "-")
    if len(text) > LONGEST_NUMBER or text.count(",") + text.count(".") > 1:
        return None
    if not text.isascii() or "_" in text:
        return None
    try:
        number = Decimal(text.replace(",", "."))
    except InvalidOperation:
        return None
    if not number.is_finite() or abs(number.adjusted()) > LARGEST_EXPONENT:
        return None
    return number


def is_right(asked: Asked, given: Sequence[str], shown: Sequence[int] = ()) -> bool:
    """Whether an answer is right; none, and one that cannot be read, is wrong.

    Parameters
    ----------
    given : sequence of str
        ``one`` and ``several``: the places of what was ticked, from 0, as they were shown.
        ``order``: for each choice as shown, its rank from 1. ``number``: the text typed.
        ``place``: the square, such as ``C4``.
    shown : sequence of int
        Which choice stood at each place; as they are kept, where it is empty.

    Examples
    --------
    >>> is_right(Asked(Kind.SEVERAL, 4, {"right": [0, 2]}), ["1", "3"], shown=[1, 0, 3, 2])
    True
    >>> is_right(Asked(Kind.NUMBER, 0, {"value": "0.76", "tolerance": "0.02"}, "mm"), ["0,78"])
    True
    """
    if asked.kind is Kind.NUMBER:
        number = number_in(given[0], asked.unit) if len(given) == 1 else None
        off = None if number is None else abs(number - Decimal(asked.key["value"]))
        return off is not None and off <= Decimal(asked.key["tolerance"])
    if asked.kind is Kind.PLACE:
        return len(given) == 1 and given[0] in asked.key["right"]
    numbers = [int(text) for text in given if text.isdecimal() and len(text) < 3]
    if len(numbers) < len(given):
        return False
    places = list(shown) or list(range(asked.choices))
    if asked.kind is Kind.ORDER:
        return numbers == [choice + 1 for choice in places]
    if len(set(numbers)) < len(numbers) or any(number >= len(places) for number in numbers):
        return False
    ticked = {places[number] for number in numbers}
    return ticked == set(asked.key["right"]) and bool(ticked)


@dataclass(frozen=True, slots=True)
class Marked:
    """One question of a paper, marked."""

    code: str
    is_right: bool
    must_be_right: bool = False


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a paper came to.

    Attributes
    ----------
    right, of : int
        Questions answered rightly, and asked.
    missed : tuple of str
        Questions that must be right and are not.
    passed : bool
    """

    right: int
    of: int
    missed: tuple[str, ...]
    passed: bool


class NothingAsked(ValueError):
    """A paper without questions has no result."""


def outcome_of(marked: Iterable[Marked], pass_percent: int) -> Outcome:
    """Count a paper; the limit is met by whole questions, so that rounding never decides.

    A pass needs at least ``pass_percent`` per cent of the questions right, and every one that must
    be right.

    Raises
    ------
    NothingAsked

    Examples
    --------
    >>> outcome_of([Marked("Q1", True), Marked("Q2", False, must_be_right=True)], 50)
    Outcome(right=1, of=2, missed=('Q2',), passed=False)
    """
    items = list(marked)
    if not items:
        raise NothingAsked
    right = sum(item.is_right for item in items)
    missed = tuple(item.code for item in items if item.must_be_right and not item.is_right)
    return Outcome(
        right, len(items), missed, least_right(len(items), pass_percent) <= right and not missed
    )


def least_right(of: int, pass_percent: int) -> int:
    """How many of so many questions must be right for this percentage.

    Examples
    --------
    >>> least_right(15, 80), least_right(7, 70), least_right(10, 70)
    (12, 5, 7)
    """
    return -(-of * pass_percent // 100)

"""Which joint each of many photographs shows: told by file names, or by the order they come in.

The rule for names, whatever the case and the ending of the file:

1. A name is read as words: what letters and figures make up between anything else. The first
   word that is the name of a joint decides: ``E03.jpg``, ``E03_2.jpg``, ``IMG_0003 E07.jpg``,
   ``board 12 e3 (2).png``. Leading zeros do not count, and one letter may follow to tell views
   apart: ``E3``, ``E03b``. Joints that are called by a bare number are left to the next rule.
2. Otherwise a number decides that stands first, or after the word *joint*, *position* or *pos*,
   with one letter behind it at most: ``3-b.JPG``, ``03.jpg``, ``joint 3.jpg``, ``Joint12c.jpg``.
   It means the one joint whose own name carries that number; if two do (``E03`` and ``T03``), or
   none, it means nothing. A number of four figures or more is a camera's count, not a joint.
3. Any other name says nothing, and the photograph goes with the whole board: ``IMG_0003.jpg``.

In order, so many photographs go to the first joint, as many to the next, and so on; what is left
over goes with the whole board. ``static/js/photos/photo-plan.js`` deals alike, so that a plan
follows what is typed.
"""

import re
import unicodedata
from collections.abc import Iterable, Sequence
from itertools import pairwise
from pathlib import PurePath

JOINT_WORDS = {"joint", "position", "pos"}
WORD = re.compile(r"[^\W_]+")
LETTERS_AND_FIGURES = re.compile(r"([^\W\d_]+)(\d+)([^\W\d_]?)")
NUMBER = re.compile(r"(\d{1,3})[^\W\d_]?")


def joint_in_name(name: str, joints: Iterable[str]) -> str | None:
    """Find the joint that a file's name tells of by the rule above, or None.

    Parameters
    ----------
    name : str
        A file's name, with or without its ending.
    joints : iterable of str
        The joints' names, in the order of the board.

    Examples
    --------
    >>> board = ["E01", "E02", "E03", "E07"]
    >>> [joint_in_name(name, board) for name in ("E03_2.jpg", "3-b.JPG", "IMG_0003 E07.jpg")]
    ['E03', 'E03', 'E07']
    >>> joint_in_name("IMG_0003.jpg", board) is None
    True
    """
    words = _words(PurePath(name).stem if "." in name else name)
    known = {joint: _words(joint) for joint in joints}
    named = {
        tuple(_plain(word) for word in told): joint
        for joint, told in known.items()
        if not all(word.isdecimal() for word in told)
    }
    for at in range(len(words)):
        for told, joint in named.items():
            here = words[at : at + len(told)]
            if told in (
                tuple(_plain(word) for word in here),
                tuple(_without_view(word) for word in here),
            ):
                return joint
    number = _number_told(words)
    carrying = [joint for joint, told in known.items() if number in _numbers(told)]
    return carrying[0] if len(carrying) == 1 else None


def _words(name: str) -> tuple[str, ...]:
    return tuple(WORD.findall(unicodedata.normalize("NFKC", name).casefold()))


def _plain(word: str) -> str:
    """A word without its leading zeros: ``e03`` is ``e3``."""
    match = LETTERS_AND_FIGURES.fullmatch(word)
    if match:
        return f"{match[1]}{int(match[2])}{match[3]}"
    return word


def _without_view(word: str) -> str:
    """The same without a letter that tells views apart: ``e03b`` is ``e3``."""
    match = LETTERS_AND_FIGURES.fullmatch(word)
    return f"{match[1]}{int(match[2])}" if match else _plain(word)


def _number_told(words: Sequence[str]) -> int | None:
    for at, word in enumerate(words):
        before = words[at - 1] if at else None
        if at == 0 or before in JOINT_WORDS:
            match = NUMBER.fullmatch(word)
            if match:
                return int(match[1])
        glued = LETTERS_AND_FIGURES.fullmatch(word)
        if glued and glued[1] in JOINT_WORDS and len(glued[2]) <= 3:
            return int(glued[2])
    return None


def _numbers(words: Iterable[str]) -> set[int]:
    return {int(digits) for word in words for digits in re.findall(r"\d+", word)}


def reading_order(name: str) -> tuple[tuple[int, int, str], ...]:
    """A key that sorts names as people count: ``photo 9`` before ``photo 10``."""
    parts = re.split(r"(\d+)", unicodedata.normalize("NFKC", name).casefold())
    return tuple((1, int(part), "") if part.isdecimal() else (0, 0, part) for part in parts)


def in_order(names: Sequence[str], taken: Sequence[str] | None = None) -> list[int]:
    """The order of photographs, as places in what was given.

    Parameters
    ----------
    names : sequence of str
    taken : sequence of str, optional
        When each was taken, as EXIF writes it (``2026:03:05 14:02:11``), empty where it is not
        said; those come last, and names decide between photographs of one instant.
    """
    when = taken or [""] * len(names)
    return sorted(
        range(len(names)), key=lambda at: (not when[at], when[at], reading_order(names[at]))
    )


def first_against_names(
    order: Sequence[int], names: Sequence[str], taken: Sequence[str]
) -> tuple[int, int] | None:
    """Two that follow each other by the clock and the other way round by their names, or None.

    Parameters
    ----------
    order : sequence of int
        As `in_order` gives it by the clock.
    names, taken : sequence of str
        As they were given to it.

    Examples
    --------
    >>> names, taken = ["IMG_2.jpg", "IMG_1.jpg"], ["2026:03:05 14:02:11", "2026:03:05 14:02:15"]
    >>> first_against_names(in_order(names, taken), names, taken)
    (0, 1)
    """
    for before, after in pairwise(order):
        told = taken[before] and taken[after] and taken[before] != taken[after]
        if told and reading_order(names[before]) > reading_order(names[after]):
            return before, after
    return None


def dealt(order: Sequence[int], joints: Sequence[str], each: int) -> list[str | None]:
    """Deal photographs in an order to joints, so many to each; None for the whole board.

    Examples
    --------
    >>> dealt([2, 0, 1, 3, 4], ["E01", "E02"], 2)
    ['E01', 'E02', 'E01', 'E02', None]
    """
    places: list[str | None] = [None] * len(order)
    for turn, at in enumerate(order):
        if turn // each < len(joints):
            places[at] = joints[turn // each]
    return places

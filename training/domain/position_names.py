"""Names of positions, many of them written as one: ``E01–E20``."""

import re
from collections.abc import Sequence

MOST_NAMES = 400
MOST_LENGTH = 12
RANGE = re.compile(
    r"(?P<stem>[A-Za-z0-9._-]*?)(?P<first>[0-9]{1,6})"
    r"\s*(?:-|–|—|\.{2,3}|…|\bto\b|\bbis\b)\s*"
    r"(?P<again>[A-Za-z0-9._-]*?)(?P<last>[0-9]{1,6})"
)
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")


class NotNames(ValueError):
    """What was written names no positions.

    Attributes
    ----------
    fault : str
        ``spelling``, ``length``, ``backwards``, ``stem`` or ``many``.
    part : str
        The piece of the text that it is about.
    """

    def __init__(self, fault: str, part: str) -> None:
        super().__init__(f"{fault}: {part}")
        self.fault, self.part = fault, part


def names_in(text: str) -> list[str]:
    """Read names of positions: one, several with commas between, or from one to another.

    Parameters
    ----------
    text : str
        As somebody typed it.

    Returns
    -------
    list of str
        In the order as written, each as often as it is there; empty where nothing is written.

    Raises
    ------
    NotNames
        If a piece is no name, is longer than 12 characters, goes backwards or from one stem to
        another, or there are more than 400.

    Examples
    --------
    >>> names_in("E01–E04, T1")
    ['E01', 'E02', 'E03', 'E04', 'T1']
    >>> names_in("E9-11")
    ['E9', 'E10', 'E11']
    """
    names: list[str] = []
    for piece in re.split(r"[,;]", text):
        part = piece.strip()
        if part:
            names += _names_of(part)
        if len(names) > MOST_NAMES:
            raise NotNames("many", part)
    return names


def _names_of(part: str) -> list[str]:
    run = RANGE.fullmatch(part)
    if run is None:
        if not NAME.fullmatch(part):
            raise NotNames("spelling", part[:40])
        if len(part) > MOST_LENGTH:
            raise NotNames("length", part[:40])
        return [part]
    stem, first, last = run["stem"], run["first"], run["last"]
    if run["again"] not in ("", stem):
        raise NotNames("stem", part)
    if len(stem) + max(len(first), len(last)) > MOST_LENGTH:
        raise NotNames("length", part)
    if int(last) < int(first):
        raise NotNames("backwards", part)
    if int(last) - int(first) >= MOST_NAMES:
        raise NotNames("many", part)
    if not NAME.fullmatch(stem + first):
        raise NotNames("spelling", part)
    return [f"{stem}{number:0{len(first)}d}" for number in range(int(first), int(last) + 1)]


def written_as(names: Sequence[str]) -> str:
    """Write names as short as `names_in` reads them again.

    Examples
    --------
    >>> written_as(["E01", "E02", "E03", "T1", "E05", "E06"])
    'E01–E03, T1, E05, E06'
    """
    runs: list[list[str]] = []
    for name in names:
        if runs and _follows(runs[-1][-1], name):
            runs[-1].append(name)
        else:
            runs.append([name])
    parts = []
    for run in runs:
        parts += [f"{run[0]}–{run[-1]}"] if len(run) > 2 else run
    return ", ".join(parts)


def _follows(before: str, name: str) -> bool:
    """Whether a range from the one would give the other next."""
    match = re.fullmatch(r"(.*?)([0-9]{1,6})", before)
    if match is None:
        return False
    stem, digits = match.groups()
    return name == f"{stem}{int(digits) + 1:0{len(digits)}d}"


def next_names(names: Sequence[str]) -> list[str]:
    """As many names more, counted on from the last; none where it does not end in a number.

    Examples
    --------
    >>> next_names(["E01", "E02"])
    ['E03', 'E04']
    """
    if not names:
        return []
    match = re.fullmatch(r"(.*?)([0-9]{1,6})", names[-1])
    if match is None:
        return []
    stem, digits = match.groups()
    first = int(digits) + 1
    return [f"{stem}{number:0{len(digits)}d}" for number in range(first, first + len(names))]

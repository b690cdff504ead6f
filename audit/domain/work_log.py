"""A work log as it came: any columns, one line of work in each row."""

import re
from dataclasses import dataclass, field

import polars as pl

from records.domain.problems import Problem

KNOWN_COLUMNS = ("row", "employee_number", "stamp", "scope", "operation", "worked_on")
LINE = "line"
"""The column of a frame that says in which line of the file a row begins."""
NAMES_A_UNIT = re.compile(
    r"(unit|serial|s/?n|(work )?order|wo|travell?er"
    r"|einheit|serie|(arbeits|fertigungs)?auftrags?|laufkarte|begleitkarte)"
    r" ?(number|numbers|no|nr|id|nummer|nnummer)?"
)


def names_a_unit(heading: str) -> bool:
    """Whether the cells under a heading number a unit, a work order or the card that goes with it.

    Examples
    --------
    >>> names_a_unit("Work_Order No."), names_a_unit("Seriennummer"), names_a_unit("quantity")
    (True, True, False)
    """
    words = " ".join(re.split(r"[\s_.:#-]+", heading.lower())).strip()
    return NAMES_A_UNIT.fullmatch(words) is not None


@dataclass
class WorkLog:
    """The rows of a log, cell by cell.

    Attributes
    ----------
    name : str
        What the file is called.
    headings : list of str
        As they are written, in order.
    indexes : dict of str to int
        Where the columns of `KNOWN_COLUMNS` stand, as far as there are any.
    frame : polars.DataFrame
        Column ``str(n)`` holds the cells under heading ``n``, as they are written; ``line``
        where each row begins in the file.
    problems : list of Problem
        The rows that could not be read.
    """

    name: str
    headings: list[str]
    indexes: dict[str, int]
    frame: pl.DataFrame
    problems: list[Problem] = field(default_factory=list)

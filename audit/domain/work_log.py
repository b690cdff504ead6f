"""A work log as it came: any columns, one line of work in each row."""

from dataclasses import dataclass, field

import polars as pl

from records.domain.problems import Problem

KNOWN_COLUMNS = ("row", "employee_number", "stamp", "scope", "operation", "worked_on")
LINE = "line"
"""The column of a frame that says in which line of the file a row begins."""


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

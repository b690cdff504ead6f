"""Rows of a list as it was brought, each still with the line where it stands."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ListRow:
    """A row of a list: where it begins, and as many cells as there are columns."""

    line: int
    cells: list[str]

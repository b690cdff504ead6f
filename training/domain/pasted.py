"""Rows pasted from a spreadsheet."""

import csv
from collections.abc import Mapping, Sequence

MOST_ROWS = 400


def pasted_cells(text: str) -> list[list[str]]:
    """Read what somebody pasted as rows of cells, each without space around it.

    Cells have tabs between them, as spreadsheet programs copy them, or else semicolons, or else
    commas. Empty rows are left out; of the others there are at most 400 and one.

    Examples
    --------
    >>> pasted_cells("E01\\tturret\\n\\nE02\\thook")
    [['E01', 'turret'], ['E02', 'hook']]
    """
    delimiter = next((mark for mark in "\t;," if mark in text), "\t")
    rows = []
    # A cell may hold a line of its own, which only quotes can tell.
    lines = text.replace("\0", "").splitlines(keepends=True)
    csv.field_size_limit(max(csv.field_size_limit(), len(text) + 1))
    for cells in csv.reader(lines, delimiter=delimiter):
        stripped = [" ".join(cell.split()) for cell in cells]
        if any(stripped):
            rows.append(stripped)
        if len(rows) > MOST_ROWS:
            break
    return rows


def by_column(
    rows: Sequence[Sequence[str]], columns: Mapping[str, Sequence[str]]
) -> list[dict[str, str]]:
    """Give every cell its column: as the first row names them, or in the order of the columns.

    Parameters
    ----------
    columns : mapping of str to sequence of str
        By column the words by which a first row names it, whatever their capitals.

    Returns
    -------
    list of dict
        What each row says, without its empty cells and columns that nobody knows.

    Examples
    --------
    >>> by_column([["Joint", "Name"], ["hook", "E01"]], {"name": ["Name"], "joint": ["Joint"]})
    [{'joint': 'hook', 'name': 'E01'}]
    """
    known = {word.casefold(): name for name, words in columns.items() for word in words}
    order: list[str] = list(columns)
    body = list(rows)
    if body:
        named = [known.get(cell.casefold(), "") for cell in body[0]]
        # One cell may say by chance what a column is called, as a joint of the type “wire” does.
        if sum(bool(name) for name in named) > len(named) / 2:
            order, body = named, body[1:]
    return [
        {name: cell for name, cell in zip(order, row, strict=False) if name and cell}
        for row in body
    ]

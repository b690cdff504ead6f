"""How much of a file from outside is read, whatever it says of itself.

A few kilobytes can claim a million rows, or unpack to more than a machine has. What is larger
is refused before it takes long; `docs/connecting-programs.md` lists these figures.
"""

from records.exceptions import CannotRead

MOST_MEMBERS = 200
MOST_UNPACKED_BYTES = 512 * 1024 * 1024
MOST_ROWS = 5_000_000
MOST_COLUMNS = 500
MOST_CELLS = 60_000_000
LONGEST_CELL = 32_767
MOST_TEXT = 256 * 1024 * 1024
"""Characters in all cells of a workbook together: each text is kept once, and named often."""
LAST_SHEET_ROW = 1_048_576
MOST_SHEETS = 100
LONGEST_READING_S = 240.0


def refuse_too_many_cells(name: str, rows: int, columns: int) -> None:
    """Refuse a table that would take more room than there is; raise CannotRead."""
    if columns > MOST_COLUMNS:
        raise CannotRead(f"{name} has more than {MOST_COLUMNS} columns: leave some out.")
    if rows > MOST_ROWS:
        raise CannotRead(f"{name} has more than {MOST_ROWS} rows: split it.")
    if rows * columns > MOST_CELLS:
        raise CannotRead(f"{name} has more than {MOST_CELLS} cells: split it.")

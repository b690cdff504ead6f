"""Work-log checks as a whole: a log in, findings out."""

from collections.abc import Iterable
from typing import IO, Any

import polars as pl

from audit.domain.work_log_check import Findings
from people.presenters import exported_tables as exports

ROWS_A_BATCH = 100_000


def write_csv(findings: Findings, stream: IO[bytes]) -> None:
    """Write findings as CSV in UTF-8, with nothing that a spreadsheet program would calculate."""
    stream.write(exports.line_of([exports.harmless(name) for name in findings.headings]).encode())
    for batch in findings.frame.select(findings.columns).iter_slices(ROWS_A_BATCH):
        harmless_cells(batch).write_csv(stream, include_header=False)


def harmless_cells(frame: pl.DataFrame) -> pl.DataFrame:
    """The same with each text as `exports.harmless` has it; where there is none, nothing."""
    return frame.with_columns(
        pl.when(cell.str.contains(exports.FORMULA) & ~cell.str.contains(exports.NUMBER))
        .then(pl.concat_str(pl.lit("'"), cell))
        .when(cell != "")
        .then(cell)
        .alias(name)
        for name, cell in (
            (name, pl.col(name)) for name, kind in frame.schema.items() if kind == pl.String
        )
    )


def write_xlsx(findings: Findings, stream: IO[bytes]) -> None:
    rows: Iterable[tuple[Any, ...]] = findings.frame.select(findings.columns).iter_rows()
    with exports.workbook("Findings", findings.headings, rows) as book:
        stream.write(book.read())

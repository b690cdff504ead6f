"""Work-log checks as a whole: a log in, findings out."""

from collections.abc import Iterable
from typing import IO, Any

import polars as pl

from audit.domain.work_log_check import Findings
from certification.presenters import exported_tables as exports

ROWS_A_BATCH = 100_000


def write_csv(findings: Findings, stream: IO[bytes]) -> None:
    """Write findings as CSV in UTF-8, cells as they came."""
    heading = exports.line_of(findings.headings)
    stream.write(heading.encode())
    for batch in findings.frame.select(findings.columns).iter_slices(ROWS_A_BATCH):
        # No text at all, and not a pair of quotation marks.
        cells = batch.with_columns(pl.when(pl.col(pl.String) != "").then(pl.col(pl.String)))
        cells.write_csv(stream, include_header=False)


def write_xlsx(findings: Findings, stream: IO[bytes]) -> None:
    rows: Iterable[tuple[Any, ...]] = findings.frame.select(findings.columns).iter_rows()
    with exports.workbook("Findings", findings.headings, rows) as book:
        stream.write(book.read())

"""Cells of exported tables: numbers stay numbers, and nothing is taken for a formula."""

import polars as pl
import pytest

from audit.presenters.work_log_files import harmless_cells
from people.presenters import exported_tables as exports

ORDINARY = ["CA-C-00012", "Kowal =", 5, "", "-5", "+0,4", "-1e-05", "-2.5E+3", -1.5e-7]


@pytest.mark.parametrize("cell", ORDINARY)
def test_ordinary_cells_and_every_number_are_left_alone(cell):
    assert exports.harmless(cell) == str(cell)


@pytest.mark.parametrize("text", ["-1e-05x", "-1e", "+1.2.3", "-٣", "=1", "-5\n=1"])
def test_what_only_begins_like_a_number_is_made_text(text):
    assert exports.harmless(text) == f"'{text}"


@pytest.mark.parametrize("text", [*map(str, ORDINARY), "-1e-05x", "-1e", "-٣", "\t=1", "  =1+1"])
def test_findings_have_the_same_cells_made_text(text):
    cells = harmless_cells(pl.DataFrame({"note": [text]}))["note"]
    assert cells.to_list() == [exports.harmless(text) or None]

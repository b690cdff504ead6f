"""Columns of text and what stands for them."""

from collections.abc import Sequence
from typing import Any

import polars as pl


def mapped(text: pl.Series, known: Sequence[Any], values: Sequence[Any], kind: Any) -> pl.Series:
    """Put a value in place of each cell; null where there is none for it."""
    if not known:
        return pl.Series(text.name, [None], kind).new_from_index(0, text.len())
    replacements = pl.Series(values, dtype=kind)
    return text.replace_strict(known, replacements, default=None, return_dtype=kind)

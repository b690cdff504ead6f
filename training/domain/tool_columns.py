"""Columns of a list of tools from any spreadsheet: what each may hold, and what suggests it."""

from collections.abc import Mapping, Sequence
from enum import StrEnum

from people.domain.folding import heading_key


class Column(StrEnum):
    """What a column of a list of tools holds; the last three are of its latest calibration."""

    CODE = "code"
    KIND = "kind"
    NAME = "name"
    SERIAL = "serial"
    SITE = "site"
    CALIBRATED_ON = "calibrated_on"
    VALID_THROUGH = "valid_through"
    REFERENCE = "reference"


DAYS = (Column.CALIBRATED_ON, Column.VALID_THROUGH)

WORDS: Mapping[Column, Sequence[str]] = {
    Column.CODE: (
        "code", "number", "no", "nr", "nummer", "id", "tool number", "tool no", "tool id",
        "asset number", "inventory number", "werkzeugnummer", "werkzeug nr", "inventarnummer",
        "inventar nr",
    ),
    Column.KIND: ("kind", "type", "tool", "kind of tool", "art", "werkzeugart", "werkzeug"),
    Column.NAME: (
        "name", "make", "model", "make and model", "description", "bezeichnung", "hersteller",
        "modell", "beschreibung",
    ),
    Column.SERIAL: ("serial", "serial number", "serial no", "s n", "seriennummer", "serien nr"),
    Column.SITE: ("site", "plant", "location", "werk", "standort"),
    Column.CALIBRATED_ON: (
        "calibrated", "calibrated on", "calibration date", "date of calibration",
        "last calibration", "last calibrated", "kalibriert", "kalibriert am", "kalibrierdatum",
        "letzte kalibrierung",
    ),
    Column.VALID_THROUGH: (
        "due", "valid until", "valid through", "good through", "good until", "calibration due",
        "due date", "next calibration", "gultig bis", "gueltig bis", "fallig", "faellig",
        "nachste kalibrierung", "naechste kalibrierung",
    ),
    Column.REFERENCE: (
        "report", "certificate", "calibration certificate", "calibration report", "bericht",
        "kalibrierschein", "protokoll",
    ),
}  # fmt: skip
"""Headings that suggest a column, folded; a heading that is one of them suggests it most."""


def suggest(headings: Sequence[str]) -> list[str]:
    """Suggest what each column holds, each thing once; empty where nothing is likely.

    Examples
    --------
    >>> suggest(["Tool no.", "Type", "Serial no.", "Calibrated", "Next calibration", "Shelf"])
    ['code', 'kind', 'serial', 'calibrated_on', 'valid_through', '']
    """
    keys = [heading_key(heading) for heading in headings]
    scored = sorted(
        (
            (-likely, place, column)
            for place, key in enumerate(keys)
            for column in Column
            if (likely := _likelihood(column, key))
        ),
        key=lambda score: score[:2],
    )
    suggested = [""] * len(keys)
    for _likely, place, column in scored:
        if not suggested[place] and column not in suggested:
            suggested[place] = column
    return suggested


def _likelihood(column: Column, key: str) -> int:
    """How likely a heading is one of a column: 0 for not at all, more for longer words of it."""
    if key in WORDS[column]:
        return 1000
    # Words of two letters, as of “no”, begin too many others.
    begun = (word for word in WORDS[column] if len(word) > 3 and f" {word}" in f" {key}")
    return max(map(len, begun), default=0)

"""A criterion as a row of a table that a spreadsheet program shows, and back."""

import re
from collections.abc import Mapping, Sequence
from decimal import Decimal, InvalidOperation
from typing import Any

PLAIN_COLUMNS = {
    "stage": "stage",
    "judged_on": "of",
    "joint_types": "joint_types",
    "alloys": "alloys",
    "judged": "how",
    "quantity": "quantity",
    "at_least": "low",
    "at_most": "high",
    "unit": "unit",
    "measured_from": "datum",
    "by_eye_instead": "by_eye",
    "severity": "severity",
    "demerits": "demerits",
    "document": "document",
    "edition": "edition",
    "clause": "clause",
    "source_note": "source_note",
    "accept_drawing": "accept_drawing",
    "reject_drawings": "reject_drawings",
}
"""Columns of the table, by what each is of a criterion; ``code`` stands before them."""
TEXT_COLUMNS = {
    "title": "title",
    "what_is_asked": "text",
    "what_fails": "reject",
    "what_to_try": "advice",
}
"""The same of its texts; each column has the language behind it: ``title_de``."""
LISTS = ("joint_types", "alloys", "reject_drawings")
CHOICES = {
    "stage": ("prepared", "formed", "soldered", "cleaned"),
    "of": ("joint", "board"),
    "how": ("eye", "measured"),
    "quantity": ("", "wrap", "clearance", "length", "fillet", "wetting_angle", "fill"),
    "unit": ("", "mm", "d", "D", "deg", "percent", "ratio"),
    "datum": ("", "terminal", "solder"),
    "by_eye": ("", "never"),
    "severity": ("critical", "major", "minor"),
}
UNIT_SIGNS = {"°": "deg", "%": "percent"}
LONGEST = {
    "code": 16,
    "document": 160,
    "edition": 60,
    "clause": 80,
    "source_note": 1000,
    "accept_drawing": 80,
    "title": 80,
    "text": 600,
    "reject": 600,
    "advice": 600,
}
MOST_DEMERITS = 100
CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")
NUMBER = re.compile(r"[+-]?[0-9]{1,5}(?:[.,][0-9]{1,4})?")
DEMERITS = re.compile(r"[0-9]{1,3}")
STARTS_A_FORMULA = ("=", "+", "-", "@")


def columns(languages: Sequence[str]) -> list[str]:
    """The heading of the table.

    Examples
    --------
    >>> columns(["en"])[:3], columns(["en"])[-3:]
    (['code', 'title_en', 'what_is_asked_en'], ['source_note', 'accept_drawing', 'reject_drawings'])
    """
    texts = [f"{column}_{language}" for language in languages for column in TEXT_COLUMNS]
    return ["code", *texts, *PLAIN_COLUMNS]


def as_row(code: str, state: Mapping[str, Any], languages: Sequence[str]) -> list[str]:
    """The cells of one criterion, in the order of `columns`.

    Parameters
    ----------
    state : mapping
        By field, with ``reject_drawings`` for all of those drawings.
    """
    texts = [
        state.get(f"{key}_{language}", "")
        for language in languages
        for key in TEXT_COLUMNS.values()
    ]
    plain = []
    for name in PLAIN_COLUMNS.values():
        value = state[name]
        plain.append(", ".join(value) if name in LISTS else str(value))
    return [code, *texts, *plain]


Fault = tuple[str, str, str]
"""The column, what is wrong as a word, and what stands there."""


def read_row(
    values: Mapping[str, str], languages: Sequence[str]
) -> tuple[str, dict[str, Any], dict[str, dict[str, str]], list[Fault]]:
    """Read the cells of one row.

    Parameters
    ----------
    values : mapping
        Text by column, as the spreadsheet shows it; a column may be missing.

    Returns
    -------
    code : str
    fields : dict
        By field of a criterion, with ``reject_drawings``; what is faulty is left out.
    texts : dict
        By language, then by text.
    faults : list of Fault
        ``missing``, ``choice``, ``number``, ``demerits``, ``too_long`` or ``code``.
    """
    faults: list[Fault] = []
    code = _text(values.get("code", ""))
    if not code:
        faults.append(("code", "missing", ""))
    elif not CODE.fullmatch(code) or len(code) > LONGEST["code"]:
        faults.append(("code", "code", code))
    fields: dict[str, Any] = {}
    for column, name in PLAIN_COLUMNS.items():
        said = _text(values.get(column, ""))
        fault = _read_field(fields, name, said)
        if fault:
            faults.append((column, fault, said))
    texts: dict[str, dict[str, str]] = {}
    for language in languages:
        texts[language] = {}
        for column, key in TEXT_COLUMNS.items():
            said = _text(values.get(f"{column}_{language}", ""))
            if len(said) > LONGEST[key]:
                faults.append((f"{column}_{language}", "too_long", said[:40]))
            texts[language][key] = said
    return code, fields, texts, faults


def _read_field(fields: dict[str, Any], name: str, said: str) -> str:
    if name in LISTS:
        fields[name] = [part for part in re.split(r"[,;\s]+", said) if part]
        return "" if fields[name] or name != "joint_types" else "missing"
    if name in CHOICES:
        value = UNIT_SIGNS.get(said, said)
        if value not in CHOICES[name]:
            return "choice" if value else "missing"
        fields[name] = value
        return ""
    if name in ("low", "high"):
        return _read_number(fields, name, said)
    if name == "demerits":
        if not DEMERITS.fullmatch(said) or int(said) > MOST_DEMERITS:
            return "demerits"
        fields[name] = int(said)
        return ""
    fields[name] = said
    return "too_long" if len(said) > LONGEST[name] else ""


def _read_number(fields: dict[str, Any], name: str, said: str) -> str:
    if not said:
        fields[name] = None
        return ""
    if not NUMBER.fullmatch(said):
        return "number"
    try:
        fields[name] = Decimal(said.replace(",", "."))
    except InvalidOperation:  # pragma: no cover - the pattern lets none through
        return "number"
    return ""


def _text(cell: str) -> str:
    """A cell without the apostrophe by which a spreadsheet program is told that it is text."""
    cell = cell.strip()
    if cell.startswith("'") and cell[1:].lstrip(" ").startswith(STARTS_A_FORMULA):
        return cell[1:]
    return cell

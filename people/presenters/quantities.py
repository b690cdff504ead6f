"""Quantities as people read them: decimals, units, uncertainties and scores."""

from __future__ import annotations

import math
from decimal import ROUND_FLOOR, Decimal
from fractions import Fraction
from typing import Any

from django.utils import formats

NO_BREAK = "\u00a0"
UNIT_SIGNS = {"deg": "°", "percent": "%", "ratio": ""}


def unit_sign(unit: str) -> str:
    """The unit as it stands behind a figure: ``°``, ``%``, ``mm``, ``D``; nothing for a ratio.

    Units are given as criteria name them or as they are written: ``deg`` or ``°``.
    """
    return UNIT_SIGNS.get(unit, unit)


def unit_suffix(unit: str) -> str:
    """What stands behind a figure: its unit, after a space that no line breaks at."""
    sign = unit_sign(unit)
    return sign if sign in ("", "°") else f"{NO_BREAK}{sign}"


def with_unit(shown: str, unit: str) -> str:
    """Put a figure and its unit together so that no line break parts them."""
    return f"{shown}{unit_suffix(unit)}"


def format_decimal(value: Decimal) -> str:
    """A decimal as one would write it: without needless noughts, in the reader's own marks."""
    return formats.number_format(Decimal(f"{value.normalize():f}"))


def format_number(value: float) -> str:
    """A number with six significant digits at most."""
    text = f"{value:.6g}"
    if "e" in text:
        return text
    return formats.number_format(text, decimal_pos=len(text.partition(".")[2]))


def format_with_uncertainty(value: float, u: float | None) -> tuple[str, str | None]:
    """Write a value and its expanded uncertainty with the same, sensible number of decimals.

    The uncertainty keeps two significant digits, and the value as many decimals.

    Parameters
    ----------
    u : float or None
        The standard uncertainty; what is written is twice as much.

    Examples
    --------
    >>> format_with_uncertainty(148.04, 1.23)
    ('148.0', '2.5')
    >>> format_with_uncertainty(0.8512, 0.0115)
    ('0.851', '0.023')
    >>> format_with_uncertainty(270.0, None)
    ('270', None)
    """
    if u is None or not math.isfinite(u) or u <= 0:
        return format_number(value), None
    expanded = 2 * u
    decimals = min(max(1 - math.floor(math.log10(expanded)), 0), 6)
    return (
        formats.number_format(f"{value:.{decimals}f}", decimal_pos=decimals),
        formats.number_format(f"{expanded:.{decimals}f}", decimal_pos=decimals),
    )


def format_score(value: Any) -> str:
    """A score with one decimal, rounded down, so that 79.95 never shows as 80.0."""
    if value is None or value == "":
        return "–"
    if isinstance(value, Fraction):
        tenths = Decimal(value.numerator * 10 // value.denominator)
    else:
        tenths = (Decimal(str(value)) * 10).to_integral_value(rounding=ROUND_FLOOR)
    return formats.number_format(tenths / 10, decimal_pos=1)


def format_share(share: Fraction) -> str:
    """A share of a whole in per cent with one decimal; only nothing is 0, and only all is 100.

    Examples
    --------
    >>> shares = (Fraction(1, 16), Fraction(1, 9999), Fraction(1))
    >>> [format_share(share).replace(NO_BREAK, " ") for share in shares]
    ['6.3 %', '0.1 %', '100.0 %']
    """
    tenths = math.floor(share * 1000 + Fraction(1, 2))
    if 0 < share < 1:
        tenths = min(max(tenths, 1), 999)
    return with_unit(formats.number_format(Decimal(tenths) / 10, decimal_pos=1), "percent")


def format_minutes(minutes: float) -> str:
    """``12 min`` or ``3 h 20 min``: whole minutes, rounded up, and five of them from an hour on.

    Examples
    --------
    >>> [format_minutes(minutes).replace(NO_BREAK, " ") for minutes in (0.4, 59.5, 61, 120)]
    ['1 min', '1 h', '1 h 5 min', '2 h']
    """
    whole = max(math.ceil(minutes), 1)
    if whole < 60:
        return f"{whole}{NO_BREAK}min"
    hours, rest = divmod(math.ceil(minutes / 5) * 5, 60)
    said = f"{hours}{NO_BREAK}h"
    return f"{said}{NO_BREAK}{rest}{NO_BREAK}min" if rest else said

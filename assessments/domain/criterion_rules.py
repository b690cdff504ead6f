"""What of a criterion fits together: quantity and unit, limits, and how it is judged."""

from collections.abc import Collection
from decimal import Decimal

UNITS = ("mm", "d", "D", "deg", "percent", "ratio")
"""Units of limits: d is the diameter of the conductor, D over its insulation."""
LENGTHS = ("mm", "d", "D")
UNITS_OF = {
    "": UNITS,
    "length": LENGTHS,
    "clearance": LENGTHS,
    "wrap": ("deg",),
    "wetting_angle": ("deg",),
    "fill": ("percent",),
    "fillet": ("ratio",),
}
"""The units that a quantity can be stated in; one that no tool measures takes any."""
QUANTITIES = tuple(quantity for quantity in UNITS_OF if quantity)

NEVER_NEGATIVE = ("length", "wrap", "wetting_angle", "fill")
FULL_SCALE = {"wrap": Decimal(720), "wetting_angle": Decimal(180)}
"""The most that the tools can give, from their own definition."""


def fault_of_limits(
    *, how: str, quantity: str, low: Decimal | None, high: Decimal | None, unit: str
) -> str:
    """Name what of a criterion's limits does not fit; empty where all does.

    Parameters
    ----------
    how : {"eye", "measured"}
    quantity : str
        A key of `UNITS_OF`.
    low, high : Decimal or None
        Limits, both included; None is no limit on that side.
    unit : str
        One of `UNITS`, or empty.

    Returns
    -------
    str
        ``no_limit``, ``crossed``, ``no_unit``, ``unit_alone``, ``wrong_unit``, ``negative``,
        ``beyond_scale``, ``unknown`` or empty.

    Examples
    --------
    >>> fault_of_limits(how="measured", quantity="clearance", low=None, high=Decimal(2), unit="deg")
    'wrong_unit'
    """
    limits = [limit for limit in (low, high) if limit is not None]
    if quantity not in UNITS_OF or (unit and unit not in UNITS):
        return "unknown"
    if how == "measured" and not limits:
        return "no_limit"
    if low is not None and high is not None and low > high:
        return "crossed"
    if limits and not unit:
        return "no_unit"
    if unit and not limits:
        return "unit_alone"
    if unit and unit not in UNITS_OF[quantity]:
        return "wrong_unit"
    if quantity in NEVER_NEGATIVE and any(limit < 0 for limit in limits):
        return "negative"
    most = FULL_SCALE.get(quantity)
    if most is not None and any(limit > most for limit in limits):
        return "beyond_scale"
    return ""


FIRST_LETTERS = {"prepared": "P", "formed": "F", "soldered": "S", "cleaned": "C"}
BOARD_LETTER = "B"


def next_code(stage: str, of: str, used: Collection[str]) -> str:
    """Suggest a code that was never used: the letter of the stage and the next number.

    Examples
    --------
    >>> next_code("soldered", "joint", ["S-01", "S-17", "F-20"])
    'S-18'
    """
    letter = BOARD_LETTER if of == "board" else FIRST_LETTERS[stage]
    numbers = [
        int(code[2:])
        for code in used
        if code[:2] == f"{letter}-" and code[2:].isascii() and code[2:].isdigit()
    ]
    return f"{letter}-{max(numbers, default=0) + 1:02d}"

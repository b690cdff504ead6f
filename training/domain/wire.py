"""Sizes of round copper wire and of concentric strandings."""

import numpy as np

SMALLEST_AWG, LARGEST_AWG = 40, -3
"""The gauges the formula is kept to: 40 down to 4/0, which counts as -3."""

DIAMETERS_ACROSS = {1: 1, 7: 3, 19: 5, 37: 7}
"""Strand diameters that lie across a bundle, by its number of strands."""


class UnknownWireSize(ValueError):
    """A gauge or a stranding that has no size here; the message says which ones have."""


def awg_diameter_mm(awg: float) -> float:
    """Give the nominal diameter of a solid round wire.

    d = 0.127 mm * 92 ** ((36 - awg) / 39): AWG 36 is 0.005 in, 4/0 is 0.460 in, and 39 equal
    ratios lie between.

    Parameters
    ----------
    awg : float
        Gauge, from -3 to 40. The sizes 0, 2/0, 3/0 and 4/0 are 0, -1, -2 and -3.

    Returns
    -------
    float
        Diameter of the bare metal, in millimetres.

    Raises
    ------
    UnknownWireSize
        If the gauge lies outside that range.

    References
    ----------
    .. [1] ASTM B258, nominal diameters of AWG sizes of solid round wire.

    Examples
    --------
    >>> round(awg_diameter_mm(22), 4)
    0.6438
    >>> round(awg_diameter_mm(-3) / 25.4, 3)
    0.46
    """
    if not LARGEST_AWG <= awg <= SMALLEST_AWG:
        raise UnknownWireSize(
            f"AWG {awg} is not a wire size known here; give one from -3 (4/0) to 40."
        )
    return float(0.127 * np.power(92.0, (36.0 - awg) / 39.0))


def stranded_diameter_mm(strands: int, strand_awg: float) -> float:
    """Give the diameter over a close-packed concentric bundle of equal strands.

    Rings of 6, 12 and 18 strands lie round one in the middle, so that 7, 19 and 37 strands
    measure 3, 5 and 7 strand diameters across. Plating, the give of the lay and insulation
    are left out; a measured wire may differ by a few per cent.

    Parameters
    ----------
    strands : int
        1 (solid), 7, 19 or 37.
    strand_awg : float
        Gauge of one strand, from -3 to 40.

    Returns
    -------
    float
        Diameter over the strands, in millimetres.

    Raises
    ------
    UnknownWireSize
        For another number of strands, or a gauge outside the range.

    Examples
    --------
    >>> round(stranded_diameter_mm(19, 34), 3)
    0.801
    """
    if strands not in DIAMETERS_ACROSS:
        raise UnknownWireSize(
            f"A bundle of {strands} strands has no round size; give 1, 7, 19 or 37 strands."
        )
    return DIAMETERS_ACROSS[strands] * awg_diameter_mm(strand_awg)


def copper_area_mm2(strands: int, strand_awg: float) -> float:
    """Give the area of metal in a wire: strands times the area of one.

    Parameters
    ----------
    strands : int
        Any number from 1 on; the strands need not pack into a round bundle.
    strand_awg : float
        Gauge of one strand, from -3 to 40.

    Returns
    -------
    float
        Area, in square millimetres.

    Raises
    ------
    UnknownWireSize
        If there is no strand, or the gauge lies outside the range.

    Examples
    --------
    >>> round(copper_area_mm2(1, 24), 4)
    0.2047
    """
    if strands < 1:
        raise UnknownWireSize(f"A wire of {strands} strands has no area; give at least one.")
    return strands * float(np.pi) / 4 * awg_diameter_mm(strand_awg) ** 2


SOLID_FROM_MM, SOLID_SHARE, THIN_MM = 0.254, 0.01, 0.00254
STRANDED_SHARE, OVERALL_SHARE = 0.13, 0.10

STRANDED_LIMITS_MM = {
    "7/38": (0.267, 0.340),
    "7/36": (0.343, 0.417),
    "19/38": (0.445, 0.544),
    "19/36": (0.572, 0.671),
    "19/34": (0.724, 0.848),
    "19/32": (0.927, 1.05),
    "19/30": (1.16, 1.31),
    "19/29": (1.31, 1.48),
    "19/27": (1.64, 1.86),
    "19/25": (2.07, 2.35),
    "37/28": (2.12, 2.30),
    "37/26": (2.69, 2.90),
}
"""Least and greatest diameter over the strands, by make-up.

MIL-DTL-29606, table III-A, annealed copper, soft metric conversion, as a public copy of its page
prints it: general purpose, tin or nickel coated, which is the wider of its columns.
"""


def solid_tolerance_mm(diameter_mm: float) -> float:
    """Give by how much a bare solid copper wire may differ from its nominal diameter.

    Parameters
    ----------
    diameter_mm : float
        Nominal diameter, in millimetres, above 0.

    Returns
    -------
    float
        Half the width of the range, in millimetres: 1 % from 0.010 in on, 0.0001 in below.

    References
    ----------
    .. [1] ASTM B3, soft or annealed copper wire, permissible variations in diameter (from
       memory: the standard was not at hand).

    Examples
    --------
    >>> round(solid_tolerance_mm(0.6438), 4), solid_tolerance_mm(0.127)
    (0.0064, 0.00254)
    """
    return SOLID_SHARE * diameter_mm if diameter_mm >= SOLID_FROM_MM else THIN_MM


def stranded_tolerance_mm(diameter_mm: float, make_up: str = "") -> float:
    """Give by how much a bundle of strands may differ from the diameter worked out for it.

    Parameters
    ----------
    diameter_mm : float
        As `stranded_diameter_mm` gives it, in millimetres.
    make_up : str
        Strands and their gauge, as ``19/34``.

    Returns
    -------
    float
        To the farther of the limits in `STRANDED_LIMITS_MM`, in millimetres; for another
        make-up 13 %, a figure of our own, as wide as the widest of those limits.

    Examples
    --------
    >>> round(stranded_tolerance_mm(0.801, "19/34"), 3)
    0.077
    """
    if make_up not in STRANDED_LIMITS_MM:
        return STRANDED_SHARE * diameter_mm
    least, greatest = STRANDED_LIMITS_MM[make_up]
    return max(diameter_mm - least, greatest - diameter_mm)


def overall_tolerance_mm(diameter_mm: float) -> float:
    """Give by how much a wire may differ from its nominal diameter over the insulation.

    A figure of our own, 10 %, since the nominal ones that come along are approximate. Where a
    site has measured its wire, its figure counts.
    """
    return OVERALL_SHARE * diameter_mm

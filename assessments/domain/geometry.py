"""Measuring on a photograph: from marks to a value with its uncertainty.

Marks are pixels of the upright photograph, x right and y down. Each coordinate of each mark has
the same independent standard uncertainty; it propagates to first order into the result, with
that of the scale. The expanded uncertainty is U = 2u.
"""

from collections.abc import Callable
from math import atan2, degrees, hypot, pi, sqrt

import numpy as np

from .fillet import fillet, wetting_angle
from .marks import (
    FARTHEST_PX,
    MARKS,
    SMALL_WIRE_PX,
    Across,
    EdgeMissesBase,
    EdgeUnclear,
    Kind,
    MarkNotOnPhotograph,
    Marks,
    MarksCoincide,
    MarksRefused,
    Measured,
    Options,
    Points,
    Quantity,
    Remark,
    Scale,
    SideUnclear,
    SizeNotKnown,
    TooFewMarks,
    TooManyMarks,
    TurnsNotPossible,
    Winding,
    distance,
    points_of,
    refuse_coinciding,
)

__all__ = [
    "MARKS",
    "Across",
    "EdgeMissesBase",
    "EdgeUnclear",
    "Kind",
    "MarkNotOnPhotograph",
    "Marks",
    "MarksCoincide",
    "MarksRefused",
    "Measured",
    "Options",
    "Quantity",
    "Remark",
    "Scale",
    "SideUnclear",
    "SizeNotKnown",
    "TooFewMarks",
    "TooManyMarks",
    "TurnsNotPossible",
    "Winding",
    "measure",
]


def measure(
    quantity: Quantity,
    marks: Marks,
    *,
    sigma_px: float = 1.0,
    scale: Scale | None = None,
    options: Options | None = None,
) -> Measured:
    """Measure one quantity from marks on a photograph.

    Parameters
    ----------
    quantity : Quantity
    marks : mapping of str to sequence of points
        As `MARKS` names them, each point (x, y) in pixels of the upright photograph.
    sigma_px : float
        Standard uncertainty of each coordinate of each mark, in pixels.
    scale : Scale, optional
    options : Options, optional

    Returns
    -------
    Measured

    Raises
    ------
    MarksRefused
        One of its kinds, if the marks give no result.

    Examples
    --------
    >>> marks = {"bottom": [(0, 200)], "top": [(0, 100)], "level": [(30, 125)]}
    >>> measured = measure(Quantity.FILL, marks)
    >>> measured.value, round(found.u, 3), found.unit
    (75.0, 1.275, 'percent')
    """
    options = options or Options()
    points = {kind.name: points_of(kind, marks.get(kind.name, ())) for kind in MARKS[quantity]}
    measured = _MEASURES[quantity](points, sigma_px, scale, options)
    small = _wire_px(quantity, points, scale, options)
    remarks = list(measured.remarks)
    if small is not None and small < SMALL_WIRE_PX:
        remarks.append(Remark.SMALL_WIRE)
    return Measured(measured.value, measured.u, measured.unit, tuple(remarks), measured.also)


def _wire_px(
    quantity: Quantity, points: Points, scale: Scale | None, options: Options
) -> float | None:
    """How many pixels the wire is across: as marked, else as the scale says; None if unknown."""
    if quantity == Quantity.CLEARANCE:
        return distance(points["across"])
    if quantity != Quantity.SCALE and scale is not None and options.conductor_mm is not None:
        return options.conductor_mm / scale.mm_per_px
    return None


# Sizes


def _scale(points: Points, sigma: float, _scale: Scale | None, options: Options) -> Measured:
    """Known size ÷ distance of the two marks."""
    ends = points["ends"]
    refuse_coinciding(ends)
    if options.size_mm is None or not 0 < options.size_mm < FARTHEST_PX:
        raise SizeNotKnown("Say the known size in millimetres: it is more than 0.")
    length = distance(ends)
    share = hypot(options.size_u_mm / options.size_mm, sqrt(2) * sigma / length)
    value = options.size_mm / length
    return Measured(value, value * share, "mm/px", also={"relative_u": share, "px": length})


def _length_mm(points: Points, sigma: float, scale: Scale | None, options: Options) -> Measured:
    """Distance of the two marks, by the scale."""
    ends = points["ends"]
    refuse_coinciding(ends)
    if scale is None:
        raise SizeNotKnown("Set the photograph's scale first: a length needs it.")
    unit = options.unit or "mm"
    diameter = _diameter_mm(unit, options)
    length = distance(ends)
    value = length * scale.mm_per_px / diameter
    share = hypot(sqrt(2) * sigma / length, scale.relative_u or 0.0)
    return Measured(value, value * share, unit, _of_scale(scale), {"px": length})


def _of_scale(scale: Scale) -> tuple[Remark, ...]:
    return (Remark.SCALE_UNSURE,) if scale.relative_u is None else ()


def _diameter_mm(unit: str, options: Options) -> float:
    """What a length in millimetres is divided by for a unit."""
    factor = {"mm": 1.0, "d": options.conductor_mm, "D": options.overall_mm}.get(unit)
    if not factor:
        raise SizeNotKnown("The wire’s diameter is not known here, so read it in millimetres.")
    return factor


def _clearance(points: Points, sigma: float, scale: Scale | None, options: Options) -> Measured:
    """From the insulation's end to the joint, at right angles to the marks across the wire.

    The wire's way to the joint is told by where the marks across it lie: on the insulation
    they are behind its end, on the bare conductor ahead of it.
    """
    across = points["across"]
    insulation, joint = points["insulation"][0], points["joint"][0]
    refuse_coinciding(across)
    q, r = across[1] - across[0], joint - insulation
    width = hypot(*q)
    ahead = np.array([-q[1], q[0]]) / width
    lead = float((insulation - across.mean(axis=0)) @ ahead)
    if options.across == Across.CONDUCTOR:
        lead = -lead
    if abs(lead) < 0.02 * width:
        raise SideUnclear(
            "Put the two marks across the wire a little away from the insulation’s end, "
            "so that it is clear which way the joint lies."
        )
    turn = 1.0 if lead > 0 else -1.0
    # f = turn·(rot q · r)/|q|, its slope by q, and that by r, which is the way ahead.
    gap = turn * float(ahead @ r)
    by_q = turn * np.array([r[1], -r[0]]) / width - gap * q / width**2
    unit = options.unit or ("d" if options.across == Across.CONDUCTOR else "D")
    remarks = (Remark.SIDE_NEAR,) if abs(lead) < 3 * sigma else ()
    u_px = sigma * sqrt(2 + 2 * float(by_q @ by_q))
    also = {"px": gap, "across_px": width}
    if scale is not None:
        also["mm"] = gap * scale.mm_per_px
        also["mm_u"] = scale.mm_per_px * hypot(u_px, gap * (scale.relative_u or 0.0))
    marked = {Across.OVERALL: "D", Across.CONDUCTOR: "d"}[options.across]
    if unit == "px":
        return Measured(gap, u_px, unit, remarks, also)
    if unit == "mm":
        if scale is None:
            raise SizeNotKnown("Set the photograph's scale first: millimetres need it.")
        return Measured(also["mm"], also["mm_u"], unit, (*remarks, *_of_scale(scale)), also)
    value = gap / width
    by_q = by_q / width - value * q / width**2
    u = sigma * sqrt(2 / width**2 + 2 * float(by_q @ by_q))
    factor = 1.0
    if unit != marked:
        factor = _diameter_mm(marked, options) / _diameter_mm(unit, options)
    return Measured(value * factor, u * factor, unit, remarks, also)


def _wrap(points: Points, sigma: float, _scale: Scale | None, options: Options) -> Measured:
    """The turn about the post's centre from the start of contact to its end, 0 to 720°."""
    centre, start, end = (points[name][0] for name in ("centre", "start", "end"))
    refuse_coinciding(centre, start)
    refuse_coinciding(centre, end)
    if options.full_turns not in (0, 1):
        raise TurnsNotPossible("A wrap is measured to two turns: say 0 or 1 turn beyond the marks.")
    a, b = start - centre, end - centre
    turned = atan2(a[0] * b[1] - a[1] * b[0], float(a @ b))  # with y down, clockwise is positive
    if options.winding == Winding.ANTICLOCKWISE:
        turned = -turned
    value = degrees(turned % (2 * pi)) + 360 * options.full_turns
    by_start = np.array([a[1], -a[0]]) / (a @ a)
    by_end = np.array([-b[1], b[0]]) / (b @ b)
    by_all = np.concatenate([by_start, by_end, by_start + by_end])
    u = degrees(sigma * float(np.linalg.norm(by_all)))
    # Where the ends meet within U, a whole turn more or less hangs on the marks' errors.
    meet = min(value % 360, 360 - value % 360) < 2 * u
    return Measured(value, u, "deg", (Remark.WHOLE_TURN,) if meet else ())


def _fill(points: Points, sigma: float, _scale: Scale | None, _said: Options) -> Measured:
    """The solder's level projected on the way from bottom to top, in percent, not clipped."""
    bottom, top, level = (points[name][0] for name in ("bottom", "top", "level"))
    refuse_coinciding(bottom, top)
    up, out = top - bottom, level - bottom
    value = float(out @ up) / float(up @ up)
    by_level = up / (up @ up)
    by_top = (out - 2 * value * up) / (up @ up)
    by_all = np.concatenate([by_level, by_top, by_level + by_top])
    return Measured(100 * value, 100 * sigma * float(np.linalg.norm(by_all)), "percent")


_MEASURES: dict[
    Quantity,
    Callable[[Points, float, Scale | None, Options], Measured],
] = {
    Quantity.SCALE: _scale,
    Quantity.LENGTH: _length_mm,
    Quantity.CLEARANCE: _clearance,
    Quantity.WRAP: _wrap,
    Quantity.FILLET: fillet,
    Quantity.WETTING_ANGLE: wetting_angle,
    Quantity.FILL: _fill,
}

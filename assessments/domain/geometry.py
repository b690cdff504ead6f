"""Measuring on a photograph: from marks to a value with its uncertainty.

Marks are pixels of the upright photograph, x right and y down. Each coordinate of each mark has
the same independent standard uncertainty; it propagates to first order into the result, with
those of the scale and of the diameters it is counted in (JCGM 100:2008, 5.1.2). What the view may
do is a bound, which `view.with_bound` takes in. The expanded uncertainty is U = 2u.
"""

from collections.abc import Callable
from math import degrees, hypot, pi

import numpy as np

from . import circle
from .fillet import fillet, wetting_angle
from .marks import (
    FARTHEST_PX,
    FLAT_ANGLE_DEG,
    LEAST_POST,
    MARKS,
    SHORT_ARC_DEG,
    SMALL_WIRE_PX,
    Across,
    Array,
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
    Read,
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
from .view import View, view_bound, with_bound

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
    "View",
    "Winding",
    "measure",
]

STRAIGHT = 1e-3  # curvature, where the points reach 1: no post is that large
WIDEST_LIFT = 0.5  # of the way from a post's centre to a mark: beyond, the lean is not proven


def measure(
    quantity: Quantity,
    marks: Marks,
    *,
    sigma_px: float = 1.0,
    scale: Scale | None = None,
    options: Options | None = None,
    view: View | None = None,
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
    view : View, optional
        The bounds of the photo set-up; without one the view is taken as exactly from above.

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
    >>> measured.value, round(measured.u, 3), measured.unit, measured.terms.keys()
    (75.0, 1.275, 'percent', dict_keys(['marks']))
    """
    options = options or Options()
    points = {kind.name: points_of(kind, marks.get(kind.name, ())) for kind in MARKS[quantity]}
    read = _MEASURES[quantity](points, sigma_px, scale, options)
    terms, bound = _terms(quantity, read, points, sigma_px, scale, view)
    u = hypot(*terms.values())
    remarks = list(read.remarks)
    also = dict(read.also)
    if read.gap_slopes and scale is not None:
        also["mm_u"] = _in_mm(read, points, sigma_px, scale, view)
    if quantity == Quantity.SCALE:
        also |= {"relative_u": hypot(terms["marks"], terms["size"]) / read.value}
        also |= {"relative_view": bound / read.value}
    if quantity == Quantity.WRAP and _meets(read.value, u):
        remarks.append(Remark.WHOLE_TURN)
    if quantity == Quantity.WETTING_ANGLE:
        least = max(FLAT_ANGLE_DEG, 2 * u)
        if not least <= read.value <= 180 - least:
            remarks.append(Remark.FLAT_ANGLE)
    if read.lift and view and _lift(read, scale, view) > WIDEST_LIFT:
        remarks.append(Remark.VIEW_WIDE)
    small = _wire_px(quantity, points, scale, options)
    if small is not None and small < SMALL_WIRE_PX:
        remarks.append(Remark.SMALL_WIRE)
    return Measured(read.value, u, read.unit, tuple(remarks), also, terms)


def _terms(
    quantity: Quantity,
    read: Read,
    points: Points,
    sigma: float,
    scale: Scale | None,
    view: View | None,
) -> tuple[dict[str, float], float]:
    """What the uncertainty of a reading is made of, in its unit, and the bound of the view."""
    flat = np.vstack(list(read.slopes.values()))
    terms = {"marks": sigma * float(np.linalg.norm(flat))}
    if read.by_scale:
        terms["scale"] = abs(read.value) * ((scale and scale.relative_u) or 0.0)
    if read.size_relative is not None:
        terms["size"] = abs(read.value) * read.size_relative
    bound = 0.0
    if view is not None:
        mm_per_px = read.value if quantity == Quantity.SCALE else _mm_per_px(scale)
        placed = np.vstack([points[name] for name in read.slopes])
        apart = np.concatenate([np.full(len(points[n]), n in read.apart) for n in read.slopes])
        bound = view_bound(
            view,
            placed,
            flat,
            px_per_mm=view.px_per_mm(mm_per_px),
            apart=apart,
            lifted=read.lift,
        )
    if read.by_scale and scale is not None:
        bound += abs(read.value) * scale.relative_view
        if view is not None:
            bound += abs(read.value) * view.depth_mm / view.distance_mm
    if bound:
        terms["view"] = with_bound(hypot(*terms.values()), bound)[1]
    return terms, bound


def _in_mm(read: Read, points: Points, sigma: float, scale: Scale, view: View | None) -> float:
    """The standard uncertainty of a clearance in millimetres, beside one in diameters."""
    slopes = {name: slopes * scale.mm_per_px for name, slopes in read.gap_slopes.items()}
    in_mm = Read(read.also["mm"], "mm", slopes, by_scale=True)
    terms, _bound = _terms(Quantity.CLEARANCE, in_mm, points, sigma, scale, view)
    return hypot(*terms.values())


def _mm_per_px(scale: Scale | None) -> float | None:
    return scale.mm_per_px if scale else None


def _meets(value: float, u: float) -> bool:
    """Whether start and end meet within U, so that a whole turn hangs on the errors."""
    return min(value % 360, 360 - value % 360) < 2 * u


def _lift(read: Read, scale: Scale | None, view: View) -> float:
    """How far leaning shifts the centre, as a share of its way to the nearer mark."""
    shift = view.lean * view.px_per_mm(_mm_per_px(scale)) * view.depth_mm
    return shift / read.also["reach_px"]


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


def _along(ends: Array) -> Array:
    """How the distance of two marks changes with each of them."""
    way = (ends[1] - ends[0]) / distance(ends)
    return np.array([-way, way])


def _scale(points: Points, _sigma: float, _scale: Scale | None, options: Options) -> Read:
    """Known size ÷ distance of the two marks."""
    ends = points["ends"]
    refuse_coinciding(ends)
    if options.size_mm is None or not 0 < options.size_mm < FARTHEST_PX:
        raise SizeNotKnown("Say the known size in millimetres: it is more than 0.")
    length = distance(ends)
    value = options.size_mm / length
    return Read(
        value,
        "mm/px",
        {"ends": -value / length * _along(ends)},
        size_relative=options.size_u_mm / options.size_mm,
        also={"px": length},
    )


def _length_mm(points: Points, _sigma: float, scale: Scale | None, options: Options) -> Read:
    """Distance of the two marks, by the scale."""
    ends = points["ends"]
    refuse_coinciding(ends)
    if scale is None:
        raise SizeNotKnown("Set the photograph's scale first: a length needs it.")
    unit = options.unit or "mm"
    by = scale.mm_per_px / _diameter_mm(unit, options)
    length = distance(ends)
    return Read(
        length * by,
        unit,
        {"ends": by * _along(ends)},
        by_scale=True,
        size_relative=None if unit == "mm" else _diameter_u(unit, options),
        remarks=_of_scale(scale),
        also={"px": length},
    )


def _of_scale(scale: Scale) -> tuple[Remark, ...]:
    return (Remark.SCALE_UNSURE,) if not scale.relative_u else ()


def _diameter_mm(unit: str, options: Options) -> float:
    """What a length in millimetres is divided by for a unit."""
    factor = {"mm": 1.0, "d": options.conductor_mm, "D": options.overall_mm}.get(unit)
    if not factor:
        raise SizeNotKnown("The wire’s diameter is not known here, so read it in millimetres.")
    return factor


def _diameter_u(unit: str, options: Options) -> float:
    """The standard uncertainty of a diameter, as a share of it."""
    u = {"d": options.conductor_u_mm, "D": options.overall_u_mm}[unit]
    return u / _diameter_mm(unit, options)


def _clearance(points: Points, sigma: float, scale: Scale | None, options: Options) -> Read:
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
    gap_slopes = _slopes(turn * ahead, by_q)
    unit = options.unit or ("d" if options.across == Across.CONDUCTOR else "D")
    remarks: tuple[Remark, ...] = (Remark.SIDE_NEAR,) if abs(lead) < 3 * sigma else ()
    also = {"px": gap, "across_px": width}
    if scale is not None:
        also["mm"] = gap * scale.mm_per_px
    size = None
    if unit == "px":
        value, slopes = gap, gap_slopes
    elif unit == "mm":
        if scale is None:
            raise SizeNotKnown("Set the photograph’s scale first: millimetres need it.")
        value = also["mm"]
        slopes = {name: array * scale.mm_per_px for name, array in gap_slopes.items()}
        remarks += _of_scale(scale)
    else:
        marked = {Across.OVERALL: "D", Across.CONDUCTOR: "d"}[options.across]
        factor = 1.0
        if unit != marked:
            factor = _diameter_mm(marked, options) / _diameter_mm(unit, options)
            size = hypot(_diameter_u(marked, options), _diameter_u(unit, options))
        value = gap / width * factor
        by_q = factor * by_q / width - value * q / width**2
        slopes = _slopes(factor * turn * ahead / width, by_q)
    return Read(
        value,
        unit,
        slopes,
        by_scale=unit == "mm",
        size_relative=size,
        remarks=remarks,
        also=also,
        gap_slopes=gap_slopes,
    )


def _slopes(by_r: Array, by_q: Array) -> dict[str, Array]:
    """Slopes by the marks of a clearance, from those by r (joint) and q (across the wire)."""
    return {
        "insulation": -by_r[None],
        "joint": by_r[None],
        "across": np.array([-by_q, by_q]),
    }


def _wrap(points: Points, _sigma: float, _scale: Scale | None, options: Options) -> Read:
    """The turn about the post's centre from the start of contact to its end, 0 to 720°."""
    post = points["post"]
    start, end = points["start"][0], points["end"][0]
    centre, by_post = _centre(points)
    refuse_coinciding(centre, start)
    refuse_coinciding(centre, end)
    if options.full_turns not in (0, 1):
        raise TurnsNotPossible("A wrap is measured to two turns: say 0 or 1 turn beyond the marks.")
    way = -1.0 if options.winding == Winding.ANTICLOCKWISE else 1.0

    def turned_about(middle: Array) -> Array:
        a, b = start - middle, end - middle
        turned = np.arctan2(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0], (a * b).sum(axis=-1))
        return way * turned  # y is down

    turned = float(turned_about(centre))
    value = degrees(turned % (2 * pi)) + 360 * options.full_turns
    a, b = start - centre, end - centre
    by_start = way * np.array([a[1], -a[0]]) / (a @ a)
    by_end = way * np.array([-b[1], b[0]]) / (b @ b)
    by_centre = -(by_start + by_end)
    slopes = {"start": degrees(1) * by_start[None], "end": degrees(1) * by_end[None]}
    also = {"reach_px": min(hypot(*a), hypot(*b))}
    if len(post):
        slopes["post"] = degrees(1) * np.einsum("i,ijk->jk", by_centre, by_post)
        also |= {"centre_x": float(centre[0]), "centre_y": float(centre[1])}
        short = (Remark.SHORT_ARC,) if _spanned_deg(post - centre) < SHORT_ARC_DEG else ()
        return Read(value, "deg", slopes, remarks=short, also=also)
    slopes["centre"] = degrees(1) * by_centre[None]

    def lift(push: Array) -> Array:
        apart = turned_about(centre + push) - turned
        return np.degrees((apart + pi) % (2 * pi) - pi)

    return Read(value, "deg", slopes, also=also, apart=("centre",), lift=lift)


def _spanned_deg(ways: Array) -> float:
    """The arc that points about a centre span: all but the widest gap between two of them."""
    at = np.sort(np.degrees(np.arctan2(ways[:, 1], ways[:, 0])))
    return 360 - float(np.diff(at, append=at[0] + 360).max())


def _centre(points: Points) -> tuple[Array, Array]:
    """The post's centre, and how each of its coordinates changes with points on its edge."""
    post, centre = points["post"], points["centre"]
    if not len(post):
        if not len(centre):
            raise TooFewMarks("Mark points where the wire lies against the post, or its centre.")
        return centre[0], np.empty((2, 0, 2))
    if len(post) < LEAST_POST:
        raise TooFewMarks(f"Set {LEAST_POST} points or more where the wire lies against the post.")
    refuse_coinciding(post)
    try:
        arc = circle.fit(post)
        if abs(float(arc.theta[0])) < STRAIGHT:
            raise circle.NoCircle
        flat, step = post.ravel(), circle.NUDGE * arc.reach
        moves = np.concatenate([np.eye(len(flat)), -np.eye(len(flat))]) * step
        moved = circle.refit((flat + moves).reshape(-1, *post.shape), arc).in_pixels()[0]
    except (circle.NoCircle, np.linalg.LinAlgError) as error:
        raise EdgeUnclear("The points on the post’s edge follow no circle.") from error
    centre = arc.in_pixels()[0]
    slopes = (moved[: len(flat)] - moved[len(flat) :]) / (2 * step)
    return centre, slopes.T.reshape(2, *post.shape)


def _fill(points: Points, _sigma: float, _scale: Scale | None, _said: Options) -> Read:
    """The solder's level projected on the way from bottom to top, in percent, not clipped."""
    bottom, top, level = (points[name][0] for name in ("bottom", "top", "level"))
    refuse_coinciding(bottom, top)
    up, out = top - bottom, level - bottom
    value = float(out @ up) / float(up @ up)
    by_level = 100 * up / (up @ up)
    by_top = 100 * (out - 2 * value * up) / (up @ up)
    slopes = {"bottom": -(by_level + by_top), "top": by_top, "level": by_level}
    return Read(100 * value, "percent", {name: array[None] for name, array in slopes.items()})


_MEASURES: dict[Quantity, Callable[[Points, float, Scale | None, Options], Read]] = {
    Quantity.SCALE: _scale,
    Quantity.LENGTH: _length_mm,
    Quantity.CLEARANCE: _clearance,
    Quantity.WRAP: _wrap,
    Quantity.FILLET: fillet,
    Quantity.WETTING_ANGLE: wetting_angle,
    Quantity.FILL: _fill,
}

"""How a measurement is drawn over its photograph: its marks, and the lines they make."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import atan2, cos, degrees, hypot, radians, sin
from typing import Any

from .geometry import MARKS, Marks, Quantity

Point = tuple[float, float]
STEPS = 48


@dataclass(frozen=True, slots=True)
class Drawn:
    """Lines and marks in pixels of the upright photograph.

    Attributes
    ----------
    lines : tuple of tuple of points
    marks : tuple of points
    """

    lines: tuple[tuple[Point, ...], ...]
    marks: tuple[Point, ...]


def drawn(
    quantity: str, marks: Marks, value: float, options: Mapping[str, Any], also: Mapping[str, float]
) -> Drawn:
    """Lay out a kept measurement for drawing.

    Parameters
    ----------
    value : float
        The result; of a wrap the degrees to draw.
    options, also
        As they were kept.
    """
    named = {name: [(float(x), float(y)) for x, y in points] for name, points in marks.items()}
    points = tuple(
        point for kind in MARKS[Quantity(quantity)] for point in named.get(kind.name, ())
    )
    return Drawn(tuple(_LINES[Quantity(quantity)](named, value, options, also)), points)


def _ends(marks, _value, _options, _also):
    return [tuple(marks["ends"])]


def _clearance(marks, _value, _options, _also):
    (ax, ay), (bx, by) = across = marks["across"]
    (ix, iy), (jx, jy) = marks["insulation"][0], marks["joint"][0]
    size = hypot(bx - ax, by - ay)
    nx, ny = -(by - ay) / size, (bx - ax) / size
    along = (jx - ix) * nx + (jy - iy) * ny
    foot = (ix + along * nx, iy + along * ny)
    return [tuple(across), ((ix, iy), foot), (foot, (jx, jy))]


def _wrap(marks, value, options, also):
    cx, cy = (also["centre_x"], also["centre_y"]) if "centre_x" in also else marks["centre"][0]
    (sx, sy), (ex, ey) = (marks[name][0] for name in ("start", "end"))
    way = -1 if options.get("winding") == "anticlockwise" else 1
    begin = degrees(atan2(sy - cy, sx - cx))
    inner, outer = hypot(sx - cx, sy - cy), hypot(ex - cx, ey - cy)
    arc = []
    for step in range(STEPS + 1):
        share = step / STEPS
        at = radians(begin + way * value * share)
        radius = inner + (outer - inner) * share
        arc.append((cx + radius * cos(at), cy + radius * sin(at)))
    return [tuple(arc), ((cx, cy), (sx, sy)), ((cx, cy), (ex, ey))]


def _arc(also: Mapping[str, float]) -> tuple[Point, ...]:
    """The fitted arc through its first, middle and last point."""
    (ax, ay), (bx, by), (cx, cy) = (
        (also[f"{name}_x"], also[f"{name}_y"]) for name in ("first", "middle", "last")
    )
    chord = hypot(cx - ax, cy - ay)
    mx, my = (ax + cx) / 2, (ay + cy) / 2
    rise = hypot(bx - mx, by - my)
    if chord == 0 or rise < 1e-9 * chord:
        return ((ax, ay), (cx, cy))
    ux, uy = (bx - mx) / rise, (by - my) / rise
    # From the middle to the centre, against the rise.
    radius = rise / 2 + chord**2 / (8 * rise)
    ox, oy = bx - radius * ux, by - radius * uy
    half = atan2(chord / 2, radius - rise)
    tx, ty = (cx - ax) / chord, (cy - ay) / chord
    return tuple(
        (
            ox + radius * (cos(at) * ux + sin(at) * tx),
            oy + radius * (cos(at) * uy + sin(at) * ty),
        )
        for at in (half * (2 * step / STEPS - 1) for step in range(STEPS + 1))
    )


def _fillet(_marks, _value, _options, also):
    chord = tuple((also[f"{name}_x"], also[f"{name}_y"]) for name in ("first", "last"))
    return [_arc(also), chord]


def _wetting_angle(marks, _value, _options, also):
    return [_arc(also), tuple(marks["base"])]


def _fill(marks, value, _options, _also):
    (bx, by), (tx, ty), level = (marks[name][0] for name in ("bottom", "top", "level"))
    foot = (bx + (tx - bx) * value / 100, by + (ty - by) * value / 100)
    return [((bx, by), (tx, ty)), (foot, level)]


_LINES = {
    Quantity.SCALE: _ends,
    Quantity.LENGTH: _ends,
    Quantity.CLEARANCE: _clearance,
    Quantity.WRAP: _wrap,
    Quantity.FILLET: _fillet,
    Quantity.WETTING_ANGLE: _wetting_angle,
    Quantity.FILL: _fill,
}

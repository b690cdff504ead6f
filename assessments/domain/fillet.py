"""A fillet's edge: how hollow it is, and at what angle it meets the base."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import degrees, hypot, pi, tan

import numpy as np

from . import circle
from .marks import (
    SHORT_ARC_DEG,
    Array,
    EdgeMissesBase,
    EdgeUnclear,
    Options,
    Points,
    Read,
    Remark,
    Scale,
    SideUnclear,
    distance,
    refuse_coinciding,
)


@dataclass(frozen=True)
class Edge:
    """The arc of a fitted circle along a fillet's edge, in the frame of `arc`.

    Attributes
    ----------
    turn : ndarray
        From the first mark's foot to the last one's, radians, positive where the circle's
        centre lies against the normal; 0 for a straight edge.
    first, last, middle : ndarray, shape (..., 2)
        Points of the circle.
    normal : ndarray, shape (..., 2)
        At the middle.
    chord : ndarray
    """

    arc: circle.Arc
    turn: Array
    first: Array
    last: Array
    middle: Array
    normal: Array
    chord: Array


def _edge(arc: circle.Arc, points: Array) -> Edge:
    """Lay the arc from the first mark to the last along the fitted circle."""
    x = arc.local(points)
    ends = arc.foot(x[..., [0, -1], :])
    first, last = ends[..., 0, :], ends[..., 1, :]
    normals = arc.normal(x[..., [0, x.shape[-2] // 2, -1], :])
    a, b, c = normals[..., 0, :], normals[..., 1, :], normals[..., 2, :]
    # In two steps, so that an arc of more than half a circle keeps its turn.
    turned = _angle(a, b) + _angle(b, c)
    normal = _rotated(a, turned / 2)
    between = last - first
    way = np.sign(-normal[..., 1] * between[..., 0] + normal[..., 0] * between[..., 1])
    way = np.where(way == 0, 1.0, way)
    turn = way * turned
    chord = np.linalg.norm(between, axis=-1)
    middle = (first + last) / 2 + normal * (chord / 2 * np.tan(turn / 4))[..., None]
    return Edge(arc, turn, first, last, middle, normal, chord)


def _angle(a: Array, b: Array) -> Array:
    return np.arctan2(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0], (a * b).sum(axis=-1))


def _rotated(a: Array, by: Array) -> Array:
    c, s = np.cos(by), np.sin(by)
    return np.stack([c * a[..., 0] - s * a[..., 1], s * a[..., 0] + c * a[..., 1]], axis=-1)


def _side(edge: Edge, solder: Array) -> Array:
    """How far the mark in the solder lies along the normal from the arc's middle."""
    return ((edge.arc.local(solder) - edge.middle) * edge.normal).sum(axis=-1)


def _fitted(points: Array) -> circle.Arc:
    refuse_coinciding(points)
    try:
        return circle.fit(points)
    except (circle.NoCircle, np.linalg.LinAlgError) as error:
        raise EdgeUnclear(
            "The marks along the edge follow no arc. Set them in order, from toe to top."
        ) from error


def _slopes(
    points: Sequence[Array], arc: circle.Arc, result: Callable[[circle.Arc, list[Array]], Array]
) -> list[Array]:
    """Slopes of a result by every coordinate of every mark, in the shapes of the marks.

    Each coordinate is moved a little both ways, and the circle fitted anew each time.

    Parameters
    ----------
    points : sequence of ndarray, shape (N, 2)
        The edge's marks first; then others.
    result : callable
        From circles and marks with a leading axis to results.
    """
    flat = np.concatenate([array.ravel() for array in points])
    rows = np.vstack(points)
    step = circle.NUDGE * hypot(*(rows.max(axis=0) - rows.min(axis=0)))
    moves = np.concatenate([np.eye(len(flat)), -np.eye(len(flat))]) * step
    moved = flat + moves
    parts, at = [], 0
    for array in points:
        parts.append(moved[:, at : at + array.size].reshape(-1, *array.shape))
        at += array.size
    try:
        values = result(circle.refit(parts[0], arc), parts)
    except circle.NoCircle as error:
        raise EdgeUnclear(
            "The marks along the edge follow no arc. Set them in order, from toe to top."
        ) from error
    slopes = (values[: len(flat)] - values[len(flat) :]) / (2 * step)
    cuts = np.cumsum([array.size for array in points])[:-1]
    parts = np.split(slopes, cuts)
    return [part.reshape(array.shape) for part, array in zip(parts, points, strict=True)]


def _about(edge: Edge, solder: Array, sigma: float) -> tuple[float, list[Remark], dict[str, float]]:
    """On which side of the edge the solder lies, what to say of the arc, and how to draw it."""
    side = float(_side(edge, solder))
    if abs(side) < 1e-6 * float(edge.chord):
        raise SideUnclear("Put the mark in the solder away from its edge, well inside.")
    remarks = []
    if abs(side) * edge.arc.reach < 2 * sigma:
        remarks.append(Remark.SIDE_NEAR)
    arc_deg = degrees(abs(float(edge.turn)))
    if arc_deg < SHORT_ARC_DEG:
        remarks.append(Remark.SHORT_ARC)
    also = {"arc_deg": arc_deg}
    for name, point in (("first", edge.first), ("middle", edge.middle), ("last", edge.last)):
        x, y = point * edge.arc.reach + edge.arc.origin
        also |= {f"{name}_x": float(x), f"{name}_y": float(y)}
    return (1.0 if side > 0 else -1.0), remarks, also


def fillet(points: Points, sigma: float, _scale: Scale | None, _said: Options) -> Read:
    """Sagitta over chord of the fitted arc: positive where it is hollow, negative where it bulges.

    With α the arc's angle, sagitta ÷ chord = tan(α/4)/2.
    """
    marks = points["edge"]
    arc = _fitted(marks)
    edge = _edge(arc, marks)
    side, remarks, also = _about(edge, points["solder"][0], sigma)

    def result(arcs: circle.Arc, moved: list[Array]) -> Array:
        return side * np.tan(_edge(arcs, moved[0]).turn / 4) / 2

    value = side * tan(float(edge.turn) / 4) / 2
    (by_edge,) = _slopes([marks], arc, result)
    return Read(value, "ratio", {"edge": by_edge}, remarks=tuple(remarks), also=also)


def wetting_angle(points: Points, sigma: float, _scale: Scale | None, _said: Options) -> Read:
    """Angle through the solder, 0 to 180°, between the base line and the edge where they meet."""
    marks, base = points["edge"], points["base"]
    solder = points["solder"][0]
    refuse_coinciding(base)
    arc = _fitted(marks)
    edge = _edge(arc, marks)
    side, remarks, also = _about(edge, solder, sigma)
    (bx, by), (px, py) = base[1] - base[0], solder - base[0]
    rise = float(bx * py - by * px) / distance(base)
    if abs(rise) < 1e-6 * distance(base):
        raise SideUnclear("Put the mark in the solder away from the base line, well inside.")
    if abs(rise) < 2 * sigma and Remark.SIDE_NEAR not in remarks:
        remarks.append(Remark.SIDE_NEAR)
    up = 1.0 if rise > 0 else -1.0

    def result(arcs: circle.Arc, moved: list[Array]) -> Array:
        crossing = _crossing(arcs, moved[0][..., 0, :], moved[1])
        into = side * arcs.normal(crossing)
        along = moved[1][..., 1, :] - moved[1][..., 0, :]
        along = along / np.linalg.norm(along, axis=-1, keepdims=True)
        off = up * np.stack([-along[..., 1], along[..., 0]], axis=-1)
        return pi - np.abs(_angle(off, into))

    crossing = _crossing(arc, marks[0], base)
    if not np.isfinite(crossing).all():
        raise EdgeMissesBase(
            "The edge does not meet the base line. Set the first mark at the toe, "
            "and the base line where the solder ends."
        )
    value = degrees(float(result(arc, [marks, base])))
    by_edge, by_base = _slopes([marks, base], arc, result)
    if not (np.isfinite(by_edge).all() and np.isfinite(by_base).all()):
        raise EdgeMissesBase(
            "The edge hardly meets the base line. Set the first mark at the toe, "
            "and the base line where the solder ends."
        )
    x, y = crossing * arc.reach + arc.origin
    also |= {"crossing_x": float(x), "crossing_y": float(y)}
    slopes = {"edge": degrees(1) * by_edge, "base": degrees(1) * by_base}
    return Read(value, "deg", slopes, remarks=tuple(remarks), also=also)


def _crossing(arc: circle.Arc, first: Array, base: Array) -> Array:
    """Where the circle crosses the base line nearest the first mark; NaN if nowhere."""
    start = arc.local(base[..., 0, :])
    along = arc.local(base[..., 1, :]) - start
    along = along / np.linalg.norm(along, axis=-1, keepdims=True)
    near = arc.local(first) - start
    foot = start + (near * along).sum(axis=-1, keepdims=True) * along
    # κt²/2 + (∇P·v)t + P = 0 along the line; the root with the smaller |t| is the nearer one.
    level, rate = arc.level(foot), (arc.slope(foot) * along).sum(axis=-1)
    with np.errstate(invalid="ignore", divide="ignore"):
        root = np.sqrt(rate * rate - 2 * arc.theta[..., 0] * level)
        t = -2 * level / (rate + np.where(rate < 0, -root, root))
    return foot + t[..., None] * along

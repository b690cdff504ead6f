"""Edges found in a photograph near a click, to half a pixel or better, for a grader to look at.

Classical image processing and nothing learnt: profiles across an edge, averaged along it, and the
place where they are steepest. What is found is a proposal; a grader accepts it or drags it.
Points are pixels of the picture given, x right and y down, (0, 0) at the upper left corner of the
first pixel, as everywhere in the product; scikit-image counts from that pixel's centre.
"""

from dataclasses import dataclass
from math import atan2, ceil, cos, hypot, pi, sin
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, gaussian_filter1d, map_coordinates
from skimage.graph import route_through_array
from skimage.measure import CircleModel, ransac

from assessments.exceptions import NoEdgeFound, PictureTooSmall

Array: TypeAlias = NDArray[np.float64]
Point: TypeAlias = tuple[float, float]

FEWEST_SIDE_PX = 64
SMOOTHED_PX = 1.2
"""Standard deviation of the smoothing before a slope is taken: noise of single pixels goes."""
LEAST_SLOPE = 0.006
"""Of an edge, in shares of full brightness a pixel; grain of a sound photograph lies below."""
NARROWEST_WIRE_PX = 8
LEAST_UNLIKE = 0.05
"""Of strands beside insulation, in shares of full brightness, on average over the wire's width."""
RIM = 0.15
"""Of the insulation's diameter: how wide the rounded rim at its end is at most."""
REACH = 0.16
"""How far from a click an edge is looked for, as a share of the picture's longer side."""


@dataclass(frozen=True, slots=True)
class WireFound:
    """Where a wire lies near a click.

    Attributes
    ----------
    edges : pair of points
        Across the wire, one on each edge.
    direction_rad : float
        Along the wire, from x towards y, 0 to pi.
    """

    edges: tuple[Point, Point]
    direction_rad: float

    @property
    def width_px(self) -> float:
        (x0, y0), (x1, y1) = self.edges
        return hypot(x1 - x0, y1 - y0)

    @property
    def middle(self) -> Point:
        (x0, y0), (x1, y1) = self.edges
        return (x0 + x1) / 2, (y0 + y1) / 2


@dataclass(frozen=True, slots=True)
class InsulationEndFound:
    """Where the insulation ends, and the wire's edges on the insulation behind that end."""

    end: Point
    across: tuple[Point, Point]


def prepared(picture: Array) -> Array:
    """A picture as the functions here take it.

    Parameters
    ----------
    picture : array_like, shape (height, width, 3)
        RGB, 0 to 255.

    Returns
    -------
    ndarray, shape (3, height, width)
        Smoothed, 0 to 1.

    Raises
    ------
    PictureTooSmall
        If a side has under 64 pixels.
    """
    pixels = np.asarray(picture, dtype=np.float32)
    assert pixels.ndim == 3, "RGB"  # noqa: S101 - the caller converts it
    if min(pixels.shape[:2]) < FEWEST_SIDE_PX:
        raise PictureTooSmall(FEWEST_SIDE_PX)
    return np.stack([gaussian_filter(pixels[..., c], SMOOTHED_PX) for c in range(3)]) / 255


def _sampled(picture: Array, x: Array, y: Array) -> Array:
    """Brightness of each colour at points, shape (3, *x.shape); beyond the border, the border's."""
    at = np.stack([y - 0.5, x - 0.5])
    return np.stack([map_coordinates(c, at, order=1, mode="nearest") for c in picture])


def _slope(profiles: Array) -> Array:
    """How steep colour profiles are along their last axis, for all colours together."""
    return np.sqrt((np.gradient(profiles, axis=-1) ** 2).sum(axis=0))


def _peak(values: Array, index: int) -> float:
    """The top of the parabola through a peak and its two neighbours."""
    if not 0 < index < len(values) - 1:
        return float(index)
    before, at, after = values[index - 1 : index + 2]
    bend = before - 2 * at + after
    return index + (0.5 * (before - after) / bend if bend < 0 else 0.0)


def _strongest(slope: Array) -> int:
    index = int(slope.argmax())
    if slope[index] < LEAST_SLOPE:
        raise NoEdgeFound
    return index


def find_wire(picture: Array, click: Point) -> WireFound:
    """Find both edges of the wire whose middle was clicked.

    Across every direction the picture is averaged along the wire; in the right one both edges
    are steepest.

    Parameters
    ----------
    picture : ndarray, shape (3, height, width)
        As `prepared` gives it.
    click : point
        On the wire, nearer to its middle than to an edge.

    Raises
    ------
    NoEdgeFound
    """
    reach = REACH * max(picture.shape[1:])
    half_length = reach / 5
    best: tuple[float, float] = (0.0, 0.0)
    for step, around in ((pi / 30, pi / 2), (pi / 180, pi / 30), (pi / 1080, pi / 180)):
        tried = best[1] + np.arange(-around, around + step / 2, step)
        best = max((_strength(picture, click, a, half_length, reach), a) for a in tried)
    if best[0] < LEAST_SLOPE:
        raise NoEdgeFound
    angle = best[1]
    edges = _edges_across(picture, click, angle, half_length, reach)
    return WireFound(edges, angle % pi)


def _across(picture: Array, click: Point, angle: float, half_length: float, reach: float) -> Array:
    """The profile at right angles to a direction, averaged along it; one pixel a step."""
    across = np.arange(-ceil(reach), ceil(reach) + 1.0)
    along = np.linspace(-half_length, half_length, 25)[:, None]
    x = click[0] + along * cos(angle) - across * sin(angle)
    y = click[1] + along * sin(angle) + across * cos(angle)
    return _sampled(picture, x, y).mean(axis=1)


def _strength(
    picture: Array, click: Point, angle: float, half_length: float, reach: float
) -> float:
    """How steep the weaker of the two edges is if the wire lies in this direction."""
    slope = _slope(_across(picture, click, angle, half_length, reach))
    middle = len(slope) // 2
    return float(min(slope[:middle].max(), slope[middle + 1 :].max()))


def _edges_across(
    picture: Array, click: Point, angle: float, half_length: float, reach: float
) -> tuple[Point, Point]:
    slope = _slope(_across(picture, click, angle, half_length, reach))
    middle = len(slope) // 2
    places = []
    for side in (-1, 1):
        outward = slope[middle::side]
        places.append(side * _peak(outward, _strongest(outward)))
    return tuple((click[0] - place * sin(angle), click[1] + place * cos(angle)) for place in places)  # type: ignore[return-value]


def find_insulation_end(picture: Array, click: Point) -> InsulationEndFound:
    """Find where the insulation ends, and its edges, from a click on it close to its end.

    Parameters
    ----------
    picture : ndarray, shape (3, height, width)
        As `prepared` gives it.
    click : point
        On the insulation, nearer to its middle than to an edge, and less than its diameter
        from where it ends.

    Raises
    ------
    NoEdgeFound
    """
    wire = find_wire(picture, click)
    width = wire.width_px
    if width < NARROWEST_WIRE_PX:
        raise NoEdgeFound
    found = [
        (*end, wire.direction_rad + turn)
        for turn in (0.0, pi)
        if (end := _end_along(picture, wire.middle, wire.direction_rad + turn, width))
    ]
    if not found:
        raise NoEdgeFound
    _level, away, angle = max(found)
    end = (wire.middle[0] + away * cos(angle), wire.middle[1] + away * sin(angle))
    return InsulationEndFound(end, wire.edges)


def _end_along(
    picture: Array, begin: Point, angle: float, width: float
) -> tuple[float, float] | None:
    """How unlike a wire becomes, and how far from a point; None if it goes on as it is there."""
    along = np.arange(-0.15 * width, 1.4 * width)
    across = np.linspace(-0.36 * width, 0.36 * width, 41)[:, None]
    x = begin[0] + along * cos(angle) - across * sin(angle)
    y = begin[1] + along * sin(angle) + across * cos(angle)
    seen = _sampled(picture, x, y)
    alike = np.median(seen[:, :, along < 0.15 * width], axis=2, keepdims=True)
    unlike = gaussian_filter1d(np.sqrt(((seen - alike) ** 2).sum(axis=0)).mean(axis=0), 1.0)
    level = np.quantile(unlike, 0.8)
    if level < LEAST_UNLIKE:
        return None
    beyond = unlike >= 0.5 * level
    run = max(int(0.2 * width), 3)
    # For good, and not only over a bright spot.
    starts = [
        k for k in range(len(beyond) - run) if beyond[k : k + run].mean() > 0.85 and beyond[k]
    ]
    if not starts:
        return None
    # A cut or melted edge has a rounded, bright rim. Where it drops to the strands is the end.
    slope = np.gradient(unlike)
    near = np.arange(max(starts[0] - 4, 1), min(starts[0] + int(RIM * width), len(slope) - 1))
    if not near.size:
        return float(level), float(along[starts[0]])
    peaks = near[(slope[near] >= slope[near - 1]) & (slope[near] > slope[near + 1])]
    last = max(peaks[slope[peaks] >= 0.5 * slope[near].max()], default=starts[0])
    return float(level), float(along[0] + _peak(slope, int(last)))


@dataclass(frozen=True, slots=True)
class PostFound:
    """Points on the edge of a round post, and the circle through them."""

    points: tuple[Point, ...]
    centre: Point
    radius_px: float


def find_post(picture: Array, click: Point, points: int = 8) -> PostFound:
    """Find the circle on whose edge a click lies, where a wire may hide a part of it.

    Its centre lies along the slope at the click; the radius is the one round which the picture
    is steepest.

    Raises
    ------
    NoEdgeFound
    """
    longest = max(picture.shape[1:])
    normal = _normal_at(picture, click)
    angles = np.linspace(0, 2 * pi, 180, endpoint=False)
    # Circles of every radius on both sides of an edge, (radius, side).
    radii = np.geomspace(0.01 * longest, 0.35 * longest, 110)
    off_edge = radii[:, None] * np.array([-1.0, 1.0])
    best = (0.0, 0.0, click)
    for offset in np.arange(-3.0, 3.5, 1.0):
        edge = (click[0] + offset * normal[0], click[1] + offset * normal[1])
        x, y = edge[0] + off_edge * normal[0], edge[1] + off_edge * normal[1]
        slope = _round_slopes(picture, x, y, radii[:, None], angles)
        # Steep over most of the circle, and not very steep on a part of it.
        strengths = np.quantile(slope, 0.4, axis=-1)
        at = np.unravel_index(strengths.argmax(), strengths.shape)
        if strengths[at] > best[0]:
            best = (float(strengths[at]), float(radii[at[0]]), (float(x[at]), float(y[at])))
    strength, radius, centre = best
    if strength < LEAST_SLOPE / 2:
        raise NoEdgeFound
    return _refined_circle(picture, centre, radius, points)


def _normal_at(picture: Array, click: Point) -> tuple[float, float]:
    """The direction in which the picture changes most about a click."""
    around = np.arange(-8, 9.0)
    x, y = np.meshgrid(click[0] + around, click[1] + around)
    patch = _sampled(picture, x, y)
    by_y, by_x = np.gradient(patch, axis=(1, 2))
    weight = np.exp(-(around[:, None] ** 2 + around[None, :] ** 2) / (2 * 4.0**2))
    xx, xy, yy = (
        (weight * (a * b).sum(axis=0)).sum() for a, b in ((by_x, by_x), (by_x, by_y), (by_y, by_y))
    )
    if xx + yy <= 0:
        raise NoEdgeFound
    angle = atan2(2 * xy, xx - yy) / 2
    return cos(angle), sin(angle)


def _round_slopes(picture: Array, x: Array, y: Array, radius: Array, angles: Array) -> Array:
    """How steep the picture is across circles about (x, y), along a last axis for the angles."""
    inner, outer = (
        _sampled(
            picture,
            x[..., None] + (radius + step)[..., None] * np.cos(angles),
            y[..., None] + (radius + step)[..., None] * np.sin(angles),
        )
        for step in (-1.0, 1.0)
    )
    return np.sqrt(((outer - inner) ** 2).sum(axis=0)) / 2


def _refined_circle(picture: Array, centre: Point, radius: float, points: int) -> PostFound:
    angles = np.linspace(0, 2 * pi, 180, endpoint=False)
    band = max(4.0, 0.06 * radius)
    steps = radius + np.arange(-ceil(band), ceil(band) + 1.0)
    x = centre[0] + steps[None, :] * np.cos(angles)[:, None]
    y = centre[1] + steps[None, :] * np.sin(angles)[:, None]
    slope = _slope(_sampled(picture, x, y))
    found = [
        (angle, steps[0] + _peak(row, int(row.argmax())))
        for angle, row in zip(angles, slope, strict=True)
        if row.max() >= LEAST_SLOPE and 0 < row.argmax() < len(row) - 1
    ]
    if len(found) < 20:
        raise NoEdgeFound
    edge = np.array([(centre[0] + r * cos(a), centre[1] + r * sin(a)) for a, r in found])
    model, kept = ransac(
        edge, CircleModel, min_samples=3, residual_threshold=1.0, max_trials=300, rng=1
    )
    if model is None or kept.sum() < 20:
        raise NoEdgeFound
    inliers = edge[kept]
    # Round the circle, so that the last does not lie on the first.
    chosen = inliers[np.linspace(0, len(inliers), points, endpoint=False).astype(int)]
    return PostFound(
        tuple((float(px), float(py)) for px, py in chosen),
        (float(model.center[0]), float(model.center[1])),
        float(model.radius),
    )


def find_edge_between(picture: Array, toe: Point, top: Point, points: int = 9) -> tuple[Point, ...]:
    """Find the edge of the solder from its toe to its top.

    The way that follows the steepest places between the two; then each point is moved across
    the way to where the picture is steepest.

    Raises
    ------
    NoEdgeFound
    """
    room = 0.5 * hypot(top[0] - toe[0], top[1] - toe[1]) + 8
    left, upper = int(max(min(toe[0], top[0]) - room, 0)), int(max(min(toe[1], top[1]) - room, 0))
    right, lower = ceil(max(toe[0], top[0]) + room), ceil(max(toe[1], top[1]) + room)
    part = picture[:, upper:lower, left:right]
    slope = np.sqrt(sum((g**2).sum(axis=0) for g in np.gradient(part, axis=(1, 2))))
    if not slope.size or slope.max() < LEAST_SLOPE:
        raise NoEdgeFound
    cost = 1 / (0.03 + slope / max(np.quantile(slope, 0.995), LEAST_SLOPE))

    def cell(point: Point) -> tuple[int, int]:
        return (
            int(np.clip(point[1] - upper, 0, cost.shape[0] - 1)),
            int(np.clip(point[0] - left, 0, cost.shape[1] - 1)),
        )

    way, _length = route_through_array(cost, cell(toe), cell(top), geometric=True)
    path = np.array([(column + left + 0.5, row + upper + 0.5) for row, column in way])
    if len(path) < 2 * points:
        raise NoEdgeFound
    path = gaussian_filter1d(path, 3.0, axis=0, mode="nearest")
    gone = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    # The ends stay a little away from the toe and the top, where two edges meet.
    at = np.interp(np.linspace(0.03, 0.97, points) * gone[-1], gone, np.arange(len(path)))
    return tuple(_onto_the_edge(picture, path, index) for index in at)


def _onto_the_edge(picture: Array, path: Array, index: float, room: int = 5) -> Point:
    steps = np.arange(len(path))
    here = np.array([np.interp(index, steps, path[:, axis]) for axis in (0, 1)])
    ahead, behind = (
        np.array(
            [
                np.interp(np.clip(index + by, 0, len(path) - 1), steps, path[:, axis])
                for axis in (0, 1)
            ]
        )
        for by in (6, -6)
    )
    way = (ahead - behind) / max(hypot(*(ahead - behind)), 1e-9)
    across = np.arange(-room, room + 1.0)
    along = np.arange(-2, 3.0)[:, None]
    x = here[0] + along * way[0] - across * way[1]
    y = here[1] + along * way[1] + across * way[0]
    slope = _slope(_sampled(picture, x, y).mean(axis=1))
    place = -room + _peak(slope, int(slope.argmax()))
    return float(here[0] - place * way[1]), float(here[1] + place * way[0])

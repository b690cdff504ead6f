"""The wire: how it runs, its bare strands, its insulation, and what tools do to both."""

from dataclasses import dataclass

import numpy as np

from .canvas import Canvas, Colour
from .frame import Crop, Field
from .light import Material, plastic
from .shapes import Bundle, away, bump, polar_deg, step, tube, twisted

INSULATIONS: dict[str, Colour] = {
    "white": (226, 222, 210),
    "red": (176, 34, 30),
    "blue": (38, 74, 150),
    "yellow": (222, 182, 44),
    "green": (44, 124, 66),
    "black": (42, 42, 44),
    "orange": (214, 104, 34),
    "violet": (110, 66, 138),
    "grey": (134, 138, 142),
}
STRAND_HARMS = ("strand_nicked", "strand_out", "birdcage")
SLEEVE_HARMS = ("insulation_burnt", "insulation_cut")


@dataclass(frozen=True)
class Wire:
    """A stranded wire; diameters in mm.

    The usual one is near AWG 22 in 19 strands; both diameters are recalled from catalogues.
    """

    conductor_mm: float = 0.762
    insulated_mm: float = 1.27
    outer: int = 12
    lay_mm: float = 8.5
    insulation: str = "white"
    metal: str = "silver"

    @property
    def w(self) -> float:
        """Radius of the conductor."""
        return self.conductor_mm / 2

    @property
    def sleeve(self) -> Material:
        return plastic(INSULATIONS[self.insulation])

    def bundle(self, s: Field, u: Field, grow: float = 1.0) -> Bundle:
        """Give the strands along an axis (s) and to its side (u)."""
        return twisted(u, s, self.w * grow, outer=self.outer, lay_mm=self.lay_mm)


@dataclass(frozen=True)
class Route:
    """The axis of a wire in a plane: straight in, round an arc clockwise, and straight out.

    Before the route is turned, the arc starts straight above its centre, where the wire
    arrives running right.

    Attributes
    ----------
    radius : float
        Of the arc, in mm.
    wrap_deg : float
        How far the wire follows the arc; `follow` draws at most one turn.
    tail_mm : float
        Straight run after the arc.
    centre : tuple of float
    start_deg : float
        Turns the whole route clockwise about its centre.
    """

    radius: float
    wrap_deg: float
    tail_mm: float = 0.0
    centre: tuple[float, float] = (0.0, 0.0)
    start_deg: float = 0.0

    @property
    def length_mm(self) -> float:
        """Length of the arc."""
        return float(np.radians(self.wrap_deg)) * self.radius

    def local(self, crop: Crop) -> tuple[Field, Field]:
        """Give the crop's x and y from the arc's centre, turned back by the start."""
        x, y = crop.x - np.float32(self.centre[0]), crop.y - np.float32(self.centre[1])
        if not self.start_deg:
            return x, y
        c, s = np.cos(np.radians(self.start_deg)), np.sin(np.radians(self.start_deg))
        return x * np.float32(c) + y * np.float32(s), y * np.float32(c) - x * np.float32(s)

    def follow(self, crop: Crop, *, lead: bool = True) -> tuple[Field, Field]:
        """Give each pixel's place along the axis from the arc's start, and to its outer side.

        Beyond both ends the side distance grows, so that a body drawn by it ends there.
        """
        x, y = self.local(crop)
        radius, far = np.float32(self.radius), np.float32(9.0)
        wrap = float(np.radians(self.wrap_deg))
        turn = np.arctan2(x, -y)
        turn += (turn < 0) * np.float32(2 * np.pi)
        s, u = turn * radius, away(x, y) - radius
        u += (turn > wrap) * far
        if lead:
            beside = -y - radius
            before = (x <= 0) & (np.abs(beside) < np.abs(u))
            np.copyto(s, x, where=before)
            np.copyto(u, beside, where=before)
        end = polar_deg(self.wrap_deg, self.radius)
        sin, cos = np.float32(np.sin(wrap)), np.float32(np.cos(wrap))
        dx, dy = x - np.float32(end[0]), y - np.float32(end[1])
        along, beside = dx * cos + dy * sin, dx * sin - dy * cos
        over = np.maximum(along - np.float32(self.tail_mm), 0)
        reach = away(beside, over)
        reach += (along < 0) * far
        after = reach < np.abs(u)
        np.copyto(s, along + np.float32(self.length_mm), where=after)
        np.copyto(u, np.copysign(reach, beside), where=after)
        return s, u

    def to_work(self, points: list[tuple[float, float]]) -> list[tuple[float, float]]:
        """Give points on the work from points in the route's own frame."""
        c = float(np.cos(np.radians(self.start_deg)))
        s = float(np.sin(np.radians(self.start_deg)))
        return [(self.centre[0] + x * c - y * s, self.centre[1] + x * s + y * c) for x, y in points]


def lay_strands(
    canvas: Canvas,
    crop: Crop,
    wire: Wire,
    s: Field,
    u: Field,
    *,
    harm: str | None = None,
    harm_at: float = 0.0,
) -> Bundle:
    """Lay the bare conductor along an axis, with its harm if it has one, and give its strands."""
    bundle = wire.bundle(s, u)
    if harm == "birdcage":
        _lay_birdcage(canvas, crop, wire, s, u, harm_at)
        return bundle
    edge = np.abs(u) - np.float32(wire.w)
    height = bundle.height(1.0) + canvas.rough(crop, 0.034) * np.float32(0.002)
    cover = crop.cover(edge)
    canvas.shade(crop, edge, 0.22, 0.62)
    if harm == "strand_nicked":
        cut = bump(s, harm_at, 0.085) * step(u, 0.14, -0.10)
        height -= cut * np.float32(0.26)
    canvas.lay(crop, height, wire.metal, cover)
    if harm == "strand_nicked":
        bared = np.minimum(bump(s, harm_at, 0.17) * step(u, 0.18, -0.04) * 2, 1)
        canvas.lay(crop, height, "copper", bared * cover)
        canvas.tint(crop, (14, 8, 6), np.clip(cut * 1.7 - 0.7, 0, 0.9) * cover)
    if harm == "strand_out":
        _lay_stray(canvas, crop, wire, s, u, harm_at)
    return bundle


def _lay_stray(canvas: Canvas, crop: Crop, wire: Wire, s: Field, u: Field, start: float) -> None:
    """Lay one strand that has left the bundle and stands off to its outer side."""
    radius = np.float32(wire.w * 0.20)
    t = np.clip(s - np.float32(start), 0, None)
    bend = np.float32(wire.w * 0.55) + t * t * np.float32(1.25)
    slope = 1 / np.sqrt(1 + (t * np.float32(2.5)) ** 2)
    beside = np.abs(u - bend) * slope
    beyond = np.maximum(t - np.float32(0.86), np.float32(start) - s - np.float32(0.02))
    edge = np.maximum(beside - radius, beyond)
    canvas.shade(crop, edge, 0.16, 0.7, 1.0)
    canvas.lay(crop, tube(beside, float(radius)), wire.metal, crop.cover(edge))


def _lay_birdcage(
    canvas: Canvas, crop: Crop, wire: Wire, s: Field, u: Field, middle: float
) -> None:
    """Lay strands that bulge apart from one another."""
    swell = 1 + np.float32(0.95) * bump(s, middle, 0.42)
    radius = np.float32(np.pi * wire.w / wire.outer * 0.86)
    inner = np.abs(u) - np.float32(wire.w * 0.62)
    core = crop.cover(inner)
    canvas.shade(crop, inner, 0.3, 0.7)
    canvas.lay(crop, tube(np.abs(u), wire.w * 0.62), wire.metal, core)
    canvas.tint(crop, (16, 14, 12), core * np.float32(0.55) * bump(s, middle, 0.5))
    height, gap = np.full_like(u, -1.0), np.full_like(u, 9.0)
    reach = swell * np.float32(wire.w - radius)
    for strand in range(wire.outer):
        turn = s * np.float32(2 * np.pi / wire.lay_mm) + np.float32(
            2 * np.pi * strand / wire.outer + 0.25 * (strand % 3)
        )
        rise = np.cos(turn)
        beside = np.abs(u - reach * np.sin(turn)) + (rise < -0.25) * np.float32(9)
        body = rise * reach + tube(beside, float(radius))
        np.copyto(height, body, where=(beside < radius) & (body > height))
        np.minimum(gap, beside, out=gap)
    canvas.shade(crop, gap - radius, 0.16, 0.75)
    canvas.lay(crop, height, wire.metal, crop.cover(gap - radius))


def lay_insulation(
    canvas: Canvas,
    crop: Crop,
    wire: Wire,
    s: Field,
    u: Field,
    *,
    end: float,
    begin: float,
    harm: str | None = None,
) -> None:
    """Lay the insulation along a straight axis to its end, with its harm if it has one."""
    radius = np.float32(wire.insulated_mm / 2)
    beside = np.abs(u)
    beyond = s - np.float32(end) + canvas.rough(crop, 0.034) * np.float32(0.010)
    grow: Field = np.full_like(u, radius)
    if harm == "insulation_burnt":
        beyond += canvas.rough(crop, 0.14) * np.float32(0.10)
        grow += radius * np.float32(0.13) * bump(beyond, -0.16, 0.20)
        grow += np.float32(0.03) * canvas.rough(crop, 0.07) * step(beyond, -0.8, -0.1)
    edge = np.maximum(np.maximum(beside - grow, beyond), np.float32(begin) - s)
    cover = crop.cover(edge)
    canvas.shade(crop, edge, 0.34, 0.62)
    across = np.minimum(beside / grow, np.float32(1))
    height = np.sqrt(1 - across * across) * radius
    height -= np.float32(0.05) * bump(beyond, 0.0, 0.05)
    height += canvas.rough(crop, 0.27) * np.float32(0.007)
    height += canvas.rough(crop, 0.034) * np.float32(0.0006)
    if harm == "insulation_cut":
        slit = np.abs(s - np.float32(end + -0.85) - u * np.float32(0.28))
        slit += canvas.rough(crop, 0.07) * np.float32(0.012)
        opened = step(u, -wire.insulated_mm * 0.125, wire.insulated_mm * 0.1)
        height -= np.maximum(np.float32(0.18) - slit, 0) * opened
    if harm == "insulation_burnt":
        height += canvas.rough(crop, 0.07) * np.float32(0.03) * step(beyond, -0.7, -0.1)
    canvas.lay(crop, height, wire.sleeve, cover)
    canvas.tint(crop, (20, 18, 16), bump(beyond, 0.0, 0.035) * cover * np.float32(0.45))
    if harm == "insulation_cut":
        canvas.tint(crop, (24, 18, 14), step(slit, 0.13, 0.08) * opened * cover)
        core = step(slit, 0.09, 0.06) * opened * cover * (beside < np.float32(wire.w * 1.05))
        canvas.lay(crop, wire.bundle(s, u).height(1.0), "copper", core)
    if harm == "insulation_burnt":
        scorch = beyond + canvas.rough(crop, 0.14) * np.float32(0.12)
        canvas.tint(crop, (104, 62, 26), step(scorch, -1.15, -0.45) * cover * np.float32(0.72))
        canvas.lay(crop, height, "char", step(scorch, -0.55, -0.12) * cover * np.float32(0.94))

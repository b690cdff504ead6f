"""A turret terminal seen from the side, with one wire or two.

The wire arrives from the left behind the post, goes round its right side and comes to the front.
"""

from dataclasses import dataclass

import numpy as np

from .frame import Crop, Field
from .job import Job, Truth
from .residue import lay_flux, lay_icicle
from .shapes import FilletArc, away, smooth_max, step
from .side import lay_board_edge, lay_dirt, lay_drum
from .solder import lay_beads, lay_solder
from .turret_top import BASE, LAND, POST, wrap_for
from .wire import SLEEVE_HARMS, STRAND_HARMS, lay_insulation, lay_strands

FLOOR, LOWER, MIDDLE, UPPER, TOP = 0.30, 1.36, 1.56, 2.62, 2.90  # heights above the board


@dataclass(frozen=True)
class Turn:
    """A wire round the post.

    Attributes
    ----------
    floor : float
        Height of what it should lie on.
    lift : float
        Gap between that and the wire.
    wrap_deg : float
    """

    floor: float
    lift: float
    wrap_deg: float


def draw_turret_side(job: Job) -> Truth:
    """Draw a turret with one wire in its lowest section."""
    lift = job.between(0.20, 0.27) if job.fault == "wire_not_on_base" else 0.0
    turn = Turn(FLOOR, lift, wrap_for(job))
    lay_board_edge(job, LAND, job.board)
    lay_behind(job, turn)
    lay_post(job)
    return lay_front(job, turn)


def draw_turret_two_side(job: Job) -> Truth:
    """Draw a turret with a wire in each section: the lower good, the upper with the fault."""
    lift = job.between(0.20, 0.27) if job.fault == "wire_not_on_base" else 0.0
    below = job.sound_copy()
    below.clearance_mm = max(below.clearance_mm, 1.0)
    lower = Turn(FLOOR, 0.0, wrap_for(below))
    upper = Turn(MIDDLE, lift, wrap_for(job))
    lay_board_edge(job, LAND, job.board)
    lay_behind(below, lower)
    lay_behind(job, upper)
    lay_post(job, 2.0)
    wires = [lay_front(below, lower), lay_front(job, upper)]
    return {**wires[1], "wires": wires}


def lay_post(job: Job, flange: float = 1.02) -> None:
    """Lay the post with its flanges."""
    lay_drum(job, POST, FLOOR, TOP, round_mm=0.02)
    lay_drum(job, BASE, 0.0, FLOOR, round_mm=0.10)
    lay_drum(job, flange, LOWER, MIDDLE, round_mm=0.08)
    lay_drum(job, 0.93, UPPER, TOP, round_mm=0.12)
    if job.fault in ("nonwetted", "dewetted", "insufficient"):
        lay_dirt(job, POST, FLOOR, LOWER)


def axis_y(job: Job, turn: Turn) -> float:
    """Give the height of the wire's axis as y."""
    return -(turn.floor + turn.lift + job.wire.w)


def lay_behind(job: Job, turn: Turn) -> None:
    """Lay the wire's straight run, which passes behind the post, and its insulation."""
    wire, gap, axis = job.wire, job.clearance_mm, axis_y(job, turn)
    crop = job.frame.crop([(-gap - 0.4, axis), (POST, axis)], wire.w + 0.5)
    if crop is not None:
        s = crop.x
        u = np.float32(axis) - crop.y + np.where(s > 0, np.float32(9), np.float32(0))
        harm, seen = job.harm(*STRAND_HARMS), -(gap + POST) / 2 - 0.1
        lay_strands(job.canvas, crop, wire, s, u, harm=harm, harm_at=seen)
        if job.fault not in ("insufficient", "nonwetted"):
            wick = step(s + job.canvas.rough(crop, 0.27) * np.float32(0.06), -POST - 0.4, -POST)
            height = wire.bundle(s, u).height(job.solder.relief)
            edge = np.abs(u) - np.float32(wire.w + 0.01)
            lay_solder(job.canvas, crop, job.solder, height, edge, wick)
    side = wire.insulated_mm / 2 + 0.2
    crop = job.frame.crop([(-14, axis - side), (-gap + 0.3, axis + side)], 0.1)
    if crop is not None:
        u = np.float32(axis) - crop.y
        lay_insulation(
            job.canvas,
            crop,
            wire,
            crop.x,
            u,
            end=-gap,
            begin=-job.wire_reach,
            harm=job.harm(*SLEEVE_HARMS),
        )


def lay_front(job: Job, turn: Turn) -> Truth:
    """Lay the wire's run round the front with the solder, and say where everything is."""
    wire, solder, axis = job.wire, job.solder, axis_y(job, turn)
    floor = turn.floor + (turn.lift if job.fault == "wire_not_on_base" else 0.0)
    radius, w = POST + wire.w, wire.w
    reach = radius + w + solder.run_mm + 0.15
    corners = [(-reach, -floor - 2 * w - 0.6), (reach, -turn.floor + 0.1)]
    crop = job.frame.crop([*corners, (-reach, corners[1][1]), (reach, corners[0][1])], 0.1)
    arc = _outer_arc(job)
    if crop is not None:
        _lay_band(job, crop, turn, arc)
    return _truth(job, turn, arc, floor, radius, axis)


def _outer_arc(job: Job) -> FilletArc:
    """Give the fillet's edge on the wire's outer side; x from the post's axis, y from the floor."""
    solder, w = job.solder, job.wire.w
    radius = POST + w
    top_x, top_y = (0.35, 2.05) if solder.bulges else (0.99, 1.10)
    return FilletArc.within(
        radius + w + solder.run_mm, radius + top_x * w, top_y * w, solder.sagitta_by_chord
    )


def _lay_band(job: Job, crop: Crop, turn: Turn, arc: FilletArc) -> None:
    """Lay strands and solder of the wire's front half turn."""
    canvas, wire, solder = job.canvas, job.wire, job.solder
    w, radius = np.float32(wire.w), np.float32(POST + wire.w)
    v = np.float32(axis_y(job, turn)) - crop.y
    ring = radius + np.sqrt(np.maximum(w * w - v * v, 0))
    end = float(radius) * float(np.sin(np.radians(max(turn.wrap_deg, 90.0))))
    if turn.wrap_deg > 270:
        end = -9.0
    short = np.float32(end) - crop.x
    ahead = np.sqrt(np.maximum(ring * ring - crop.x * crop.x, 0))
    s = -radius * np.arcsin(np.clip(crop.x / ring, -1, 1))
    bundle = wire.bundle(s, v)
    edge = away(np.maximum(np.abs(v), 0), np.maximum(short, 0)) - w
    edge = np.maximum(edge, np.abs(crop.x) - ring)
    relief = np.maximum(ahead - (w - bundle.height(1.0)) * np.float32(0.9), 0)
    canvas.shade(crop, edge, 0.2, 0.6)
    canvas.lay(crop, relief, wire.metal, crop.cover(edge))
    up = -crop.y - np.float32(turn.floor + (turn.lift if turn.lift else 0.0))
    body, outline = _solder_body(job, crop, up, ring, short, arc, v)
    ridge = (w - bundle.height(solder.relief)) * (np.abs(v) < w) * np.float32(0.9)
    depth = np.sqrt(np.maximum(body * body - crop.x * crop.x, 0))
    depth = np.maximum(depth - ridge * (short < w), 0)
    if job.fault == "nonwetted":
        outline = np.maximum(outline, crop.x - np.float32(0.35) + canvas.rough(crop, 0.27) * 0.1)
    if job.fault == "insufficient":
        outline = np.maximum(outline, np.float32(0.2) - crop.x + canvas.rough(crop, 0.27) * 0.1)
    if job.fault == "dewetted":
        lay_beads(canvas, crop, crop.cover(outline))
    else:
        lay_solder(canvas, crop, solder, depth, outline)
    if job.fault == "flux_residue":
        lay_flux(canvas, crop, outline, 0.35)
    if job.fault == "icicle":
        root, tip = (0.9, -turn.floor - 0.55), (2.1, -turn.floor - 1.5)
        spike = job.frame.crop([root, tip], 0.5)
        if spike is not None:
            lay_icicle(canvas, spike, root, tip, 0.30)


def _solder_body(
    job: Job, crop: Crop, up: Field, ring: Field, short: Field, arc: FilletArc, v: Field
) -> tuple[Field, Field]:
    """Give the solder's radius about the post at each pixel, and the distance from its edge."""
    solder, w = job.solder, job.wire.w
    tall = 2 * w
    coat = np.float32(0.05 if job.fault == "excess" else 0.012)
    wired = np.where((np.abs(v) < w) & (ring > 0), ring + coat, np.float32(POST))
    lower = np.where((up >= 0) & (up <= arc.top_y), arc.extent(up), np.float32(POST))
    bare = FilletArc(POST + solder.run_mm * 1.2, POST, tall * 0.9, solder.sagitta_by_chord)
    plain = np.where((up >= 0) & (up <= bare.top_y), bare.extent(up), np.float32(POST))
    climb = 0.10 if job.fault == "insufficient" else 0.26
    upper = FilletArc(climb, 0.0, climb, solder.sagitta_by_chord)
    above = up - np.float32(tall * 0.86)
    high = np.float32(POST) + np.where(
        (above >= 0) & (above <= climb), upper.extent(above), np.float32(0)
    )
    full = np.maximum(wired, high)
    full = smooth_max(full, lower, 0.03) if job.fault != "insufficient" else np.maximum(full, 0)
    near = step(short, solder.run_mm, -0.05)
    body = plain + (full - plain) * near
    roof = np.float32(tall * 0.86 + climb) * near + np.float32(bare.top_y) * (1 - near)
    outline = np.maximum(np.abs(crop.x) - body, np.maximum(-up, up - roof))
    return body, outline


def _truth(job: Job, turn: Turn, arc: FilletArc, floor: float, radius: float, axis: float) -> Truth:
    """Say where everything is, from what it was drawn by."""
    wire, gap = job.wire, job.clearance_mm

    def on_floor(x: float, y: float) -> tuple[float, float]:
        return job.px((x, -floor - y))

    truth = job.clearance_truth(job.px((-gap, axis)), job.px((0, axis)))
    truth |= {
        "wrap_deg": turn.wrap_deg,
        "wire_above_base_mm": turn.lift,
        "wire_bottom_px": job.px((0, axis + wire.w)),
        "base_px": job.px((0, -turn.floor)),
        "across_wire_px": [
            job.px((-gap - 0.4, axis - wire.insulated_mm / 2)),
            job.px((-gap - 0.4, axis + wire.insulated_mm / 2)),
        ],
    }
    if job.fault in ("insufficient", "dewetted", "nonwetted"):
        return truth
    return truth | {
        "fillet_points_px": [on_floor(float(x), float(y)) for x, y in arc.points(9)],
        "fillet_inside_px": on_floor(*(float(part) for part in arc.inside())),
        "base_line_px": [on_floor(arc.toe_x + 0.3, 0), on_floor(radius, 0)],
        "fillet_sagitta_by_chord": arc.sagitta_by_chord,
        "wetting_angle_deg": arc.wetting_angle_deg,
    }

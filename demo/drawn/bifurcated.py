"""A bifurcated terminal seen from above: the wire through its slot, then round one tine."""

import numpy as np

from .frame import Crop, Field
from .job import Job, Truth
from .shapes import away, smooth_max, step
from .turret_top import lay_ground, lay_sleeve, wire_truth
from .wetting import Contact, lay_joint, lay_point
from .wire import STRAND_HARMS, Route, lay_strands

HALF, DEEP, CORNER = 0.78, 1.42, 0.30  # half length of a tine along the wire, its outer side, mm


def draw_bifurcated(job: Job) -> Truth:
    """Draw the terminal with a wire bent round the corner of its lower tine."""
    wire, gap = job.wire, job.clearance_mm
    wrap = job.between(20, 52) if job.fault == "wrap_short" else job.between(90, 93)
    tail = 0.25 if job.fault == "wrap_short" else job.between(0.30, 0.45)
    radius = wire.w + CORNER
    route = Route(radius, wrap, tail, centre=(HALF - CORNER, radius))
    before = 2 * HALF - CORNER
    lay_ground(job)
    run = job.solder.run_mm * (1.9 if job.solder.bulges else 1.4)
    reach = HALF + 2 * wire.w + run
    low, high = -DEEP - run, max(DEEP, radius + tail + wire.w) + run
    corners = [(-HALF - max(gap, 0) - 0.3, low), (reach, low), (reach, high), (-reach, high)]
    flooded = 0.95 if job.fault == "flux_residue" else 0.08
    crop = job.frame.crop([*corners, (-HALF - max(gap, 0) - 0.3, high)], flooded)
    if crop is not None:
        s, u = route.follow(crop)
        s = s + np.float32(before)
        bundle = lay_strands(
            job.canvas, crop, wire, s, u, harm=job.harm(*STRAND_HARMS), harm_at=-gap * 0.55
        )
        tines = tine_distance(crop, wire.w, 0.5 if job.solder.bulges else 0.0)
        length = before + route.length_mm + 0.3
        lay_joint(job, crop, Contact(s, u, bundle, tines, length))
    lay_tines(job)
    lay_sleeve(job, Route(radius, wrap, tail, (-HALF, radius)))
    lay_point(job, job.between(140, 200), 1.3)
    truth = wire_truth(job, route)
    insulation, contact = job.px((-HALF - gap, 0)), job.px((-HALF, 0))
    half = wire.insulated_mm / 2
    return {
        **truth,
        **job.clearance_truth(insulation, contact),
        "across_wire_px": [job.px((-HALF - gap - 0.4, -half)), job.px((-HALF - gap - 0.4, half))],
    }


def tine_distance(crop: Crop, slot_half: float, blend: float = 0.0) -> Field:
    """Give the distance from the two tines' walls."""
    middle, half = (slot_half + DEEP) / 2, (DEEP - slot_half) / 2
    qx = np.abs(crop.x) - np.float32(HALF - CORNER)
    both = []
    for side in (-middle, middle):
        qy = np.abs(crop.y - np.float32(side)) - np.float32(half - CORNER)
        outside = away(np.maximum(qx, 0), np.maximum(qy, 0))
        both.append(np.float32(CORNER) - outside - np.minimum(np.maximum(qx, qy), 0))
    return -smooth_max(both[0], both[1], blend) if blend else -np.maximum(*both)


def lay_tines(job: Job) -> None:
    """Lay the tops of the two tines, nearer the lens than all else."""
    crop = job.frame.crop([(-HALF, -DEEP), (HALF, -DEEP), (HALF, DEEP), (-HALF, DEEP)], 0.4)
    if crop is None:
        return
    canvas, edge = job.canvas, tine_distance(crop, job.wire.w)
    height = np.float32(0.12) * step(edge, 0.0, -0.16)
    milled = np.sin((crop.x + crop.y * np.float32(0.12)) * np.float32(92))
    height += milled * np.float32(0.0016) * (1 + canvas.rough(crop, 0.14) * np.float32(0.4))
    height += canvas.rough(crop, 0.27) * np.float32(0.004)
    canvas.shade(crop, edge, 0.36, 0.72, 0.35)
    canvas.lay(crop, height, job.terminal, crop.cover(edge, 1.5))

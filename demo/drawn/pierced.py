"""A pierced terminal seen from above: the wire through its eye, then round its edge.

The terminal is a plate that stands upright, with round edges; its top hides the eye.
"""

import numpy as np

from .frame import Crop, Field
from .job import Job, Truth
from .shapes import away, step
from .turret_top import lay_ground, lay_sleeve, wire_truth
from .wetting import Contact, lay_joint, lay_point
from .wire import STRAND_HARMS, Route, lay_strands

THICK = 0.40  # half of the plate's thickness, and the radius of its edges, in mm


def draw_pierced(job: Job) -> Truth:
    """Draw the terminal with a wire that goes through the eye and back round the edge."""
    wire, gap = job.wire, job.clearance_mm
    wrap = job.between(25, 62) if job.fault == "wrap_short" else job.between(165, 215)
    tail = 0.45 if job.fault == "wrap_short" else job.between(0.15, 0.30)
    radius = wire.w + THICK
    route = Route(radius, wrap, tail, centre=(0.0, radius))
    lay_ground(job)
    far = radius + wire.w + job.solder.run_mm * 1.9 + tail
    left = -THICK - max(gap, 0) - 0.3
    corners = [(left, -far), (far, -far), (far, radius + far), (left, radius + far)]
    crop = job.frame.crop(corners, 0.95 if job.fault == "flux_residue" else 0.08)
    if crop is not None:
        s, u = route.follow(crop)
        s = s + np.float32(THICK)
        bundle = lay_strands(
            job.canvas, crop, wire, s, u, harm=job.harm(*STRAND_HARMS), harm_at=-gap * 0.55
        )
        wall = plate_distance(crop, radius)
        length = THICK + route.length_mm
        lay_joint(job, crop, Contact(s, u, bundle, wall, length, centre=(0.0, radius)))
    lay_plate(job, radius)
    lay_sleeve(job, Route(radius, wrap, tail, (-THICK, radius)))
    lay_point(job, job.between(60, 110), 1.0)
    truth = wire_truth(job, route)
    insulation, contact = job.px((-THICK - gap, 0)), job.px((-THICK, 0))
    across, half = -THICK - gap - 0.4, wire.insulated_mm / 2
    return {
        **truth,
        **job.clearance_truth(insulation, contact),
        "across_wire_px": [job.px((across, -half)), job.px((across, half))],
    }


def plate_distance(crop: Crop, edge_mm: float) -> Field:
    """Give the distance from the plate's wall; `edge_mm` is where the round of an edge begins."""
    along = np.maximum(np.abs(crop.y) - np.float32(edge_mm), 0)
    return away(crop.x, along) - np.float32(THICK)


def lay_plate(job: Job, edge_mm: float) -> None:
    """Lay the plate's top, nearer the lens than all else."""
    end = edge_mm + THICK
    crop = job.frame.crop([(-THICK, -end), (THICK, -end), (THICK, end), (-THICK, end)], 0.4)
    if crop is None:
        return
    canvas, edge = job.canvas, plate_distance(crop, edge_mm)
    height = np.float32(0.10) * step(edge, 0.0, -0.14)
    rolled = np.sin((crop.y + crop.x * np.float32(0.08)) * np.float32(84))
    height += rolled * np.float32(0.0014) * (1 + canvas.rough(crop, 0.14) * np.float32(0.4))
    height += canvas.rough(crop, 0.27) * np.float32(0.004)
    canvas.shade(crop, edge, 0.36, 0.72, 0.35)
    canvas.lay(crop, height, job.terminal, crop.cover(edge, 1.5))

"""A hook terminal seen along its rod, where it bends over: the wire hangs in the bend.

The rod comes towards the camera at the bend and goes down again in front; the wire arrives
from above, passes under the bend and comes up on the other side.
"""

import numpy as np

from .job import Job, Truth
from .pieces import land_with_base
from .residue import lay_icicle
from .shapes import away, polar_deg
from .side import lay_board_edge, lay_drum
from .turret_top import lay_sleeve, wire_truth
from .wetting import Contact, lay_joint
from .wire import (
    SLEEVE_HARMS,
    STRAND_HARMS,
    Route,
    lay_insulation,
    lay_strands,
)

ROD, BEND, TIP = 0.50, -2.75, -1.85  # radius of the rod; y of the bend's middle and of the tip
COLLAR, LAND = 1.05, 1.6


def draw_hook(job: Job) -> Truth:
    """Draw the hook with its wire."""
    wire, gap = job.wire, job.clearance_mm
    wrap = job.between(95, 145) if job.fault == "wrap_short" else job.between(195, 250)
    if job.fault == "wrap_long":
        wrap = job.between(318, 340)
    start = job.between(138, 150)
    route = Route(ROD + wire.w, wrap, 0.12, centre=(0.0, BEND), start_deg=start)
    lay_board_edge(job, LAND, job.board)
    lay_drum(job, ROD, 0.0, -BEND, round_mm=0.02)
    lay_drum(job, COLLAR, 0.0, 0.42, round_mm=0.12)
    far = route.radius + wire.w + job.solder.run_mm * 1.2
    box = [(-far, BEND - far), (far, BEND - far), (far, BEND + far), (-far, BEND + far)]
    lead = route.to_work([(-max(gap, 0) - 0.3, -route.radius)])
    crop = job.frame.crop([*box, *lead], 0.95 if job.fault == "flux_residue" else 0.3)
    if crop is not None:
        s, u = route.follow(crop)
        bundle = lay_strands(
            job.canvas, crop, wire, s, u, harm=job.harm(*STRAND_HARMS), harm_at=-gap * 0.55
        )
        wall = away(crop.x, crop.y - np.float32(BEND)) - np.float32(ROD)
        contact = Contact(s, u, bundle, wall, route.length_mm, based=False, centre=(0.0, BEND))
        lay_joint(job, crop, contact)
    lay_front(job)
    lay_sleeve(job, route)
    if job.fault == "icicle":
        root = polar_deg(start + wrap * 0.5, route.radius)
        tip = (root[0] * 1.3, BEND + root[1] + job.between(1.4, 1.7))
        spike = job.frame.crop([(root[0], BEND + root[1]), tip], 0.5)
        if spike is not None:
            lay_icicle(job.canvas, spike, (root[0], BEND + root[1] + 0.1), tip, 0.30)
    return wire_truth(job, route)


def lay_front(job: Job) -> None:
    """Lay the bend's top and the leg that comes down in front of the wire."""
    corners = [(-ROD, BEND - ROD), (ROD, BEND - ROD), (-ROD, TIP), (ROD, TIP)]
    crop = job.frame.crop(corners, 0.4)
    if crop is None:
        return
    canvas = job.canvas
    above = np.maximum(np.float32(BEND) - crop.y, 0)
    below = np.maximum(crop.y - np.float32(TIP - 0.2), 0)
    rho = away(crop.x, np.maximum(above, below * np.float32(ROD / 0.2)))
    height = np.sqrt(np.maximum(np.float32(ROD**2) - rho * rho, 0))
    height += canvas.rough(crop, 0.14) * np.float32(0.002)
    edge = np.maximum(rho - np.float32(ROD), crop.y - np.float32(TIP))
    canvas.shade(crop, edge, 0.30, 0.7, 0.35)
    canvas.lay(crop, height, job.terminal, crop.cover(edge, 1.4))


def draw_hook_top(job: Job) -> Truth:
    """Draw the hook from straight above, as on a photograph of a whole board."""
    canvas, wire, gap = job.canvas, job.wire, job.clearance_mm
    canvas.stamp(land_with_base(canvas.light, job.terminal, job.frame.px_per_mm, LAND, COLLAR, 0))
    crop = job.frame.crop([(-max(gap, 0) - 0.5, -2.0), (1.4, 1.6)], 0.4)
    if crop is not None:
        s, u = crop.x + np.float32(ROD), -crop.y
        u = np.copysign(away(u, np.maximum(s - np.float32(2 * ROD + 0.4), 0) * 2), u)
        lay_strands(canvas, crop, wire, s, u, harm=job.harm(*STRAND_HARMS), harm_at=-gap * 0.55)
        along = np.abs(crop.y - np.float32(0.1)) - np.float32(0.75)
        edge = away(crop.x, np.maximum(along, 0)) - np.float32(ROD)
        height = np.sqrt(np.maximum(np.float32(ROD**2) - crop.x * crop.x, 0))
        canvas.shade(crop, edge, 0.4, 0.7)
        canvas.lay(crop, height, job.terminal, crop.cover(edge))
    end = -gap - ROD
    far = -job.wire_reach - 0.4
    crop = job.frame.crop([(far, -0.9), (end + 0.3, -0.9), (end + 0.3, 0.9), (far, 0.9)])
    if crop is not None:
        harm = job.harm(*SLEEVE_HARMS)
        lay_insulation(
            canvas, crop, wire, crop.x, -crop.y, end=end, begin=-job.wire_reach, harm=harm
        )
    return {}

"""A solder cup seen into its opening, lying along the photograph with its mouth to the left."""

import numpy as np

from .frame import Crop, Field
from .job import Job, Truth
from .residue import lay_flux, lay_icicle
from .shapes import away, bump, smooth_max, step
from .solder import lay_solder
from .wire import SLEEVE_HARMS, STRAND_HARMS, lay_insulation, lay_strands

OUTER, INNER = 1.06, 0.84  # radii
BOTTOM, END = 3.75, 4.25  # x of the cup's inner bottom and of its outer end; the lip is at 0
SCOOP = 0.85  # x from which the opening closes, over 1.05 mm
WINDOW, PIN = 2.85, 0.56  # x of the inspection hole; radius of the contact behind the cup


def draw_cup(job: Job) -> Truth:
    """Draw the cup with its wire."""
    level = job.between(0.08, 0.18)
    if job.fault == "cup_underfilled":
        level = job.between(1.20, 1.50)
    seat = BOTTOM - 0.05
    if job.fault == "cup_not_seated":
        seat = job.between(0.80, 1.15)
    if job.alone:
        lay_housing(job)
    crop = job.frame.crop([(-0.7, -1.5), (END, -1.5), (END, 1.5), (-0.7, 1.5)], 0.8)
    if crop is not None:
        lay_inside(job, crop)
        lay_wire(job, seat)
        lay_fill(job, crop, level, seat)
        lay_shell(job, crop)
        lay_spill(job, crop)
    lay_sleeve(job)
    return _truth(job, level, seat)


def lay_housing(job: Job) -> None:
    """Lay the contact's pin and the connector's body it stands in."""
    crop = job.frame.crop([(END - 0.3, -PIN), (END + 1.4, PIN)], 0.3)
    if crop is not None:
        edge = np.maximum(np.abs(crop.y) - np.float32(PIN), crop.x - np.float32(END + 1.2))
        height = np.sqrt(np.maximum(np.float32(PIN**2) - crop.y * crop.y, 0))
        job.canvas.shade(crop, edge, 0.5, 0.6)
        job.canvas.lay(crop, height, job.terminal, crop.cover(edge))
    crop = job.frame.crop([(END + 1.1, -9), (END + 9, 9)], 0.3)
    if crop is not None:
        edge = np.float32(END + 1.1) - crop.x
        height = np.float32(0.12) * step(edge, 0.0, -0.25)
        height += job.canvas.rough(crop, 0.034) * np.float32(0.004)
        job.canvas.shade(crop, edge, 0.6, 0.6)
        job.canvas.lay(crop, height, "bakelite", crop.cover(edge))


def opening(crop: Crop) -> Field:
    """Give the distance from the edge of the cup's opening, negative in it."""
    past = np.maximum(crop.x - np.float32(SCOOP), 0) * np.float32(INNER / 1.05)
    return away(past, crop.y) - np.float32(INNER)


def lay_inside(job: Job, crop: Crop) -> None:
    """Lay the hollow of the cup."""
    edge = np.maximum(np.abs(crop.y) - np.float32(INNER + 0.06), -crop.x)
    edge = np.maximum(edge, crop.x - np.float32(2.2))
    around = np.maximum(np.abs(crop.y) - np.float32(OUTER), -crop.x)
    around = np.maximum(around, crop.x - np.float32(END))
    job.canvas.shade(crop, around, 0.5, 0.6)
    hollow = -np.sqrt(np.maximum(np.float32(INNER**2) - crop.y * crop.y, 0))
    cover = crop.cover(edge)
    material = "oxide" if job.fault == "nonwetted" else job.terminal
    job.canvas.lay(crop, hollow + job.canvas.rough(crop, 0.14) * np.float32(0.003), material, cover)
    deep = step(crop.x, -0.3, 2.0) * np.float32(0.5) + np.float32(0.38)
    job.canvas.tint(crop, (10, 9, 8), cover * deep)


def lay_wire(job: Job, seat: float) -> None:
    """Lay the bare wire as far as it goes into the cup."""
    wire, gap = job.wire, job.clearance_mm
    crop = job.frame.crop([(-gap - 0.4, 0), (min(seat, 2.2), 0)], wire.w + 0.65)
    if crop is None:
        return
    s, u = crop.x, -crop.y
    over = np.maximum(s - np.float32(seat), 0)
    u = np.copysign(away(u, over * 2), u)
    harm = job.harm(*STRAND_HARMS)
    lay_strands(job.canvas, crop, wire, s, u, harm=harm, harm_at=-gap * 0.5)


def lay_fill(job: Job, crop: Crop, level: float, seat: float) -> None:
    """Lay the solder in the cup and a little way up the wire."""
    canvas, wire, solder = job.canvas, job.wire, job.solder
    x, beside = crop.x, np.abs(crop.y)
    w = np.float32(wire.w)
    bundle = wire.bundle(x, -crop.y)
    sunk = np.float32(0.42 if job.fault == "cup_underfilled" else 0.0)
    present = step(x, seat + 0.06, seat - 0.06)
    trough = np.clip((beside - np.float32(0.60)) * np.float32(1 / 0.24), -1, 1.2)
    trough = np.where(trough < 0, trough * present, trough)
    meniscus = np.float32(0.04) + np.float32(0.22) * trough * trough - sunk
    body = smooth_max(bundle.height(solder.relief) * present - (1 - present), meniscus, 0.14)
    climb = np.float32(0.16) * np.minimum(trough * trough, np.float32(1.4))
    front = np.float32(level) - climb - x + canvas.rough(crop, 0.27) * np.float32(0.015)
    edge = np.maximum(np.maximum(front, beside - np.float32(INNER + 0.03)), x - np.float32(2.2))
    if job.fault == "nonwetted":
        edge = np.maximum(front + np.float32(0.2), beside - w - np.float32(0.15))
        dome = np.clip(-edge * np.float32(1 / 0.2), 0, 1)
        body = w * np.sqrt(dome * (2 - dome)) + np.float32(0.05)
    if solder.bulges and job.fault != "nonwetted":
        body = np.sqrt(np.maximum(np.float32(0.95) - beside * beside, 0))
        body = body * np.sqrt(np.clip(-front * np.float32(1 / 0.35), 0, 1))
    lay_solder(canvas, crop, solder, body, edge)
    wick = step(x, -min(0.5, max(job.clearance_mm * 0.45, 0.1)), level - 0.05)
    coat = bundle.height(solder.relief if solder.bulges else max(solder.relief, 0.3))
    if job.fault != "nonwetted":
        lay_solder(canvas, crop, solder, coat, np.maximum(beside - w, x - np.float32(level)), wick)


def lay_shell(job: Job, crop: Crop) -> None:
    """Lay the cup's wall round the opening and its closed barrel."""
    canvas, x = job.canvas, crop.x
    beside = np.abs(crop.y)
    corner = np.maximum(x - np.float32(END - 0.5), 0)
    outer = away(corner * np.float32(OUTER / 0.5), crop.y) - np.float32(OUTER)
    outer = np.maximum(outer, -x)
    hole = opening(crop)
    height = np.sqrt(np.maximum(np.float32(OUTER**2) - beside * beside, 0))
    height *= np.sqrt(np.maximum(1 - (corner * np.float32(1 / 0.5)) ** 2, 0))
    lip = step(hole, 0.20, 0.10)
    height += (np.float32(0.55) - height) * lip * np.float32(0.75)
    height += canvas.rough(crop, 0.14) * np.float32(0.003)
    edge = np.maximum(outer, -hole)
    canvas.tint(crop, (8, 8, 8), bump(hole, -0.04, 0.09) * crop.cover(-x) * np.float32(0.45))
    canvas.lay(crop, height, job.terminal, crop.cover(edge))
    window = away(x - np.float32(WINDOW), crop.y) - np.float32(0.22)
    canvas.tint(crop, (16, 14, 12), crop.cover(window - np.float32(0.02)))
    if job.fault not in ("cup_not_seated", "cup_underfilled"):
        dish = (window + np.float32(0.22)) ** 2 * np.float32(1.2)
        canvas.lay(crop, dish, job.solder.material, crop.cover(window + np.float32(0.05)))


def lay_spill(job: Job, crop: Crop) -> None:
    """Lay what ran or was drawn over the cup's edge."""
    canvas, x, y = job.canvas, crop.x, crop.y
    if job.fault == "cup_overflow":
        side = 1.0 if job.rng.random() < 0.5 else -1.0
        along = job.between(0.7, 1.2)
        run = away((x - np.float32(along)) * np.float32(0.55), y - np.float32(side * 0.70)) - 0.50
        drop = away((x - np.float32(along + 0.25)) * np.float32(0.85), y - np.float32(side * 1.12))
        edge = -smooth_max(-run, np.float32(0.46) - drop, 0.55)
        edge = edge + canvas.rough(crop, 0.54) * np.float32(0.03)
        dome = np.clip(-edge * np.float32(1 / 0.62), 0, 1)
        lay_solder(canvas, crop, job.solder, np.sqrt(dome * (2 - dome)) * np.float32(0.55), edge)
    if job.fault == "icicle":
        root, tip = (0.5, 0.7), (job.between(-0.1, 0.2), job.between(2.0, 2.3))
        spike = job.frame.crop([root, tip], 0.5)
        if spike is not None:
            lay_icicle(canvas, spike, root, tip, 0.32)
    if job.fault == "flux_residue":
        wide = job.frame.crop([(-1.2, -2.2), (3.4, 2.2), (-1.2, 2.2), (3.4, -2.2)])
        if wide is not None:
            past = np.maximum(np.abs(wide.x - np.float32(0.8)) - np.float32(0.7), 0)
            lay_flux(canvas, wide, away(past, wide.y) - np.float32(0.7), 0.6)


def lay_sleeve(job: Job) -> None:
    """Lay the insulation up to its end before the cup."""
    wire, end = job.wire, -job.clearance_mm
    side = wire.insulated_mm / 2 + 0.2
    far = -job.wire_reach - 0.4
    crop = job.frame.crop([(far, -side), (far, side), (end + 0.3, side), (end + 0.3, -side)], 0.1)
    if crop is not None:
        harm = job.harm(*SLEEVE_HARMS)
        lay_insulation(
            job.canvas, crop, wire, crop.x, -crop.y, end=end, begin=-job.wire_reach, harm=harm
        )


def _truth(job: Job, level: float, seat: float) -> Truth:
    """Say where everything is, from what it was drawn by."""
    gap, half = job.clearance_mm, job.wire.insulated_mm / 2
    return {
        **job.clearance_truth(job.px((-gap, 0)), job.px((0, 0))),
        "across_wire_px": [job.px((-gap - 0.4, -half)), job.px((-gap - 0.4, half))],
        "fill_percent": 100 * (BOTTOM - level) / BOTTOM,
        "fill_bottom_px": job.px((BOTTOM, 0)),
        "fill_top_px": job.px((0, 0)),
        "fill_level_px": job.px((level, 0.60)),
        "wire_end_px": job.px((seat, 0)),
        "not_seated_mm": BOTTOM - seat,
    }

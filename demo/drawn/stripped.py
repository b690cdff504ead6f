"""A stripped and tinned wire lying on the bench."""

from dataclasses import replace

import numpy as np

from .frame import Crop, Field
from .job import Job, Truth
from .residue import lay_flux, lay_icicle
from .shapes import away, bump, step
from .solder import lay_beads, lay_solder
from .wire import SLEEVE_HARMS, STRAND_HARMS, lay_insulation, lay_strands


def draw_stripped(job: Job) -> Truth:
    """Draw the wire from its insulation to its end; the insulation ends at the origin."""
    job.wire = wire = replace(job.wire, metal="copper")
    length = job.between(5.0, 5.8)
    gap = job.between(0.9, 1.4)
    if job.fault in STRAND_HARMS:
        gap = job.between(1.9, 2.2)
    if job.fault == "tinning_gap_none":
        gap = job.between(-0.9, -0.6)
    crop = job.frame.crop([(-0.3, 0), (length + 0.3, 0)], 1.3)
    if crop is not None:
        s, u = crop.x, -crop.y
        over = np.maximum(s - np.float32(length), 0)
        u = np.copysign(away(u, over * 3), u)
        harm = job.harm(*STRAND_HARMS)
        lay_strands(job.canvas, crop, wire, s, u, harm=harm, harm_at=max(gap * 0.5, 0.3))
        _lay_tinning(job, crop, s, u, gap, length)
    side = wire.insulated_mm / 2 + 0.25
    far = -job.wire_reach - 0.4
    crop = job.frame.crop([(far, -side), (far, side), (0.3, side), (0.3, -side)], 0.1)
    if crop is not None:
        harm = job.harm(*SLEEVE_HARMS)
        lay_insulation(
            job.canvas, crop, wire, crop.x, -crop.y, end=0.0, begin=-job.wire_reach, harm=harm
        )
        if job.fault == "tinning_gap_none":
            _lay_wicked(job, crop, gap)
    half, scale = wire.insulated_mm / 2, job.frame.px_per_mm
    return {
        "strip_mm": length,
        "strip_px": length * scale,
        "strip_points_px": [job.px((0, 0)), job.px((length, 0))],
        "tinned_mm": length - gap,
        "tinned_points_px": [job.px((gap, 0)), job.px((length, 0))],
        "tinning_gap_mm": gap,
        "tinning_gap_px": gap * scale,
        "tinning_gap_d": gap / wire.conductor_mm,
        "insulation_end_px": job.px((0, 0)),
        "across_wire_px": [job.px((-0.5, -half)), job.px((-0.5, half))],
        "across_conductor_px": [job.px((0.2, -wire.w)), job.px((0.2, wire.w))],
        "conductor_mm": wire.conductor_mm,
        "insulated_mm": wire.insulated_mm,
    }


def _lay_tinning(job: Job, crop: Crop, s: Field, u: Field, gap: float, length: float) -> None:
    """Lay the solder on the strands from the gap to the end."""
    canvas, wire, solder = job.canvas, job.wire, job.solder
    rough = canvas.rough(crop, 0.27)
    start = step(s + rough * np.float32(0.04), gap - 0.12, gap + 0.10)
    grow = np.full_like(u, wire.w * 1.03)
    relief = 0.50
    if job.fault == "tinning_uneven":
        lump = length - job.between(1.0, 1.5)
        grow += np.float32(0.42) * bump(s, lump, 0.55) + np.float32(0.20) * bump(s, gap + 0.9, 0.3)
        bare = gap + (length - gap) * 0.45
        start = start * (1 - bump(s, bare, 0.42) * np.float32(1.25))
        start = np.clip(start, 0, 1)
        relief = 0.2
    if job.fault == "excess":
        drop = step(s, gap, length - 0.5)
        grow += np.float32(0.16) + np.float32(0.22) * drop
        relief = 0.0
    if job.fault in ("cold", "disturbed"):
        relief = 0.15
    edge = np.maximum(np.abs(u) - grow, s - np.float32(length + 0.1))
    across = np.minimum(np.abs(u) / grow, np.float32(1))
    height = np.sqrt(1 - across * across) * grow
    height -= wire.bundle(s, u).groove * np.float32(relief)
    if job.fault in ("nonwetted", "dewetted"):
        canvas.tint(crop, (74, 50, 34), crop.cover(edge) * start * np.float32(0.5))
        lay_beads(canvas, crop, crop.cover(edge) * start * (rough > -0.6))
        return
    lay_solder(canvas, crop, solder, height, edge, start)
    if job.fault == "icicle":
        root, tip = (length - 0.1, 0.0), (length + job.between(1.0, 1.3), job.between(-0.2, 0.2))
        spike = job.frame.crop([root, tip], 0.6)
        if spike is not None:
            lay_icicle(canvas, spike, root, tip, 0.36)
    if job.fault == "flux_residue":
        middle = gap + (length - gap) * 0.5
        past = np.maximum(np.abs(s - np.float32(middle)) - np.float32(1.0), 0)
        lay_flux(canvas, crop, away(past, crop.y) - np.float32(wire.w), 0.5)


def _lay_wicked(job: Job, crop: Crop, gap: float) -> None:
    """Show solder that ran under the insulation: it swells, stiffens and discolours."""
    canvas, wire = job.canvas, job.wire
    radius = wire.insulated_mm / 2
    swollen = bump(crop.x, gap * 0.35, abs(gap) * 0.6)
    edge = np.maximum(
        np.abs(crop.y) - np.float32(radius) * (1 + np.float32(0.16) * swollen), crop.x
    )
    height = np.sqrt(np.maximum(np.float32((radius * 1.16) ** 2) - crop.y * crop.y, 0))
    height += swollen * np.float32(0.16)
    cover = crop.cover(edge) * step(crop.x, gap * 2.4, gap * 1.2)
    canvas.lay(crop, height, wire.sleeve, cover)
    canvas.tint(crop, (96, 84, 70), cover * swollen * np.float32(0.35))
    collar = np.maximum(np.abs(crop.y) - np.float32(wire.w * 1.25), np.abs(crop.x - 0.06) - 0.12)
    lip = np.sqrt(np.maximum(np.float32((wire.w * 1.3) ** 2) - crop.y * crop.y, 0))
    lip = lip - np.abs(crop.x - np.float32(0.06)) * np.float32(1.2)
    lay_solder(canvas, crop, job.solder, lip, collar)

"""Solder between a wire and a terminal, seen from above."""

from dataclasses import dataclass

import numpy as np

from .frame import Crop, Field
from .job import Job
from .residue import lay_flux, lay_icicle
from .shapes import Bundle, FilletArc, polar_deg, smooth_max, step
from .solder import lay_beads, lay_solder


@dataclass(frozen=True)
class Contact:
    """Where wire and terminal meet.

    Attributes
    ----------
    s, u : ndarray
        Along the wire's axis from its first contact, and to its side.
    bundle : Bundle
        The wire's strands.
    wall : ndarray
        Distance from the terminal's wall in mm, negative inside.
    length_mm : float
        Of the contact along the wire.
    based : bool
        Whether the wire lies on a base that the fillet runs out on.
    centre : tuple of float
        Middle of the wrap.
    """

    s: Field
    u: Field
    bundle: Bundle
    wall: Field
    length_mm: float
    based: bool = True
    centre: tuple[float, float] = (0.0, 0.0)


def lay_joint(job: Job, crop: Crop, contact: Contact) -> Field:
    """Lay the solder of a joint and give the distance from its edge."""
    canvas, solder, w = job.canvas, job.solder, job.wire.w
    beside, s = np.abs(contact.u), contact.s
    rough = canvas.rough(crop, 0.27)
    wick = min(0.55, max(job.clearance_mm * 0.5, 0.12))
    if job.fault in ("excess", "clearance_none"):
        wick = max(job.clearance_mm + 0.25, 0.3)
    drift = s + rough * np.float32(0.05)
    fade = step(drift, -wick - 0.3, -wick * 0.4)
    onto = step(drift, -wick * 0.8, 0.5)
    if job.fault == "insufficient":
        last = step(
            s + rough * np.float32(0.12), contact.length_mm * 0.52, contact.length_mm * 0.38
        )
        fade, onto = fade * last, onto * last
    out = solder.run_mm * (1.0 if contact.based else 0.55 if solder.bulges else 0.30)
    run = np.float32(out) * (1 + np.float32(0.10) * rough) * onto
    body = _over_wire(job, contact, beside, run, out)
    edge = beside - np.float32(w) - run
    if job.fault != "insufficient":
        body, edge = _up_the_wall(job, contact, rough, body, edge)
    if job.fault == "nonwetted":
        edge, body = _drawn_back(job, crop, contact.centre, edge, body)
    if job.fault == "dewetted":
        lay_beads(canvas, crop, crop.cover(edge + np.float32(0.02)) * fade)
    else:
        lay_solder(canvas, crop, solder, body, edge, fade)
    if job.fault == "flux_residue":
        lay_flux(canvas, crop, edge + (1 - fade) * np.float32(0.3), 0.5)
    return edge


def _over_wire(job: Job, contact: Contact, beside: Field, run: Field, out: float) -> Field:
    """Give the solder's height over the wire and down to the toe of its fillet."""
    solder, w = job.solder, job.wire.w
    coat = contact.bundle.height(solder.relief)
    coat += np.float32(w + (0.05 if job.fault == "excess" else 0.012))
    coat -= np.maximum(beside - np.float32(w), 0) * np.float32(6)
    top_x = np.float32(w * (0.35 if solder.bulges else 0.74))
    top_y = w * (2.05 if solder.bulges else 1.70)
    arc = FilletArc.within(w + out, float(top_x), top_y, solder.sagitta_by_chord)
    scale = np.float32(arc.toe_x - float(top_x)) / np.maximum(run + np.float32(w) - top_x, 0.02)
    stretched = np.minimum(top_x + (beside - top_x) * scale, np.float32(arc.toe_x))
    if solder.bulges:
        return smooth_max(coat, arc.height(stretched), 0.16)
    within = np.maximum(top_x - beside, 0)
    flank = arc.height(np.maximum(stretched, top_x)) - within * np.float32(3)
    return smooth_max(coat, flank, 0.10)


def _up_the_wall(
    job: Job, contact: Contact, rough: Field, body: Field, edge: Field
) -> tuple[Field, Field]:
    """Join the fillet between the terminal's wall and its base to the rest."""
    solder = job.solder
    toe = solder.run_mm * (1.6 if solder.bulges else 1.25 if contact.based else 1.0)
    arc = FilletArc(toe, 0.0, 0.9, solder.sagitta_by_chord)
    wavy = contact.wall - np.float32(0.03) * rough
    body = smooth_max(body, arc.height(np.clip(wavy, 0, toe)), 0.22)
    foot = wavy - np.float32(toe)
    if not contact.based:
        foot = np.maximum(foot, np.abs(contact.u) - np.float32(job.wire.w + toe * 0.6))
        foot = np.maximum(foot, contact.s - np.float32(contact.length_mm))
    return body, -smooth_max(-edge, -foot, 0.06)


def _drawn_back(
    job: Job, crop: Crop, centre: tuple[float, float], edge: Field, body: Field
) -> tuple[Field, Field]:
    """Draw solder that balled up on one side and left the other bare."""
    side = polar_deg(job.between(70, 130), 1.0)
    x, y = crop.x - np.float32(centre[0]), crop.y - np.float32(centre[1])
    back = np.float32(0.30) - x * np.float32(side[0]) - y * np.float32(side[1])
    edge = np.maximum(edge, back + job.canvas.rough(crop, 0.27) * np.float32(0.16))
    rim = np.clip(-edge * np.float32(1 / 0.28), 0, 1)
    return edge, body * np.sqrt(rim * (2 - rim))


def lay_point(job: Job, angle_deg: float, radius: float) -> None:
    """Lay a drawn-out point of solder if the joint has one."""
    if job.fault != "icicle":
        return
    root = polar_deg(angle_deg, radius)
    tip = polar_deg(angle_deg + 8, radius + job.between(1.5, 1.9))
    crop = job.frame.crop([root, tip], 0.6)
    if crop is not None:
        lay_icicle(job.canvas, crop, root, tip, 0.34)

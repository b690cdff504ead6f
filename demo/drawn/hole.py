"""A lead in a plated through-hole: from the solder side, and cut through and polished."""

import numpy as np

from .canvas import MASKS, Canvas
from .frame import Crop, Field
from .job import Job, Truth
from .pieces import hole_joint
from .residue import lay_flux, lay_icicle
from .shapes import FilletArc, away, bump, polar_deg, smooth_max, step
from .side import BOARD_MM
from .solder import lay_beads, lay_solder

LEAD, HOLE, LAND, PITCH = 0.34, 0.56, 1.45, 3.6  # radii, and distance to the next joint, in mm
PLATING, FOIL = 0.05, 0.07  # thicknesses


def protrusion_for(job: Job) -> float:
    """Give how far the lead stands out of the board: 0.6 to 1.4 mm is good work."""
    return job.between(2.3, 2.7) if job.fault == "lead_too_long" else job.between(0.8, 1.3)


def fill_for(job: Job) -> float:
    """Give how much of the barrel is filled, in percent."""
    return job.between(35, 62) if job.fault == "hole_underfilled" else 100.0


def fillet_for(job: Job, tallest: float) -> FilletArc:
    """Give the fillet's edge from the land to the lead; x from the lead's axis."""
    solder = job.solder
    if job.fault == "insufficient":
        return FilletArc.within(HOLE + 0.10, LEAD, 0.16, 0.06)
    if job.fault == "nonwetted":
        return FilletArc.within(0.86, LEAD, min(0.80, tallest), -0.36)
    if solder.bulges:
        return FilletArc.within(LAND - 0.04, LEAD, min(1.25, tallest), solder.sagitta_by_chord)
    return FilletArc.within(LAND - 0.12, LEAD, min(0.85, tallest), solder.sagitta_by_chord)


def draw_hole_top(job: Job) -> Truth:
    """Draw the joint from the solder side, between its neighbours."""
    canvas, scale = job.canvas, job.frame.px_per_mm
    if job.alone:
        canvas.track([(0, 0), (-1.2, 2.4), (-1.2, 8)], 0.7)
        canvas.track([(PITCH, 0), (PITCH, -8)], 0.7)
    if job.label:
        canvas.legend(job.label, (1.75, -1.95), 0.6)
    neighbours = (-PITCH, PITCH) if job.alone or job.fault == "bridge" else ()
    for number, x in enumerate(neighbours):
        canvas.stamp(hole_joint(canvas.light, scale, LEAD, LAND, number), (x, 0.0))
    wetted = 360.0
    if job.fault == "hole_no_wetting":
        wetted = 360.0 - job.between(120, 190)
    gap_at = job.between(0, 360)
    margin = 0.9 if job.fault == "flux_residue" else 0.25
    right = PITCH + LAND if job.fault == "bridge" else LAND
    crop = job.frame.crop([(-LAND, -LAND), (right, -LAND), (right, LAND), (-LAND, LAND)], margin)
    arc = fillet_for(job, 0.95)
    if crop is not None:
        rho = away(crop.x, crop.y)
        _lay_land(job, crop, rho)
        _lay_top_solder(job, crop, rho, arc, wetted, gap_at)
        if job.fault != "excess":
            _lay_lead_end(job, crop, rho)
        if job.fault == "bridge":
            _lay_lead_end(job, crop, away(crop.x - np.float32(PITCH), crop.y))
    if job.fault == "icicle":
        root, tip = polar_deg(gap_at, 0.35), polar_deg(gap_at, job.between(1.9, 2.3))
        spike = job.frame.crop([root, tip], 0.5)
        if spike is not None:
            lay_icicle(canvas, spike, root, tip, 0.34)
    middle = gap_at + 180
    return {
        "land_centre_px": job.px((0, 0)),
        "land_edge_px": job.px((LAND, 0)),
        "lead_edge_px": job.px((LEAD, 0)),
        "land_mm": 2 * LAND,
        "lead_mm": 2 * LEAD,
        "land_wetted_deg": wetted,
        "wetted_from_px": job.px(polar_deg(middle - wetted / 2, LAND)),
        "wetted_to_px": job.px(polar_deg(middle + wetted / 2, LAND)),
        "fill_percent": fill_for(job),
    }


def _lay_land(job: Job, crop: Crop, rho: Field) -> None:
    """Lay the land, with the opening in the mask round it."""
    canvas = job.canvas
    opened = crop.cover(rho - np.float32(LAND + 0.11), 5.0)
    canvas.tint(crop, (14, 26, 22), opened * np.float32(0.55))
    height = canvas.rough(crop, 0.27) * np.float32(0.006)
    height += canvas.rough(crop, 0.017) * np.float32(0.0012)
    height += np.float32(0.05) * step(rho, LAND, LAND - 0.16)
    bare = job.fault in ("hole_no_wetting", "nonwetted", "insufficient", "dewetted")
    cover = crop.cover(rho - np.float32(LAND))
    canvas.lay(crop, height, "copper" if bare else "tin", cover)
    if bare:
        dirt = step(canvas.rough(crop, 0.27), -0.2, 1.4) * cover
        canvas.tint(crop, (78, 50, 34), dirt * np.float32(0.55))


def _lay_top_solder(
    job: Job, crop: Crop, rho: Field, arc: FilletArc, wetted: float, gap_at: float
) -> None:
    """Lay the cone of solder round the lead, and what its fault makes of it."""
    canvas, solder = job.canvas, job.solder
    rough = canvas.rough(crop, 0.27)
    wavy = rho * (1 + np.float32(0.018) * rough)
    body = arc.height(np.clip(wavy, LEAD, arc.toe_x))
    edge = wavy - np.float32(arc.toe_x)
    if solder.bulges and job.fault != "nonwetted":
        body = np.minimum(body, np.float32(arc.top_y)) - np.float32(0.2) * rho * rho
    if job.fault == "nonwetted":
        rim = np.clip(-edge * np.float32(1 / 0.3), 0, 1)
        body = np.float32(0.55) * np.sqrt(rim * (2 - rim)) - np.float32(0.15) * rho
    if job.fault == "hole_underfilled":
        _lay_hollow(job, crop, rho)
        return
    if wetted < 360:
        edge, body = _held_back(crop, rho, edge, body, rough, wetted, gap_at)
    if job.fault == "bridge":
        edge, body = _bridged(crop, arc, edge, body, rough)
    if job.fault == "dewetted":
        lay_beads(canvas, crop, crop.cover(edge))
    else:
        lay_solder(canvas, crop, solder, body, edge)
    if job.fault == "flux_residue":
        lay_flux(canvas, crop, edge, 0.55)


def _bridged(
    crop: Crop, arc: FilletArc, edge: Field, body: Field, rough: Field
) -> tuple[Field, Field]:
    """Draw solder that runs over to the next joint."""
    beyond = away(crop.x - np.float32(PITCH), crop.y)
    other = arc.height(np.clip(beyond, LEAD, arc.toe_x))
    nearer = np.abs(crop.x * np.float32(2 / PITCH) - 1)
    waist = np.float32(0.66) + np.float32(0.30) * nearer * nearer + rough * np.float32(0.03)
    strap = np.maximum(np.abs(crop.y) - waist, (nearer - 1) * np.float32(PITCH / 2))
    dome = np.clip(1 - (crop.y / waist) ** 2, 0, 1) * (nearer < 1)
    ridge = np.sqrt(dome) * (np.float32(0.42) + np.float32(0.25) * nearer * nearer)
    ridge *= step(nearer, 1.0, 0.75)
    body = smooth_max(smooth_max(body, other, 0.1), ridge, 0.18)
    edge = np.minimum(edge, beyond - np.float32(arc.toe_x))
    return -smooth_max(-edge, -strap, 0.25), body


def _held_back(
    crop: Crop, rho: Field, edge: Field, body: Field, rough: Field, wetted: float, gap_at: float
) -> tuple[Field, Field]:
    """Draw solder that did not take to a part of the land."""
    angle = np.arctan2(crop.x, -crop.y) - np.float32(np.radians(gap_at))
    angle -= np.rint(angle * np.float32(0.5 / np.pi)) * np.float32(2 * np.pi)
    half = np.radians((360 - wetted) / 2)
    bare = step(np.abs(angle), float(half) + 0.05, float(half) - 0.22)
    short = rho - np.float32(LAND - 0.12) + bare * np.float32(0.74) + rough * np.float32(0.03)
    edge = np.maximum(edge, short)
    rim = np.clip(-edge * np.float32(1 / 0.22), 0, 1)
    return edge, body + bare * (np.float32(0.30) * np.sqrt(rim * (2 - rim)) - np.float32(0.1))


def _lay_hollow(job: Job, crop: Crop, rho: Field) -> None:
    """Lay a thin film on the land and the empty ring between lead and barrel."""
    canvas = job.canvas
    film = FilletArc(LAND - 0.06, HOLE, 0.10, 0.05)
    edge = np.maximum(rho - np.float32(film.toe_x), np.float32(HOLE) - rho)
    lay_solder(canvas, crop, job.solder, film.height(np.clip(rho, HOLE, film.toe_x)), edge)
    ring = crop.cover(rho - np.float32(HOLE))
    canvas.lay(crop, -np.sqrt(np.maximum(np.float32(HOLE**2) - rho * rho, 0)), "copper", ring)
    dark = np.float32(0.93) - np.float32(0.5) * bump(rho, HOLE, 0.05)
    canvas.tint(crop, (9, 7, 6), ring * dark)
    sunk = crop.cover(np.abs(rho - np.float32(LEAD + 0.09)) - np.float32(0.09))
    canvas.tint(crop, (52, 50, 48), sunk * step(canvas.rough(crop, 0.14), 0.2, 1.2))


def _lay_lead_end(job: Job, crop: Crop, rho: Field) -> None:
    """Lay the clipped end of the lead, nearer the lens."""
    canvas = job.canvas
    edge = rho - np.float32(LEAD)
    canvas.shade(crop, edge, 0.22, 0.6, 0.5)
    height = np.float32(0.10) * step(edge, 0.0, -0.12)
    canvas.lay(crop, height, "tin", crop.cover(edge, 1.5))
    score = np.sin((crop.x * np.float32(0.9) + crop.y * np.float32(0.4)) * np.float32(70))
    face = crop.cover(edge + np.float32(0.08), 2.0)
    canvas.lay(crop, score * np.float32(0.0035) + crop.x * np.float32(0.12), "copper", face)


def draw_hole_side(job: Job) -> Truth:
    """Draw the joint cut through the lead's axis; the solder side is below."""
    canvas = job.canvas
    out, fill = protrusion_for(job), fill_for(job)
    arc = fillet_for(job, out - 0.12)
    bottom = BOARD_MM + FOIL
    crop = canvas.frame.crop([(-9, -0.2), (9, -0.2), (9, bottom + 0.1), (-9, bottom + 0.1)])
    if crop is not None:
        _lay_section_board(job, crop)
    low = bottom + arc.top_y + 0.2
    crop = canvas.frame.crop([(-LAND, -0.8), (LAND, -0.8), (LAND, low), (-LAND, low)])
    if crop is not None:
        _lay_section_solder(job, crop, arc, fill)
    low = bottom + out
    crop = canvas.frame.crop([(-LEAD, -5), (LEAD, -5), (LEAD, low), (-LEAD, low)], 0.1)
    if crop is not None:
        _lay_section_lead(canvas, crop, out)
    scale = job.frame.px_per_mm
    level = bottom - (BOARD_MM + 2 * FOIL) * fill / 100
    middle = (LEAD + HOLE) / 2

    def below(x: float, y: float) -> tuple[float, float]:
        return job.px((x, bottom + y))

    return {
        "fill_percent": fill,
        "fill_bottom_px": job.px((0, bottom)),
        "fill_top_px": job.px((0, -FOIL)),
        "fill_level_px": job.px((middle, level)),
        "lead_mm": 2 * LEAD,
        "across_lead_px": [job.px((-LEAD, -1.2)), job.px((LEAD, -1.2))],
        "protrusion_mm": out,
        "protrusion_px": out * scale,
        "protrusion_points_px": [job.px((0, bottom)), job.px((0, bottom + out))],
        "fillet_points_px": [below(float(x), float(y)) for x, y in arc.points(9)],
        "fillet_inside_px": below(*(float(part) for part in arc.inside())),
        "base_line_px": [below(arc.toe_x + 0.3, 0), below(HOLE, 0)],
        "fillet_sagitta_by_chord": arc.sagitta_by_chord,
        "wetting_angle_deg": arc.wetting_angle_deg,
    }


def _lay_section_board(job: Job, crop: Crop) -> None:
    """Lay the laminate, the foil, the plating and the masks as polished cuts."""
    canvas, x, y = job.canvas, np.abs(crop.x), crop.y
    inside = np.maximum(-y, y - np.float32(BOARD_MM))
    slab = np.maximum(inside, np.float32(HOLE + PLATING) - x)
    cover = crop.cover(slab)
    weave = np.sin(y * np.float32(2 * np.pi / 0.265) + canvas.rough(crop, 0.54) * np.float32(0.3))
    threads = np.sin(x * np.float32(2 * np.pi / 0.5) + (weave > 0) * np.float32(np.pi))
    canvas.tint(crop, (112, 116, 74), cover)
    canvas.tint(crop, (164, 166, 122), cover * np.clip(weave * threads, 0, 1) * np.float32(0.55))
    dots = np.clip(canvas.rough(crop, 0.017) * weave, 0, 1)
    canvas.tint(crop, (196, 198, 160), cover * dots * np.float32(0.22))
    colour = MASKS[job.board]
    outside = np.maximum(np.abs(y - np.float32(BOARD_MM / 2)) - np.float32(BOARD_MM / 2 + 0.05), 0)
    mask = np.maximum(outside, -inside)
    mask = np.maximum(mask, np.float32(LAND + 0.12) - x)
    canvas.tint(crop, colour, crop.cover(mask - np.float32(0.004)))
    foil = np.abs(y - np.float32(BOARD_MM / 2)) - np.float32(BOARD_MM / 2 + FOIL / 2)
    foil = np.maximum(np.abs(foil) - np.float32(FOIL / 2), x - np.float32(LAND))
    foil = np.maximum(foil, np.float32(HOLE) - x)
    wall = np.abs(x - np.float32(HOLE + PLATING / 2)) - np.float32(PLATING / 2)
    wall = np.maximum(wall, inside - np.float32(FOIL))
    metal = crop.cover(np.minimum(foil, wall))
    canvas.tint(crop, (214, 138, 92), metal)
    grain = np.clip(canvas.rough(crop, 0.034), 0, 1) * metal * np.float32(0.25)
    canvas.tint(crop, (168, 92, 58), grain)


def _lay_section_solder(job: Job, crop: Crop, arc: FilletArc, fill: float) -> None:
    """Lay the solder's cut: the barrel's fill, the fillet below and the one above."""
    canvas, x, y = job.canvas, np.abs(crop.x), crop.y
    bottom = BOARD_MM + FOIL
    level = bottom - (BOARD_MM + 2 * FOIL) * fill / 100
    barrel = np.maximum(x - np.float32(HOLE), np.maximum(y - bottom - 0.02, np.float32(level) - y))
    down = y - np.float32(bottom)
    fillet = np.maximum(x - arc.extent(down), np.maximum(-down, down - np.float32(arc.top_y)))
    edge = np.minimum(barrel, fillet)
    if fill >= 100:
        top = FilletArc(LAND - 0.25, LEAD, 0.5, 0.13)
        up = np.float32(-FOIL) - y
        above = np.maximum(x - top.extent(up), np.maximum(-up, up - np.float32(top.top_y)))
        edge = np.minimum(edge, above)
    cover = crop.cover(edge)
    dull = job.fault in ("cold", "disturbed")
    canvas.tint(crop, (150, 150, 150) if dull else (188, 189, 190), cover)
    phases = canvas.rough(crop, 0.034) + np.float32(0.6) * canvas.rough(crop, 0.07)
    canvas.tint(crop, (120, 122, 126), cover * np.clip(phases - np.float32(0.5), 0, 1) * 0.6)
    canvas.tint(crop, (222, 223, 224), cover * np.clip(-phases - np.float32(0.9), 0, 1) * 0.7)
    if dull:
        voids = step(canvas.rough(crop, 0.07), 1.7, 2.0)
        canvas.tint(crop, (30, 28, 27), cover * voids)
        if job.fault == "disturbed":
            warp = canvas.rough(crop, 0.27) * np.float32(0.09)
            crack = np.abs(crop.y - bottom - np.float32(0.22) + warp - x * np.float32(0.18))
            canvas.tint(crop, (20, 18, 18), cover * step(crack, 0.03, 0.012))


def _lay_section_lead(canvas: Canvas, crop: Crop, out: float) -> None:
    """Lay the lead's cut, polished along its drawing direction."""
    x = np.abs(crop.x)
    edge = np.maximum(x - np.float32(LEAD), crop.y - np.float32(BOARD_MM + FOIL + out))
    cover = crop.cover(edge)
    canvas.tint(crop, (206, 132, 88), cover)
    streaks = np.sin(crop.x * np.float32(61)) + np.sin(crop.x * np.float32(97) + 1)
    streaks += canvas.rough(crop, 0.07)
    canvas.tint(crop, (236, 172, 128), cover * np.clip(streaks * np.float32(0.3), 0, 0.6))
    skin = crop.cover(np.abs(edge + np.float32(0.014)) - np.float32(0.016))
    canvas.tint(crop, (214, 214, 210), skin)

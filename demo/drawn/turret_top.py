"""A turret terminal seen from above, with one wire or two."""

import numpy as np

from .job import Job, Point, Truth
from .pieces import land_with_base, post_top
from .shapes import away, polar_deg, step
from .wetting import Contact, lay_joint, lay_point
from .wire import (
    SLEEVE_HARMS,
    STRAND_HARMS,
    Route,
    lay_insulation,
    lay_strands,
)

POST, CAP, BASE, LAND = 0.76, 0.93, 2.12, 2.55  # radii in mm
FLANGE = 2.0  # radius of the flange between two wires


def wrap_for(job: Job) -> float:
    """Give the wrap in degrees: 180 to 270 is good work."""
    low, high = {"wrap_short": (95, 140), "wrap_long": (410, 450)}.get(job.fault or "", (200, 268))
    return job.between(low, high)


def draw_turret_top(job: Job) -> Truth:
    """Draw a turret with one wire from above."""
    route = Route(POST + job.wire.w, wrap_for(job), tail_mm=0.16)
    lay_ground(job)
    truth = lay_wrapped_wire(job, route)
    lay_cap(job)
    lay_point(job, job.between(95, 165), route.radius + 0.2)
    return truth


def draw_turret_two_top(job: Job) -> Truth:
    """Draw a turret with two wires from above: the lower one good, the upper one with the fault."""
    lay_ground(job)
    radius, spread = POST + job.wire.w, job.between(26, 38)
    lower = Route(radius, job.between(200, 250), 0.16, start_deg=-spread)
    upper = Route(radius, wrap_for(job), 0.16)
    below = job.sound_copy()
    hidden = lay_lead_in(below, lower)
    canvas, scale = job.canvas, job.frame.px_per_mm
    canvas.stamp(post_top(canvas.light, job.terminal, scale, FLANGE, 0))
    truth = lay_wrapped_wire(job, upper)
    lay_cap(job)
    lay_point(job, job.between(95, 165), radius + 0.2)
    return {**truth, "wires": [hidden, truth]}


def lay_ground(job: Job) -> None:
    """Lay the board's conductors and print, the land and the terminal's base."""
    canvas = job.canvas
    bend, drift = polar_deg(job.between(60, 120), 3.4), job.between(-3, 3)
    if job.alone:
        canvas.track([(0, 0), bend, (bend[0] + 5, bend[1] + drift)], 0.8)
    if job.label:
        canvas.legend(job.label, (2.8, -2.05), 0.6)
    variant = int(job.rng.integers(3))
    scale = canvas.frame.px_per_mm
    canvas.stamp(land_with_base(canvas.light, job.terminal, scale, LAND, BASE, variant))
    if job.fault in ("nonwetted", "dewetted", "insufficient"):
        crop = canvas.frame.crop([(-BASE, -BASE), (BASE, BASE), (-BASE, BASE), (BASE, -BASE)])
        if crop is not None:
            cover = crop.cover(away(crop.x, crop.y) - np.float32(BASE))
            dirt = step(canvas.rough(crop, 0.27), -0.3, 1.2) * cover
            canvas.tint(crop, (86, 62, 40), dirt * np.float32(0.45))


def lay_cap(job: Job) -> None:
    """Lay the top of the post over the inner edge of the wrap."""
    canvas, variant = job.canvas, int(job.rng.integers(3))
    canvas.stamp(post_top(canvas.light, job.terminal, job.frame.px_per_mm, CAP, variant))


def lay_wrapped_wire(job: Job, route: Route) -> Truth:
    """Lay a wire round the post with its insulation and solder, and say where everything is."""
    wire, gap, radius = job.wire, job.clearance_mm, route.radius
    first = min(route.wrap_deg, 338.0)
    over = first < route.wrap_deg
    lower = Route(radius, first, 0.0 if over else route.tail_mm, route.centre, route.start_deg)
    far = radius + wire.w + job.solder.run_mm * 1.2
    corners = [(-gap - 0.3, -far), (far, -far), (far, far), (-far, far), (-gap - 0.3, 0.0)]
    crop = job.frame.crop(route.to_work(corners), 0.95 if job.fault == "flux_residue" else 0.08)
    if crop is not None:
        s, u = lower.follow(crop)
        bundle = lay_strands(
            job.canvas, crop, wire, s, u, harm=job.harm(*STRAND_HARMS), harm_at=-gap * 0.55
        )
        wall = away(crop.x, crop.y) - np.float32(POST)
        lay_joint(job, crop, Contact(s, u, bundle, wall, lower.length_mm))
    if over:
        lay_overlap(job, route, first)
    lay_sleeve(job, route)
    return wire_truth(job, route)


def lay_lead_in(job: Job, route: Route) -> Truth:
    """Lay the straight run of a wire whose wrap is hidden under what comes after."""
    wire, gap, radius = job.wire, job.clearance_mm, route.radius
    corners = [(-gap - 0.3, -radius - wire.w), (0.3, -radius + wire.w)]
    corners += [(-gap - 0.3, -radius + wire.w), (0.3, -radius - wire.w)]
    crop = job.frame.crop(route.to_work(corners), 0.3)
    if crop is not None:
        x, y = route.local(crop)
        lay_strands(job.canvas, crop, wire, x, -y - np.float32(radius))
    lay_sleeve(job, route)
    return wire_truth(job, route)


def lay_overlap(job: Job, route: Route, first: float) -> None:
    """Lay the end of a wrap that goes over its own beginning."""
    rest = Route(
        route.radius + 0.10,
        route.wrap_deg - first + 20,
        route.tail_mm,
        route.centre,
        route.start_deg + first - 20,
    )
    far = route.radius + 0.6
    crop = job.frame.crop([(-far, -far), (far, -far), (far, far), (-far, far)], 0.2)
    if crop is None:
        return
    s, u = rest.follow(crop, lead=False)
    edge = np.abs(u) - np.float32(job.wire.w * 1.04)
    onto = step(s, 0.0, 0.25)
    job.canvas.shade(crop, edge, 0.30, np.float32(0.75) * onto)
    height = job.wire.bundle(s, u, 1.04).height(0.75)
    job.canvas.lay(crop, height, "solder", crop.cover(edge) * onto)


def lay_sleeve(job: Job, route: Route) -> None:
    """Lay the insulation on the straight run before the wrap."""
    side, end, far = job.wire.insulated_mm / 2 + 0.2, -job.clearance_mm, -job.wire_reach - 0.4
    top, bottom = -route.radius - side, -route.radius + side
    corners = [(end + 0.3, top), (end + 0.3, bottom), (far, top), (far, bottom)]
    crop = job.frame.crop(route.to_work(corners), 0.1)
    if crop is None:
        return
    x, y = route.local(crop)
    outer = -y - np.float32(route.radius)
    harm = job.harm(*SLEEVE_HARMS)
    lay_insulation(job.canvas, crop, job.wire, x, outer, end=end, begin=-job.wire_reach, harm=harm)


def wire_truth(job: Job, route: Route) -> Truth:
    """Say where the wire is, from the route it was drawn along."""
    wire, gap, radius = job.wire, job.clearance_mm, route.radius
    inner, half = radius - wire.w, wire.insulated_mm / 2

    def at(*points: Point) -> list[Point]:
        return [job.px(point) for point in route.to_work(list(points))]

    centre, begin, finish = at((0, 0), polar_deg(0, inner), polar_deg(route.wrap_deg, inner))
    insulation, contact = at((-gap, -radius), (0, -radius))
    return {
        "wrap_deg": route.wrap_deg,
        "wrap_direction": "anticlockwise" if job.frame.mirrored else "clockwise",
        "wrap_extra_turns": int(route.wrap_deg // 360),
        "wrap_centre_px": centre,
        "contact_start_px": begin,
        "contact_end_px": finish,
        **job.clearance_truth(insulation, contact),
        "across_wire_px": at((-gap - 0.4, -radius - half), (-gap - 0.4, -radius + half)),
    }

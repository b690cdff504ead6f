"""Drawn joints, photographed by cameras that lean, come near and bend, and marked by hand.

What is true of a joint is what it was drawn by. Its points are taken as a scene in millimetres
(`cameras`), its marks off their plane as the set-up allows, the picture's scale from a graticule
in another plane; and each measurement is held against the truth with what is stated of it.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from math import cos, radians, sin
from typing import Any

import numpy as np

from assessments.domain.geometry import (
    MarksRefused,
    Options,
    Quantity,
    Scale,
    Winding,
    measure,
)
from assessments.domain.view import BY_HAND, Bounds, View
from demo.drawn import draw_joint
from tests.assessments.cameras import Camera, camera_in, off_plane

SETUPS = {
    "stand": Bounds(
        tilt_deg=1, depth_mm=3, relief_mm=0.2, distance_mm=150, distortion=0.002, field_mm=10
    ),
    "leaning stand": Bounds(
        tilt_deg=5, depth_mm=3, relief_mm=0.3, distance_mm=120, distortion=0.01, field_mm=15
    ),
    "by hand": BY_HAND,
}
SIGMA_PX, GRATICULE_MM, GRATICULE_HALF_MM, CONDUCTOR_SHARE = 1.0, 5.0, 0.01, 0.05
TURRETS = (None, None, "wrap_short", "wrap_long", "clearance_none")
HOLES = (None, "hole_underfilled", "excess", "cold")


@dataclass(frozen=True)
class Scene:
    """One quantity of one drawn joint.

    Attributes
    ----------
    points_mm : dict of str to ndarray, shape (N, 2)
        Where each kind of mark lies in the plane, from the joint's middle.
    true : float
        In the unit that the quantity is read in.
    """

    name: str
    quantity: Quantity
    points_mm: dict[str, np.ndarray]
    true: float
    options: Options = field(default_factory=Options)


def scenes(kind: str, count: int, seed: int = 0) -> Iterator[list[Scene]]:
    """The quantities of so many drawn joints, each drawn from a seed of its own."""
    faults = TURRETS if kind == "turret" else HOLES
    view = "top" if kind == "turret" else "side"
    for n in range(count):
        fault = faults[n % len(faults)]
        truth = draw_joint(kind, fault, seed=seed + n, view=view, size=(86, 64)).truth
        yield list(_turret(truth) if kind == "turret" else _hole(truth))


def _mm(truth: dict[str, Any], middle: Any) -> Any:
    middle = np.array(middle, dtype=float)
    return lambda name: (np.atleast_2d(truth[name]) - middle) / truth["px_per_mm"]


def _turret(truth: dict[str, Any]) -> Iterable[Scene]:
    at = _mm(truth, truth["wrap_centre_px"])
    start, end = at("contact_start_px"), at("contact_end_px")
    clockwise = truth["wrap_direction"] == "clockwise"
    said = Options(winding=Winding(truth["wrap_direction"]), full_turns=truth["wrap_extra_turns"])
    turn = truth["wrap_deg"]
    wrap = {"start": start, "end": end}
    yield Scene(
        "wrap by the centre", Quantity.WRAP, wrap | {"centre": at("wrap_centre_px")}, turn, said
    )
    shown = min(turn, 350.0) * (1 if clockwise else -1)
    post = np.array([_turned(start[0], shown * share) for share in np.linspace(0.03, 0.97, 7)])
    yield Scene("wrap by the post", Quantity.WRAP, wrap | {"post": post}, turn, said)
    gap = {
        "insulation": at("insulation_end_px"),
        "joint": at("first_contact_px"),
        "across": at("across_wire_px"),
    }
    yield Scene("clearance", Quantity.CLEARANCE, gap, truth["clearance_D"])
    in_mm = Options(unit="mm")
    yield Scene("clearance in mm", Quantity.CLEARANCE, gap, truth["clearance_mm"], in_mm)


def _turned(point: np.ndarray, by_deg: float) -> np.ndarray:
    c, s = cos(radians(by_deg)), sin(radians(by_deg))
    return np.array([c * point[0] - s * point[1], s * point[0] + c * point[1]])


def _hole(truth: dict[str, Any]) -> Iterable[Scene]:
    edge = np.array(truth["fillet_points_px"])
    at = _mm(truth, edge[4])
    solder = 4 * at("fillet_inside_px")
    ends = at("protrusion_points_px")
    yield Scene("length", Quantity.LENGTH, {"ends": ends}, truth["protrusion_mm"])
    lead = truth["lead_mm"]
    counted = Options(
        unit="d", conductor_mm=lead, conductor_u_mm=CONDUCTOR_SHARE * lead / np.sqrt(3)
    )
    yield Scene(
        "length in d", Quantity.LENGTH, {"ends": ends}, truth["protrusion_mm"] / lead, counted
    )
    levels = {name: at(f"fill_{name}_px") for name in ("bottom", "top", "level")}
    yield Scene("fill", Quantity.FILL, levels, truth["fill_percent"])
    marks = {"edge": at("fillet_points_px"), "solder": solder}
    yield Scene("fillet", Quantity.FILLET, marks, truth["fillet_sagitta_by_chord"])
    yield Scene(
        "wetting angle",
        Quantity.WETTING_ANGLE,
        marks | {"base": at("base_line_px")},
        truth["wetting_angle_deg"],
    )


@dataclass
class Tally:
    """How measurements of one quantity in one set-up fared.

    Attributes
    ----------
    errors, expanded : list of float
        Of those that are proven.
    unproven, refused : int
    """

    errors: list[float]
    expanded: list[float]
    unproven: int = 0
    refused: int = 0

    @property
    def ratio(self) -> np.ndarray:
        return np.array(self.errors) / np.array(self.expanded)

    @property
    def covered(self) -> float:
        return float((np.abs(self.ratio) <= 1).mean())

    @property
    def false_within(self) -> float:
        """Of things that lie just outside a limit, how many are stated within, at the worse side.

        A value is within a lower limit if value - U reaches it: error > U where the truth lies
        at the limit; and below an upper one if error < -U.
        """
        return float(max((self.ratio > 1).mean(), (self.ratio < -1).mean()))

    @property
    def wider(self) -> float:
        """How much wider U is than what would have covered 95 % here."""
        return float(1 / np.quantile(np.abs(self.ratio), 0.95))


def photographed(
    scene: Scene,
    bounds: Bounds,
    rng: np.random.Generator,
    *,
    at_bound: bool = False,
    towards_deg: float | None = None,
) -> tuple[float, float, bool] | None:
    """Photograph, mark and measure; give error, U and whether it is proven. None if refused.

    Parameters
    ----------
    at_bound : bool
        The camera leans, is near, bends and the marks lie off their plane as far as is declared.
    towards_deg : float, optional
        To which side it leans then; otherwise to any.
    """
    px_per_mm = float(rng.uniform(60, 160))
    field_mm = bounds.field_mm * float(rng.uniform(1, 1.6))
    view = bounds.view(field_mm * px_per_mm, 0.75 * field_mm * px_per_mm)
    camera = camera_in(view, rng, px_per_mm, at_bound=at_bound)
    if towards_deg is not None:
        camera = replace(camera, towards_deg=towards_deg)
    place = np.array([field_mm, 0.75 * field_mm]) * rng.uniform(-0.2, 0.2, 2)
    turn = float(rng.uniform(0, 360))
    marks = {}
    for name, points in scene.points_mm.items():
        flat = np.array([_turned(point, turn) for point in points]) + place
        off = off_plane(len(flat), bounds.relief_mm, rng, at_bound=at_bound)
        if name == "centre":
            off = np.array([bounds.depth_mm * (1.0 if at_bound else rng.uniform(0, 1))])
        marks[name] = rng.normal(camera.sees(np.column_stack([flat, off])), SIGMA_PX).tolist()
    options = scene.options
    if options.unit == "d":
        share = CONDUCTOR_SHARE * rng.uniform(-1, 1)
        real = scene.true / (1 + share)
    else:
        real = scene.true
    try:
        scale = _scale(camera, view, bounds, rng, at_bound=at_bound)
        read = measure(
            scene.quantity, marks, sigma_px=SIGMA_PX, scale=scale, options=options, view=view
        )
    except MarksRefused:
        return None
    error = read.value - real
    if scene.quantity == Quantity.WRAP:
        error = (error + 180) % 360 - 180
    return error, read.expanded, read.is_proven


def _scale(
    camera: Camera, view: View, bounds: Bounds, rng: np.random.Generator, *, at_bound: bool
) -> Scale:
    """The scale from a graticule of 5 mm that lies elsewhere and in another plane."""
    depth = bounds.depth_mm * (rng.choice([-1.0, 1.0]) if at_bound else rng.uniform(-1, 1))
    along = _turned(np.array([GRATICULE_MM / 2, 0.0]), float(rng.uniform(0, 360)))
    real = along * (1 + rng.uniform(-1, 1) * GRATICULE_HALF_MM / GRATICULE_MM)
    field_mm = view.width_px / camera.px_per_mm
    place = np.array([field_mm, 0.75 * field_mm]) * rng.uniform(-0.15, 0.15, 2)
    ends = np.column_stack([[place - real, place + real], [depth, depth]])
    read = measure(
        Quantity.SCALE,
        {"ends": rng.normal(camera.sees(ends), SIGMA_PX).tolist()},
        sigma_px=SIGMA_PX,
        options=Options(size_mm=GRATICULE_MM, size_u_mm=GRATICULE_HALF_MM / np.sqrt(3)),
        view=view,
    )
    return Scale(read.value, read.also["relative_u"], read.also["relative_view"])


def tallied(
    joints: Iterable[list[Scene]],
    bounds: Bounds,
    *,
    pictures: int,
    seed: int,
    at_bound: bool = False,
    towards_deg: float | None = None,
    only: frozenset[str] | None = None,
) -> dict[str, Tally]:
    """Photograph every joint so many times; by the name of what is measured."""
    rng = np.random.default_rng(seed)
    tallies: dict[str, Tally] = {}
    for joint in joints:
        for scene in joint:
            if only is not None and scene.name not in only:
                continue
            tally = tallies.setdefault(scene.name, Tally([], []))
            for _ in range(pictures):
                found = photographed(scene, bounds, rng, at_bound=at_bound, towards_deg=towards_deg)
                if found is None:
                    tally.refused += 1
                elif not found[2]:
                    tally.unproven += 1
                else:
                    tally.errors.append(found[0])
                    tally.expanded.append(found[1])
    return tallies

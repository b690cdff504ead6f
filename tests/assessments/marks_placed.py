"""Marks set by construction, each with the result that its construction gives."""

from dataclasses import dataclass, field
from math import cos, degrees, radians, sin, tan

import numpy as np

from assessments.domain.geometry import Options, Quantity, Scale, View, Winding


@dataclass(frozen=True)
class Placed:
    """One measurement whose result is known without measuring."""

    name: str
    quantity: Quantity
    marks: dict[str, list[tuple[float, float]]]
    value: float
    options: Options = field(default_factory=Options)
    scale: Scale | None = None
    view: View | None = None


BY_HAND = View(
    tilt_deg=15,
    depth_mm=5,
    relief_mm=0.5,
    distance_mm=100,
    distortion=0.02,
    field_mm=30,
    width_px=800,
    height_px=600,
)
UPRIGHT = View(
    tilt_deg=2,
    depth_mm=3,
    relief_mm=0.3,
    distance_mm=150,
    distortion=0.003,
    field_mm=20,
    width_px=800,
    height_px=600,
)


def arc_marks(
    *, radius: float, from_deg: float, to_deg: float, count: int = 7, centre=(0.0, 0.0)
) -> list[tuple[float, float]]:
    """Marks along a circle; angles from +x towards +y, which is clockwise as seen."""
    return [
        (centre[0] + radius * cos(radians(at)), centre[1] + radius * sin(radians(at)))
        for at in np.linspace(from_deg, to_deg, count)
    ]


def cap(contact_deg: float, *, radius: float = 150.0) -> Placed:
    """A drop on a level base: a part of a circle that meets the base at its contact angle."""
    depth = -radius * cos(radians(contact_deg))  # the centre's height over the base
    centre = (400.0, 300.0 - depth)
    half = contact_deg
    # Up is -90 degrees; the toe at the left lies `half` from there against the clock.
    marks = arc_marks(radius=radius, from_deg=-90 - half, to_deg=-90 - half * 0.1, centre=centre)
    top = centre[1] - radius
    return Placed(
        f"drop_{contact_deg:g}",
        Quantity.WETTING_ANGLE,
        {
            "edge": marks,
            "base": [(100.0, 300.0), (700.0, 300.0)],
            "solder": [(400.0, (300.0 + top) / 2)],
        },
        contact_deg,
    )


def hollow(arc_deg: float, *, radius: float = 200.0, bulges: bool = False) -> Placed:
    """A fillet's edge of a known arc: sagitta over chord is tan(arc/4)/2."""
    marks = arc_marks(radius=radius, from_deg=20, to_deg=20 + arc_deg, centre=(300, 250))
    middle = radians(20 + arc_deg / 2)
    away = radius * (0.9 if bulges else 1.1)
    solder = (300 + away * cos(middle), 250 + away * sin(middle))
    ratio = tan(radians(arc_deg) / 4) / 2
    return Placed(
        f"{'bulging' if bulges else 'hollow'}_{arc_deg:g}",
        Quantity.FILLET,
        {"edge": marks, "solder": [solder]},
        -ratio if bulges else ratio,
    )


def wrap(turn_deg: float, winding: Winding = Winding.CLOCKWISE, full_turns: int = 0) -> Placed:
    way = 1 if winding == Winding.CLOCKWISE else -1
    start, end = arc_marks(
        radius=90, from_deg=35, to_deg=35 + way * turn_deg, count=2, centre=(500, 400)
    )
    return Placed(
        f"wrap_{turn_deg:g}_{winding}_{full_turns}",
        Quantity.WRAP,
        {"centre": [(500, 400)], "start": [start], "end": [end]},
        turn_deg % 360 + 360 * full_turns,
        Options(winding=winding, full_turns=full_turns),
    )


def wrap_by_post(turn_deg: float, *, count: int = 7, radius: float = 60) -> Placed:
    """A wrap whose centre is told by where the wire lies against the post."""
    start, end = arc_marks(radius=75, from_deg=35, to_deg=35 + turn_deg, count=2, centre=(500, 400))
    return Placed(
        f"wrap_by_post_{turn_deg:g}",
        Quantity.WRAP,
        {
            "post": arc_marks(
                radius=radius, from_deg=40, to_deg=30 + turn_deg, count=count, centre=(500, 400)
            ),
            "start": [start],
            "end": [end],
        },
        turn_deg,
    )


def clearance(gap_in_diameters: float) -> Placed:
    """A wire 40 px across that runs 30 degrees below level to the right."""
    along, across = np.array([cos(0.5), sin(0.5)]), np.array([-sin(0.5), cos(0.5)])
    end = np.array([300.0, 200.0])
    behind = end - 35 * along
    joint = end + 40 * gap_in_diameters * along + 13 * across  # aside does not count
    return Placed(
        f"clearance_{gap_in_diameters:g}",
        Quantity.CLEARANCE,
        {
            "insulation": [tuple(end)],
            "joint": [tuple(joint)],
            "across": [tuple(behind - 20 * across), tuple(behind + 20 * across)],
        },
        gap_in_diameters,
    )


def straight_edge() -> Placed:
    marks = [(100.0 + 20 * n, 300.0 - 30 * n) for n in range(6)]
    return Placed("straight", Quantity.FILLET, {"edge": marks, "solder": [(180.0, 260.0)]}, 0.0)


def straight_wetting() -> Placed:
    marks = [(100.0 + 20 * n, 300.0 - 30 * n) for n in range(6)]
    return Placed(
        "straight_wetting",
        Quantity.WETTING_ANGLE,
        {"edge": marks, "solder": [(190.0, 250.0)], "base": [(50.0, 300.0), (220.0, 300.0)]},
        degrees(np.arctan2(30, 20)),
    )


PLACED = [
    Placed(
        "scale",
        Quantity.SCALE,
        {"ends": [(100.0, 100.0), (140.0, 130.0)]},
        0.0162,
        Options(size_mm=0.81, size_u_mm=0.004),
    ),
    Placed(
        "length",
        Quantity.LENGTH,
        {"ends": [(100.0, 100.0), (140.0, 130.0)]},
        1.0,
        scale=Scale(0.02, 0.01),
    ),
    Placed(
        "length_in_diameters",
        Quantity.LENGTH,
        {"ends": [(10.0, 20.0), (10.0, 120.0)]},
        2.5,
        Options(unit="d", conductor_mm=0.8),
        Scale(0.02, 0.01),
    ),
    *(clearance(gap) for gap in (1.3, 2.0, 0.0, -0.25)),
    *(wrap(turn) for turn in (30, 90, 180, 213.5, 270, 340)),
    wrap(213.5, Winding.ANTICLOCKWISE),
    wrap(80, full_turns=1),
    *(wrap_by_post(turn) for turn in (150, 213.5, 270)),
    *(hollow(arc) for arc in (2, 20, 45, 62, 90, 150, 220)),
    *(hollow(arc, bulges=True) for arc in (2, 45, 90, 200)),
    straight_edge(),
    *(cap(angle) for angle in (12, 30, 60, 90, 120, 150)),
    straight_wetting(),
    *(
        Placed(
            f"fill_{percent}",
            Quantity.FILL,
            {
                "bottom": [(200.0, 400.0)],
                "top": [(260.0, 200.0)],
                "level": [(200 + 0.6 * percent + 40, 400 - 2 * percent + 12)],
            },
            float(percent),
        )
        for percent in (-5, 0, 50, 75, 110)
    ),
]

"""Marks that the demo's graders set on its photographs: where the truth is, give or take."""

from collections.abc import Sequence
from datetime import datetime
from random import Random
from typing import Any

from assessments.models import Criterion, Joint, Measurement, Photo
from assessments.services import measuring
from people.models import User

HAND_PX = 0.8  # standard deviation of each coordinate
WHERE = {
    "wrap": {
        "centre": "wrap_centre_px",
        "start": "contact_start_px",
        "end": "contact_end_px",
    },
    "clearance": {
        "insulation": "insulation_end_px",
        "joint": "first_contact_px",
        "across": "across_wire_px",
    },
    "fill": {"bottom": "fill_bottom_px", "top": "fill_top_px", "level": "fill_level_px"},
}


def measure_by_hand(
    *,
    photo: Photo,
    joint: Joint,
    criterion: Criterion,
    truth: dict[str, Any],
    grader: User,
    at: datetime,
    rng: Random,
) -> Measurement | None:
    """Measure what the criterion asks for; None where the view does not show it."""
    names = WHERE.get(criterion.quantity, {})
    if not measuring.is_read_on_photographs(criterion.quantity, joint):
        return None
    if not names or any(name not in truth for name in names.values()):
        return None
    marks = {kind: _set(truth[name], photo, rng) for kind, name in names.items()}
    return measuring.keep_measurement(
        photo=photo,
        quantity=criterion.quantity,
        marks=marks,
        options=measuring.options_for(
            joint=joint,
            criterion=criterion,
            winding=truth.get("wrap_direction", ""),
            full_turns=truth.get("wrap_extra_turns", 0) if criterion.quantity == "wrap" else 0,
        ),
        mark_uncertainty_px=1.0,
        actor=grader,
        at=at,
        joint=joint,
        criterion=criterion,
    )


def _set(where: Sequence[Any], photo: Photo, rng: Random) -> list[list[float]]:
    points = where if isinstance(where[0], Sequence) else [where]
    edges = photo.upright_width, photo.upright_height
    return [
        [
            min(max(round(coordinate + rng.gauss(0, HAND_PX), 1), 0.0), float(edge))
            for coordinate, edge in zip(point, edges, strict=True)
        ]
        for point in points
    ]

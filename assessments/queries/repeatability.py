"""What a grader's own repeated measurements show of how surely they set marks."""

from assessments.domain.marks import is_by_scale
from assessments.domain.repeatability import scatter
from assessments.models import Measurement
from people.models import User

LATEST = 400  # measurements of a grader that are looked at


def scatter_of(user: User) -> float:
    """By how many times this grader's marks scatter more than a pixel as shown; at least 1.

    One thing is what a criterion asks of a place, on one photograph. Marks kept again where they
    lay are not set again, so they count once. What was read by a scale is taken back to pixels: it
    says how the marks lay, whatever the scale was then.
    """
    rows = (
        Measurement.objects.filter(measured_by=user, criterion__isnull=False)
        .order_by("-pk")
        .values_list(
            "photo_id", "joint_id", "criterion_id", "quantity", "unit", "mm_per_px", "value",
            "marks", "budget", "mark_uncertainty_px", "options",
        )[:LATEST]
    )  # fmt: skip
    things: dict[tuple, dict[str, tuple[float, float]]] = {}
    for *place, quantity, unit, mm_per_px, value, marks, budget, sigma_px, options in rows:
        pixel = options.get("pixel_px")
        if not pixel or not budget.get("marks"):
            continue  # Kept before it was known how large a pixel was shown.
        u = budget["marks"] / sigma_px * pixel
        by = (is_by_scale(quantity, unit) and mm_per_px) or 1
        thing = things.setdefault((*place, quantity, unit), {})
        thing[str(marks)] = (value / by, u / by)
    return scatter(list(values.values()) for values in things.values())

"""The stated uncertainty of a measurement agrees with what random errors of the marks do to it.

Tolerance: the standard deviation over 3,000 settings of the marks is known to 1.3 % itself (one
standard deviation); it agrees with the stated u to 6 %. Errors are small beside the marks'
distances, where an uncertainty to first order is the whole of it.
"""

from dataclasses import replace

import numpy as np
import pytest

from assessments.domain.geometry import Quantity, Scale, measure
from tests.assessments.marks_placed import PLACED, cap, clearance, hollow, wrap

SETTINGS, TOLERANCE = 3000, 0.06
SIGMA = 0.25


@pytest.mark.parametrize(
    "one",
    [one for one in PLACED if one.quantity not in (Quantity.FILLET, Quantity.WETTING_ANGLE)],
    ids=lambda one: one.name,
)
def test_what_random_errors_do_is_what_is_stated(one):
    assert spread_over_stated(one, SETTINGS) == pytest.approx(1, abs=TOLERANCE)


@pytest.mark.slow
@pytest.mark.parametrize(
    "one",
    [hollow(45), hollow(150), hollow(2), hollow(90, bulges=True), cap(30), cap(90), cap(150)],
    ids=lambda one: one.name,
)
def test_what_random_errors_do_to_a_fitted_edge_is_what_is_stated(one):
    assert spread_over_stated(one, 500) == pytest.approx(1, abs=0.1)


def spread_over_stated(one, settings):
    """Standard deviation of the results over the uncertainty stated for the true marks."""
    rng = np.random.default_rng(sum(map(ord, one.name)))
    said = {"sigma_px": SIGMA, "options": one.options}
    stated = measure(one.quantity, one.marks, scale=one.scale, **said).u
    values = []
    for _ in range(settings):
        marks = {
            name: rng.normal(np.array(points, dtype=float), SIGMA)
            for name, points in one.marks.items()
        }
        scale, options = one.scale, one.options
        if scale is not None and scale.relative_u:
            scale = replace(scale, mm_per_px=scale.mm_per_px * rng.normal(1, scale.relative_u))
        if options.size_mm is not None:
            options = replace(options, size_mm=rng.normal(options.size_mm, options.size_u_mm))
        values.append(measure(one.quantity, marks, scale=scale, options=options).value)
    return np.std(values, ddof=1) / stated


@pytest.mark.parametrize("one", [clearance(1.3), wrap(213.5), hollow(90), cap(60)])
def test_uncertainty_grows_with_that_of_a_mark_and_is_nothing_without(one):
    u = measure(one.quantity, one.marks, sigma_px=1).u
    assert measure(one.quantity, one.marks, sigma_px=2).u == pytest.approx(2 * u)
    assert measure(one.quantity, one.marks, sigma_px=0).u == 0
    assert measure(one.quantity, one.marks).expanded == 2 * u


def test_the_scales_uncertainty_counts_in_millimetres():
    one = clearance(2.0)
    sure = measure(one.quantity, one.marks, scale=Scale(0.02, 0.0)).also["mm_u"]
    unsure = measure(one.quantity, one.marks, scale=Scale(0.02, 0.05)).also
    expected = np.hypot(sure, 0.05 * unsure["mm"])
    assert unsure["mm_u"] == pytest.approx(expected)

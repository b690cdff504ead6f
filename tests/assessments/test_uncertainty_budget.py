"""What the uncertainty of a measurement is made of: its terms, their shares, and their proof.

Terms are checked by Monte Carlo (JCGM 101): inputs are drawn from what is stated of them, and
the results' spread is that of the stated terms.
"""

from dataclasses import replace
from math import hypot, sqrt

import numpy as np
import pytest

from assessments.domain.geometry import Options, Quantity, Scale, View, measure
from assessments.domain.marks import Remark, is_proven
from assessments.domain.view import view_bound, with_bound
from tests.assessments.cameras import camera_in, off_plane
from tests.assessments.marks_placed import (
    BY_HAND,
    PLACED,
    UPRIGHT,
    cap,
    clearance,
    hollow,
    wrap,
    wrap_by_post,
)

DRAWS = 4000


def read(one, **more):
    return measure(one.quantity, one.marks, **{"options": one.options, "scale": one.scale} | more)


@pytest.mark.parametrize("view", [None, UPRIGHT, BY_HAND], ids=["above", "stand", "hand"])
@pytest.mark.parametrize("one", PLACED, ids=lambda one: one.name)
def test_the_terms_make_up_the_whole_and_their_shares_are_one(one, view):
    measured = read(one, view=view)
    assert hypot(*measured.terms.values()) == pytest.approx(measured.u)
    assert sum(measured.shares.values()) == pytest.approx(1)
    assert ("view" in measured.terms) == (view is not None)


def test_a_length_by_its_scale_has_the_uncertainty_that_the_fact_sheet_works_out():
    """40 px/mm, marks to 1.5 px, scale to 1 %, 1.20 mm: u = 0.0544 mm, by the fact sheet."""
    said = {"sigma_px": 1.5, "scale": Scale(1 / 40, 0.01)}
    ends = {"ends": [(100.0, 100.0), (148.0, 100.0)]}
    measured = measure(Quantity.LENGTH, ends, **said)
    assert measured.terms["marks"] == pytest.approx(0.0530, abs=5e-5)
    assert measured.terms["scale"] == pytest.approx(0.012)
    assert measured.u == pytest.approx(0.0544, abs=5e-5)
    # The same over a conductor of 0.764 ± 0.02 mm (one standard deviation): 1.571 ± 0.164 d.
    options = Options(unit="d", conductor_mm=0.764, conductor_u_mm=0.02)
    counted = measure(Quantity.LENGTH, ends, options=options, **said)
    assert (counted.value, counted.expanded) == (
        pytest.approx(1.571, abs=5e-4),
        pytest.approx(0.164, abs=5e-4),
    )
    assert counted.shares["size"] == pytest.approx(
        (0.02 / 0.764 * 1.571) ** 2 / 0.0822**2, rel=0.01
    )


SIZED = [
    (
        Quantity.LENGTH,
        {"ends": [(100.0, 100.0), (340.0, 280.0)]},
        Options(unit="D", overall_mm=1.27, overall_u_mm=0.05),
        Scale(0.02, 0.02),
    ),
    (
        Quantity.CLEARANCE,
        clearance(2.0).marks,
        Options(
            unit="d", conductor_mm=0.8, overall_mm=1.27, conductor_u_mm=0.02, overall_u_mm=0.05
        ),
        Scale(0.02, 0.02),
    ),
    (Quantity.CLEARANCE, clearance(2.0).marks, Options(unit="mm"), Scale(0.02, 0.03)),
    (Quantity.SCALE, {"ends": [(10.0, 10.0), (310.0, 410.0)]}, Options(size_mm=2, size_u_mm=0.03),
     None),
]  # fmt: skip


@pytest.mark.parametrize(("quantity", "marks", "options", "scale"), SIZED)
def test_drawing_every_input_anew_spreads_as_the_terms_say(quantity, marks, options, scale):
    """Monte Carlo over marks (normal), scale (normal) and sizes (rectangular)."""
    rng = np.random.default_rng(101)
    stated = measure(quantity, marks, sigma_px=0.5, scale=scale, options=options)
    values = []
    for _ in range(DRAWS):
        drawn = {name: rng.normal(np.array(points), 0.5) for name, points in marks.items()}
        sizes = {
            name: getattr(options, name)
            + rng.uniform(-1, 1) * sqrt(3) * getattr(options, name.replace("_mm", "_u_mm"))
            for name in ("conductor_mm", "overall_mm", "size_mm")
            if getattr(options, name) is not None
        }
        by = scale and replace(scale, mm_per_px=scale.mm_per_px * rng.normal(1, scale.relative_u))
        values.append(measure(quantity, drawn, scale=by, options=replace(options, **sizes)).value)
    # 4,000 draws know a standard deviation to 1.1 % (one standard deviation).
    assert np.std(values, ddof=1) == pytest.approx(stated.u, rel=0.04)


# The view


@pytest.mark.parametrize("setup", [UPRIGHT, BY_HAND], ids=["stand", "hand"])
@pytest.mark.parametrize(
    "one",
    [clearance(1.3), wrap(213.5), wrap_by_post(213.5), hollow(90), cap(60)],
    ids=lambda one: one.name,
)
def test_no_camera_within_the_set_up_moves_a_result_beyond_the_bound(one, setup):
    """Without errors of the marks the view alone moves the result, by its bound at most."""
    rng = np.random.default_rng(7)
    px_per_mm, middle = 40.0, np.array([400.0, 300.0])
    scale = Scale(1 / px_per_mm, 0.001)
    farthest = 0.0
    for _ in range(300):
        camera = camera_in(setup, rng, px_per_mm, at_bound=rng.uniform() < 0.5)
        marks = {}
        for name, points in one.marks.items():
            flat = (np.array(points, dtype=float) - middle) / px_per_mm
            off = off_plane(len(flat), setup.relief_mm, rng, at_bound=rng.uniform() < 0.5)
            if name == "centre":
                off = rng.uniform(0, setup.depth_mm, 1)
            marks[name] = camera.sees(np.column_stack([flat, off]))
        said = {"scale": scale, "options": one.options, "view": setup}
        measured = measure(one.quantity, marks, sigma_px=1e-9, **said)
        if Remark.VIEW_WIDE in measured.remarks:
            continue
        apart = abs(measured.value - one.value)
        if one.quantity == Quantity.WRAP:
            apart = min(apart, 360 - apart)
        assert apart <= 1.1 * measured.expanded, (camera, measured)
        farthest = max(farthest, apart / measured.expanded)
    assert farthest > 0.15  # Nor is the bound a bound of anything whatever.


def test_a_bound_adds_to_what_is_random_and_covers_wherever_the_view_lies():
    """P(|bias + error| > U) stays under 4.6 % whatever the bias within its bound."""
    rng = np.random.default_rng(5)
    errors = rng.normal(0, 1, 100_000)
    for bound in (0.1, 0.5, 1.0, 3.0, 10.0):
        u, term = with_bound(1.0, bound)
        assert hypot(1.0, term) == pytest.approx(u)
        for bias in np.linspace(-bound, bound, 5):
            beyond = np.abs(bias + errors) > 2 * u
            assert beyond.mean() < 0.048  # 4.55 %, and three standard deviations of the draws
            assert (bias + errors > 2 * u).mean() < 0.025


def test_a_view_from_exactly_above_adds_nothing():
    above = View(0, 0, 0, 100, 0, 30, 800, 600)
    assert read(clearance(1.3), view=above).u == pytest.approx(read(clearance(1.3)).u)
    assert view_bound(above, np.ones((1, 2)), np.ones((1, 2)), px_per_mm=40) == 0


def test_a_centre_on_the_top_of_the_post_is_worth_less_than_points_where_the_wire_lies():
    scale = Scale(1 / 40, 0.01)
    stand = replace(UPRIGHT, tilt_deg=5, depth_mm=3)
    by_centre = measure(Quantity.WRAP, wrap(213.5).marks, scale=scale, view=stand)
    by_post = measure(Quantity.WRAP, wrap_by_post(213.5).marks, scale=scale, view=stand)
    assert by_post.value == pytest.approx(213.5)
    assert by_post.expanded < by_centre.expanded / 2
    assert by_centre.shares["view"] > 0.5


def test_what_leans_too_far_for_its_centre_is_said_and_proves_nothing():
    hand = replace(BY_HAND, tilt_deg=30)
    measured = measure(Quantity.WRAP, wrap(225).marks, scale=Scale(1 / 40, 0.01), view=hand)
    assert Remark.VIEW_WIDE in measured.remarks
    assert not measured.is_proven
    assert is_proven([Remark.SETUP_NOT_QUALIFIED])


def test_where_no_scale_is_set_the_set_ups_field_stands_for_it():
    """The picture shows 20 mm or more, so 40 px/mm is the most that it can be."""
    by_field = measure(Quantity.WRAP, wrap_by_post(213.5).marks, view=UPRIGHT)
    by_scale = measure(
        Quantity.WRAP, wrap_by_post(213.5).marks, view=UPRIGHT, scale=Scale(1 / 40, 0.01)
    )
    assert by_field.u == pytest.approx(by_scale.u)


def test_the_view_of_the_scale_counts_in_what_is_read_by_it():
    ends = {"ends": [(100.0, 100.0), (148.0, 100.0)]}
    plain = measure(Quantity.LENGTH, ends, scale=Scale(1 / 40, 0.01))
    seen = measure(Quantity.LENGTH, ends, scale=Scale(1 / 40, 0.01, relative_view=0.02))
    assert seen.expanded == pytest.approx(plain.expanded + 0.02 * 1.2)
    assert seen.terms["scale"] == plain.terms["scale"]

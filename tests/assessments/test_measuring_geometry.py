"""Measuring on a photograph: known answers, what changes nothing, and what is refused."""

from contextlib import suppress
from dataclasses import replace
from math import cos, nan, pi, radians, sin

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from assessments.domain import circle
from assessments.domain.geometry import (
    Across,
    EdgeMissesBase,
    EdgeUnclear,
    MarkNotOnPhotograph,
    MarksCoincide,
    MarksRefused,
    Options,
    Quantity,
    Remark,
    Scale,
    SideUnclear,
    SizeNotKnown,
    TooFewMarks,
    TooManyMarks,
    TurnsNotPossible,
    Winding,
    measure,
)
from tests.assessments.marks_placed import (
    PLACED,
    Placed,
    arc_marks,
    cap,
    clearance,
    hollow,
    straight_edge,
    wrap,
)

FEW = settings(max_examples=40, deadline=None, derandomize=True)
GANDER = np.array([[1.0, 7], [2, 6], [5, 8], [7, 7], [9, 5], [3, 7]])


def found(one: Placed, **changed):
    said = {"scale": one.scale, "options": one.options} | changed
    return measure(one.quantity, one.marks, **said)


# Known answers


@pytest.mark.parametrize("one", PLACED, ids=lambda one: one.name)
def test_marks_set_by_construction_give_what_they_were_constructed_for(one):
    assert found(one).value == pytest.approx(one.value, abs=1e-9)


def test_the_circle_fit_gives_the_published_answer():
    """Gander, Golub and Strebel, BIT 34 (1994), print 4.7398, 2.9835 and 4.7142."""
    centre, radius = circle.fit(GANDER).in_pixels()
    assert centre == pytest.approx([4.739782, 2.983533], abs=1e-6)
    assert radius == pytest.approx(4.714226, abs=1e-6)
    squares = ((np.hypot(*(GANDER - centre).T) - radius) ** 2).sum()
    assert squares == pytest.approx(1.227599, abs=1e-6)


def test_the_circle_fit_of_a_short_noisy_arc_is_the_geometric_one():
    """Radii within 2 % over 60 degrees: 1.083261, where an algebraic fit gives 0.986475."""
    radii = [1.02, 0.98, 1.01, 0.99, 1.02, 0.98, 1.01]
    marks = [
        (r * cos(radians(at)), r * sin(radians(at)))
        for r, at in zip(radii, range(60, 121, 10), strict=True)
    ]
    assert circle.fit(np.array(marks)).in_pixels()[1] == pytest.approx(1.083261, abs=1e-6)


def test_no_fit_of_another_method_lies_nearer_to_the_marks():
    rng = np.random.default_rng(11)
    for _ in range(60):
        radius, arc_deg = rng.uniform(40, 400), rng.uniform(15, 280)
        marks = np.array(arc_marks(radius=radius, from_deg=0, to_deg=arc_deg, count=8))
        marks += rng.normal(0, 1.5, marks.shape) + rng.uniform(0, 3000, 2)
        arc = circle.fit(marks)
        mine = (arc.distance(arc.local(marks)) ** 2).sum() * arc.reach**2

        def misses(of, marks=marks):
            return np.hypot(marks[:, 0] - of[0], marks[:, 1] - of[1]) - of[2]

        start = [*marks.mean(axis=0) + rng.normal(0, radius, 2), radius]
        other = least_squares(misses, start, xtol=1e-14, ftol=1e-14, gtol=1e-14)
        assert mine <= 2 * other.cost * (1 + 1e-9)


@pytest.mark.parametrize(
    ("chord", "height", "angle"),
    [(2, 1, 90), (2, 0.5, 53.1301), (2, 0.268, 30.0), (2, 0.1763, 20.0), (1, 0.1, 22.62)],
)
def test_the_contact_angle_of_a_cap_follows_from_its_chord_and_height(chord, height, angle):
    """A spherical cap's contact angle is 2 atan(2s/c)."""
    radius = (chord**2 / 4 + height**2) / (2 * height)
    half = np.degrees(np.arcsin(min(chord / 2 / radius, 1)))
    marks = arc_marks(radius=100 * radius, from_deg=-90 - half, to_deg=-90 + half)
    base = 100 * (height - radius)
    placed = {
        "edge": marks,
        "base": [(-300, base), (300, base)],
        "solder": [(0, base - 50 * height)],
    }
    assert measure(Quantity.WETTING_ANGLE, placed).value == pytest.approx(angle, abs=0.01)
    fillet = {"edge": marks, "solder": placed["solder"]}
    assert measure(Quantity.FILLET, fillet).value == pytest.approx(-height / chord, abs=1e-6)


def test_a_length_with_its_uncertainty_comes_out_as_the_worked_budget():
    """40 px to the millimetre, 1.5 px at each end, a scale good to 1 %: 1.20 ± 0.109 mm."""
    marks = {"ends": [(0, 0), (48, 0)]}
    read = measure(Quantity.LENGTH, marks, sigma_px=1.5, scale=Scale(1 / 40, 0.01))
    assert (read.value, read.unit) == (pytest.approx(1.2), "mm")
    assert read.u == pytest.approx(0.0544, abs=5e-5)
    assert read.expanded == pytest.approx(0.109, abs=5e-4)


def test_a_clearance_is_read_in_either_diameter_and_in_millimetres():
    one = clearance(1.3)
    known = Options(conductor_mm=0.8, overall_mm=1.28)
    assert found(one, options=known).unit == "D"
    in_d = found(one, options=replace(known, unit="d"))
    assert (in_d.value, in_d.unit) == (pytest.approx(1.3 * 1.6), "d")
    mm = found(one, options=replace(known, unit="mm"), scale=Scale(0.032, 0.0))
    assert (mm.value, mm.unit) == (pytest.approx(1.3 * 40 * 0.032), "mm")
    assert found(one, scale=Scale(0.032, 0.01)).also["mm"] == pytest.approx(1.3 * 40 * 0.032)


def test_marks_across_the_bare_conductor_lie_on_the_other_side_of_the_insulation():
    one = clearance(1.3)
    ahead = np.array(one.marks["across"]) + 60 * np.array([cos(0.5), sin(0.5)])
    marks = one.marks | {"across": ahead.tolist()}
    read = measure(Quantity.CLEARANCE, marks, options=Options(across=Across.CONDUCTOR))
    assert (read.value, read.unit) == (pytest.approx(1.3), "d")


def test_the_two_ways_round_a_post_make_a_whole_turn():
    one = wrap(213.5)
    other = found(one, options=Options(winding=Winding.ANTICLOCKWISE))
    assert found(one).value + other.value == pytest.approx(360)


# What changes nothing


def moved(one: Placed, turn: float, across: float, down: float, times: float) -> Placed:
    c, s = times * cos(turn), times * sin(turn)
    marks = {
        name: [(c * x - s * y + across, s * x + c * y + down) for x, y in points]
        for name, points in one.marks.items()
    }
    scale = one.scale and Scale(one.scale.mm_per_px / times, one.scale.relative_u)
    return replace(one, marks=marks, scale=scale)


@pytest.mark.parametrize("one", PLACED, ids=lambda one: one.name)
@FEW
@given(
    turn=st.floats(0, 2 * pi),
    across=st.floats(-3000, 3000),
    down=st.floats(-3000, 3000),
    times=st.floats(0.2, 8),
)
def test_turning_moving_and_scaling_the_photograph_changes_no_result(
    one, turn, across, down, times
):
    if one.quantity == Quantity.SCALE:
        times = 1.0
    before = found(one)
    after = found(moved(one, turn, across, down, times), sigma_px=times)
    assert after.value == pytest.approx(before.value, rel=1e-7, abs=1e-7)
    assert after.u == pytest.approx(before.u, rel=1e-5)
    assert after.unit == before.unit
    assert set(after.remarks) - {Remark.SMALL_WIRE} == set(before.remarks) - {Remark.SMALL_WIRE}


@pytest.mark.parametrize(
    "one", [one for one in PLACED if one.quantity != Quantity.SCALE], ids=lambda one: one.name
)
def test_a_mirrored_photograph_shows_the_same(one):
    marks = {name: [(-x, y) for x, y in points] for name, points in one.marks.items()}
    other = {"clockwise": Winding.ANTICLOCKWISE, "anticlockwise": Winding.CLOCKWISE}
    options = replace(one.options, winding=other[one.options.winding])
    after = measure(one.quantity, marks, scale=one.scale, options=options)
    assert after.value == pytest.approx(found(one).value, abs=1e-9)


@FEW
@given(tilt=st.floats(-1, 1), bow=st.floats(-1e-4, 1e-4))
def test_a_nearly_straight_edge_gives_nearly_nothing_and_never_fails(tilt, bow):
    marks = [(30.0 * n, 30 * n * tilt + bow * (n - 3) ** 2) for n in range(7)]
    read = measure(Quantity.FILLET, {"edge": marks, "solder": [(90, 90 * tilt + 40)]})
    # The bow is 9 times itself at the chord's ends, over a chord of at least 180.
    assert abs(read.value) <= 9.01 * abs(bow) / 180 + 1e-12
    assert Remark.SHORT_ARC in read.remarks
    assert 0 < read.u < 0.05


def test_the_side_of_the_solder_decides_between_hollow_and_bulging():
    one = hollow(90)
    assert found(one).value > 0
    assert found(hollow(90, bulges=True)).value == pytest.approx(-found(one).value)


def test_the_order_of_the_marks_along_the_edge_may_be_turned_round():
    one = hollow(150)
    back = replace(one, marks=one.marks | {"edge": one.marks["edge"][::-1]})
    assert found(back).value == pytest.approx(found(one).value)


# What is said, and what is refused


def test_an_arc_under_sixty_degrees_is_said_with_the_result():
    assert Remark.SHORT_ARC in found(hollow(59)).remarks
    assert Remark.SHORT_ARC not in found(hollow(61)).remarks
    assert found(hollow(59)).also["arc_deg"] == pytest.approx(59)


def test_what_lies_outside_the_proven_range_is_said_with_the_result():
    assert Remark.FLAT_ANGLE in found(cap(8)).remarks
    assert Remark.FLAT_ANGLE not in found(cap(30)).remarks
    assert Remark.FLAT_ANGLE in found(cap(12), sigma_px=8).remarks  # U reaches down to nothing
    small = moved(clearance(1.3), 0, 0, 0, 11.9 / 40)
    assert Remark.SMALL_WIRE in found(small).remarks
    assert Remark.SMALL_WIRE not in found(clearance(1.3)).remarks
    tiny = found(wrap(200), scale=Scale(0.08, 0.01), options=Options(conductor_mm=0.8))
    assert Remark.SMALL_WIRE in tiny.remarks
    assert Remark.WHOLE_TURN in found(wrap(359)).remarks
    assert Remark.WHOLE_TURN in found(wrap(1, full_turns=1)).remarks
    assert Remark.WHOLE_TURN not in found(wrap(340)).remarks
    assert Remark.SCALE_UNSURE in found(PLACED[1], scale=Scale(0.02)).remarks


EDGE = hollow(90).marks["edge"]
SOLDER = hollow(90).marks["solder"]
SCATTERED = [(20, 10), (10, 10), (10, 0), (20, 0), (30, 30)]


@pytest.mark.parametrize(
    ("quantity", "marks", "options", "refusal"),
    [
        ("fill", {"bottom": [(0, 0)], "top": [(0, 9)]}, {}, TooFewMarks),
        ("fillet", {"edge": EDGE[:4], "solder": SOLDER}, {}, TooFewMarks),
        ("length", {"ends": [(0, 0), (1, 1), (2, 2)]}, {}, TooManyMarks),
        ("length", {"ends": [(0, 0), (nan, 1)]}, {}, MarkNotOnPhotograph),
        ("length", {"ends": [(0, 0), (1e9, 1)]}, {}, MarkNotOnPhotograph),
        ("length", {"ends": [(5, 5), (5, 5)]}, {}, MarksCoincide),
        ("fill", {"bottom": [(3, 3)], "top": [(3, 3)], "level": [(1, 1)]}, {}, MarksCoincide),
        ("wrap", {"centre": [(3, 3)], "start": [(3, 3)], "end": [(1, 1)]}, {}, MarksCoincide),
        ("fillet", {"edge": [*EDGE, EDGE[2]], "solder": SOLDER}, {}, MarksCoincide),
        ("fillet", {"edge": EDGE, "solder": [EDGE[3]]}, {}, SideUnclear),
        ("fillet", {"edge": SCATTERED, "solder": [(3.3, 77)]}, {}, EdgeUnclear),
        (
            "wetting_angle",
            {"edge": EDGE, "solder": SOLDER, "base": [SOLDER[0], (0, 0)]},
            {},
            SideUnclear,
        ),
        (
            "wetting_angle",
            {"edge": EDGE, "solder": SOLDER, "base": [(0, 900), (800, 900)]},
            {},
            EdgeMissesBase,
        ),
        (
            "clearance",
            {"insulation": [(0, 0)], "joint": [(50, 0)], "across": [(0, -9), (0, 9)]},
            {},
            SideUnclear,
        ),
        ("scale", {"ends": [(0, 0), (9, 9)]}, {}, SizeNotKnown),
        ("scale", {"ends": [(0, 0), (9, 9)]}, {"size_mm": -1.0}, SizeNotKnown),
        ("length", {"ends": [(0, 0), (9, 9)]}, {"unit": "d"}, SizeNotKnown),
        (
            "wrap",
            {"centre": [(0, 0)], "start": [(9, 0)], "end": [(0, 9)]},
            {"full_turns": 2},
            TurnsNotPossible,
        ),
    ],
)
def test_marks_that_give_no_result_are_refused_by_name(quantity, marks, options, refusal):
    with pytest.raises(refusal) as refused:
        measure(
            Quantity(quantity),
            marks,
            scale=Scale(0.02, 0.01) if options else None,
            options=Options(**options),
        )
    assert str(refused.value).endswith(".")
    assert refused.value.code


def test_a_length_without_a_scale_is_refused():
    with pytest.raises(SizeNotKnown, match="scale first"):
        measure(Quantity.LENGTH, {"ends": [(0, 0), (9, 9)]})


@FEW
@given(
    st.lists(
        st.tuples(st.floats(-2e3, 2e3), st.floats(-2e3, 2e3)), min_size=5, max_size=9, unique=True
    ),
    st.tuples(st.floats(-2e3, 2e3), st.floats(-2e3, 2e3)),
)
def test_whatever_the_marks_there_is_a_finite_result_or_a_named_refusal(edge, solder):
    marks = {"edge": edge, "solder": [solder], "base": [(0.0, 0.0), (100.0, 3.0)]}
    for quantity in (Quantity.FILLET, Quantity.WETTING_ANGLE):
        with suppress(MarksRefused):  # Anything else would surface.
            read = measure(quantity, marks)
            assert np.isfinite([read.value, read.u]).all()
            assert {type(read.value), type(read.u)} == {float}


def test_a_straight_edge_is_measured_with_its_uncertainty():
    read = found(straight_edge())
    assert read.value == pytest.approx(0, abs=1e-12)
    assert read.u > 0

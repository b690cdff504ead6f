"""Drawn photographs: every joint and fault, alike each time, and true to what is said of them."""

import json
from functools import cache

import numpy as np
import pytest
from PIL import ImageChops

from demo.drawn import (
    FAULTS,
    KINDS,
    VIEWS,
    Position,
    draw_board,
    draw_joint,
    views_of,
)

SEEDS = range(4)
SMALL = (400, 300)
ALL = [(kind, fault) for kind in KINDS for fault in (None, *FAULTS[kind])]
ALL_VIEWS = [(kind, fault, view) for kind, fault in ALL for view in views_of(kind, fault)]
WRAPS = [
    (kind, fault)
    for kind in ("turret", "bifurcated", "hook", "pierced")
    for fault in (None, "wrap_short", "wrap_long")
    if fault is None or fault in FAULTS[kind]
]
FILLETS = [
    ("turret", None, "side"),
    ("turret", "excess", "side"),
    ("turret_two", "cold", "side"),
    ("hole", None, "side"),
    ("hole", "excess", "side"),
    ("hole", "nonwetted", "side"),
    ("hole", "insufficient", "side"),
]


@cache
def truth_of(kind, fault=None, *, seed, view=None):
    """What is said of a photograph: at a half of the size each way it is said as it is at whole."""
    return draw_joint(kind, fault, seed=seed, view=view, size=SMALL).truth


@cache
def good_beside(kind, seed, view):
    """The joint without a fault, which each fault of its kind is held against."""
    return draw_joint(kind, seed=seed, view=view, size=SMALL).image


def points_px(value):
    """Every point under a key of the truth, as an array of rows."""
    return np.atleast_2d(np.array(value, dtype=float))


def circle_through(points):
    """Centre and radius of the circle through points that lie on one, by linear least squares."""
    p = np.asarray(points)
    a = np.column_stack([2 * p, np.ones(len(p))])
    x, y, c = np.linalg.lstsq(a, (p**2).sum(axis=1), rcond=None)[0]
    return np.array([x, y]), np.sqrt(c + x * x + y * y)


def top_view(kind):
    return "end" if kind == "hook" else "top"


@pytest.mark.parametrize(("kind", "fault", "view"), ALL_VIEWS)
def test_every_kind_and_fault_is_drawn_from_every_view_that_shows_it(kind, fault, view):
    drawn = draw_joint(kind, fault, seed=3, view=view, label="E12")
    assert drawn.image.size == (800, 600)
    assert drawn.image.mode == "RGB"
    assert drawn.faults == ((fault,) if fault else ())
    assert drawn.view == view
    assert json.loads(json.dumps(drawn.truth))["kind"] == kind
    assert np.asarray(drawn.image).std() > 8  # not a blank sheet
    assert_lies_in(drawn.truth, (800, 600))


def assert_lies_in(truth, size):
    for key, value in truth.items():
        if key.endswith("_px") and not isinstance(value, float):
            points = points_px(value)
            assert (points >= 0).all(), key
            assert (points <= size).all(), key


@pytest.mark.parametrize(("kind", "fault"), ALL)
def test_one_seed_gives_one_photograph_and_one_truth(kind, fault):
    first, again = (draw_joint(kind, fault, seed=11, size=SMALL) for _ in range(2))
    assert first.image.tobytes() == again.image.tobytes()
    assert first.truth == again.truth


@pytest.mark.parametrize("kind", KINDS)
def test_another_seed_gives_another_photograph(kind):
    seen = {draw_joint(kind, seed=seed, size=SMALL).image.tobytes() for seed in range(6)}
    assert len(seen) == 6


@pytest.mark.parametrize(("kind", "fault", "view"), [row for row in ALL_VIEWS if row[1]])
def test_every_fault_shows_beside_the_good_joint_of_the_same_seed(kind, fault, view):
    for seed in (0, 1):
        good = good_beside(kind, seed, view)
        bad = draw_joint(kind, fault, seed=seed, view=view, size=SMALL).image
        apart = np.asarray(ImageChops.difference(good, bad)).max(axis=2)
        assert (apart > 40).mean() > 0.001, f"seed {seed}: too like the good joint"
        assert (apart > 40).mean() < 0.5, f"seed {seed}: a different photograph altogether"


@pytest.mark.parametrize(("kind", "fault", "view"), ALL_VIEWS)
def test_every_point_of_the_truth_lies_in_the_photograph(kind, fault, view):
    for seed in (0, 5):
        assert_lies_in(truth_of(kind, fault, seed=seed, view=view), SMALL)


@pytest.mark.parametrize(("kind", "fault"), WRAPS)
def test_contact_points_stand_at_the_wrap_angle_in_the_direction_said(kind, fault):
    directions = set()
    for seed in range(8):
        truth = truth_of(kind, fault, seed=seed, view=top_view(kind))
        directions.add(truth["wrap_direction"])
        centre = np.array(truth["wrap_centre_px"])
        start = np.array(truth["contact_start_px"]) - centre
        end = np.array(truth["contact_end_px"]) - centre
        assert np.hypot(*start) == pytest.approx(np.hypot(*end))
        swept = np.degrees(np.arctan2(end[1], end[0]) - np.arctan2(start[1], start[0]))
        if truth["wrap_direction"] == "anticlockwise":
            swept = -swept
        turns = truth["wrap_extra_turns"]
        assert swept % 360 + 360 * turns == pytest.approx(truth["wrap_deg"])
    assert directions == {"clockwise", "anticlockwise"}


@pytest.mark.parametrize(
    ("kind", "fault", "low", "high"),
    [
        ("turret", None, 180, 270),
        ("turret", "wrap_short", 45, 179),
        ("turret", "wrap_long", 361, 720),
        ("bifurcated", None, 90, 100),
        ("bifurcated", "wrap_short", 0, 89),
        ("hook", None, 180, 270),
        ("hook", "wrap_short", 45, 179),
        ("pierced", None, 120, 270),
        ("pierced", "wrap_short", 0, 89),
    ],
)
def test_wrap_is_good_work_unless_it_is_the_fault(kind, fault, low, high):
    wraps = [truth_of(kind, fault, seed=seed)["wrap_deg"] for seed in range(12)]
    assert all(low <= wrap <= high for wrap in wraps)
    assert len(set(wraps)) == 12


@pytest.mark.parametrize("kind", ["turret", "bifurcated", "hook", "pierced", "cup"])
@pytest.mark.parametrize("fault", [None, "clearance_none", "clearance_wide"])
def test_clearance_runs_along_the_wire_from_contact_to_insulation(kind, fault):
    for seed in SEEDS:
        truth = truth_of(kind, fault, seed=seed, view=top_view(kind))
        left, right = points_px(truth["across_wire_px"])
        across = right - left
        assert np.hypot(*across) == pytest.approx(truth["insulated_mm"] * truth["px_per_mm"])
        insulation = np.array(truth["insulation_end_px"])
        gap = insulation - np.array(truth["first_contact_px"])
        assert gap @ across == pytest.approx(0, abs=1e-6)
        assert np.hypot(*gap) == pytest.approx(abs(truth["clearance_px"]))
        # The marks across the wire lie on its insulation: farther from the joint than its end.
        away = (left + right) / 2 - insulation
        assert np.sign(gap @ away) == np.sign(truth["clearance_px"])
        clearance_mm = truth["clearance_mm"]
        assert truth["clearance_px"] == pytest.approx(clearance_mm * truth["px_per_mm"])
        assert truth["clearance_D"] == pytest.approx(clearance_mm / truth["insulated_mm"])
        assert truth["clearance_d"] == pytest.approx(clearance_mm / truth["conductor_mm"])
        low, high = {"clearance_none": (-1, 0), "clearance_wide": (2.2, 4)}.get(fault, (0.5, 2))
        assert low <= truth["clearance_D"] <= high


@pytest.mark.parametrize(("kind", "fault", "view"), FILLETS)
def test_fillet_points_lie_on_the_arc_whose_sagitta_and_angle_are_stated(kind, fault, view):
    for seed in SEEDS:
        truth = truth_of(kind, fault, seed=seed, view=view)
        edge = points_px(truth["fillet_points_px"])
        centre, radius = circle_through(edge)
        assert np.hypot(*(edge - centre).T) == pytest.approx(radius, rel=1e-6)
        middle, chord = edge[len(edge) // 2], np.hypot(*(edge[-1] - edge[0]))
        sagitta = np.hypot(*(middle - (edge[0] + edge[-1]) / 2))
        inside = np.array(truth["fillet_inside_px"]) - middle
        hollow = inside @ (centre - middle) < 0
        signed = sagitta / chord * (1 if hollow else -1)
        assert signed == pytest.approx(truth["fillet_sagitta_by_chord"], abs=1e-6)
        far, near = points_px(truth["base_line_px"])
        base = (near - far) / np.hypot(*(near - far))
        off = edge[0] - far
        assert base[0] * off[1] - base[1] * off[0] == pytest.approx(0, abs=1e-6)
        spoke = edge[0] - centre
        tangent = np.array([-spoke[1], spoke[0]])
        if tangent @ (edge[1] - edge[0]) < 0:
            tangent = -tangent
        cosine = tangent @ base / np.hypot(*tangent)
        angle = np.degrees(np.arccos(cosine))
        assert angle == pytest.approx(truth["wetting_angle_deg"], abs=1e-6)


@pytest.mark.parametrize("fault", [None, "excess", "nonwetted"])
def test_the_fillet_in_the_picture_ends_where_its_points_say(fault):
    for seed in SEEDS:
        drawn = draw_joint("hole", fault, seed=seed, view="side")
        grey = np.asarray(drawn.image.convert("L")).astype(float)
        edge = points_px(drawn.truth["fillet_points_px"])
        centre, radius = circle_through(edge)
        inside = np.array(drawn.truth["fillet_inside_px"])
        inwards = np.sign(radius - np.hypot(*(inside - centre)))
        for point in edge[2:-2]:
            step = (centre - point) / radius * inwards
            at = [np.floor(point + step * reach).astype(int) for reach in (4.0, -4.0)]
            solder, resin = (grey[row, column] for column, row in at)
            assert solder > resin + 40, (seed, point)


@pytest.mark.parametrize(
    ("kind", "fault", "view"),
    [("cup", None, "top"), ("cup", "cup_underfilled", "top"),
     ("hole", None, "side"), ("hole", "hole_underfilled", "side")],
)  # fmt: skip
def test_fill_is_the_level_between_bottom_and_top(kind, fault, view):
    for seed in SEEDS:
        truth = truth_of(kind, fault, seed=seed, view=view)
        bottom, top, level = (
            np.array(truth[f"fill_{name}_px"]) for name in ("bottom", "top", "level")
        )
        axis = top - bottom
        assert 100 * (level - bottom) @ axis / (axis @ axis) == pytest.approx(truth["fill_percent"])
        assert (truth["fill_percent"] < 75) == (fault is not None)


def test_lengths_stand_in_the_picture_at_its_scale():
    for seed in SEEDS:
        for kind, fault, points, length in (
            ("wire", None, "strip_points_px", "strip_mm"),
            ("wire", None, "tinned_points_px", "tinned_mm"),
            ("wire", "tinning_gap_none", "tinned_points_px", "tinned_mm"),
            ("hole", "lead_too_long", "protrusion_points_px", "protrusion_mm"),
            ("hole", "lead_too_long", "across_lead_px", "lead_mm"),
        ):
            truth = truth_of(kind, fault, seed=seed)
            first, last = points_px(truth[points])
            assert np.hypot(*(last - first)) == pytest.approx(truth[length] * truth["px_per_mm"])


def test_tinning_leaves_a_gap_unless_that_is_the_fault():
    for seed in SEEDS:
        assert truth_of("wire", seed=seed)["tinning_gap_mm"] > 0.5
        assert truth_of("wire", "tinning_gap_none", seed=seed)["tinning_gap_mm"] < 0


def test_the_land_is_wetted_all_round_unless_that_is_the_fault():
    for seed in SEEDS:
        assert truth_of("hole", seed=seed)["land_wetted_deg"] == 360
        truth = truth_of("hole", "hole_no_wetting", seed=seed)
        centre = np.array(truth["land_centre_px"])
        first, last = (np.array(truth[f"wetted_{end}_px"]) - centre for end in ("from", "to"))
        swept = np.degrees(np.arctan2(last[1], last[0]) - np.arctan2(first[1], first[0]))
        if truth["mirrored"]:
            swept = -swept
        assert swept % 360 == pytest.approx(truth["land_wetted_deg"])
        assert truth["land_wetted_deg"] < 270


def test_a_wire_that_is_not_on_its_base_stands_off_it_by_the_gap_said():
    for seed in SEEDS:
        for fault, lifted in ((None, False), ("wire_not_on_base", True)):
            truth = truth_of("turret", fault, seed=seed, view="side")
            gap = np.hypot(*(np.array(truth["wire_bottom_px"]) - np.array(truth["base_px"])))
            assert gap == pytest.approx(truth["wire_above_base_mm"] * truth["px_per_mm"], abs=1e-6)
            assert (truth["wire_above_base_mm"] > 0) == lifted


def test_two_wires_are_told_of_one_by_one():
    truth = truth_of("turret_two", "wrap_short", seed=5)
    lower, upper = truth["wires"]
    assert lower["wrap_deg"] >= 180 > upper["wrap_deg"]
    assert truth["wrap_deg"] == upper["wrap_deg"]


def test_a_smaller_photograph_shows_the_same_joint_smaller():
    large = draw_joint("turret", seed=8)
    small = draw_joint("turret", seed=8, size=(400, 300))
    assert small.image.size == (400, 300)
    assert small.truth["px_per_mm"] == pytest.approx(large.truth["px_per_mm"] / 2)
    assert small.truth["wrap_deg"] == large.truth["wrap_deg"]


def test_joints_of_one_batch_share_their_wire():
    joints = [draw_joint("turret", seed=seed, batch=4, size=SMALL) for seed in range(6)]
    wires = {joint.truth["insulation"] for joint in joints}
    loose = {truth_of("turret", seed=seed)["insulation"] for seed in range(6)}
    assert len(wires) == 1
    assert len(loose) > 1


def test_a_label_is_printed_on_the_board():
    plain, named = draw_joint("turret", seed=2), draw_joint("turret", seed=2, label="E7")
    assert plain.image.tobytes() != named.image.tobytes()
    assert plain.truth == named.truth


def test_every_fault_can_be_seen_from_some_view():
    for kind, fault in ALL:
        assert views_of(kind, fault)
        assert set(views_of(kind, fault)) <= set(VIEWS[kind])


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ({"kind": "rivet"}, "Kinds: turret"),
        ({"kind": "cup", "fault": "wrap_short"}, "Its faults: cup_underfilled"),
        ({"kind": "cup", "view": "side"}, "Its views: top"),
        ({"kind": "turret", "fault": "wire_not_on_base", "view": "top"}, "that show it: side"),
        ({"kind": "hole", "size": (800, 20)}, "too small"),
    ],
)
def test_what_cannot_be_drawn_is_refused_with_what_can(arguments, says):
    with pytest.raises(ValueError, match=says):
        draw_joint(**arguments, seed=1)


def board_positions():
    return [
        Position(f"E{number}", kind, (7 + 12 * (number % 4), 7 + 10 * (number // 4)), fault, number)
        for number, (kind, fault) in enumerate(
            [(kind, None) for kind in KINDS] + [("turret", "excess"), ("hole", "bridge")]
        )
    ]


def test_a_board_shows_every_position_and_names_its_faults():
    board = draw_board(board_positions(), seed=3, label="CA-B-00012", size=(800, 600))
    again = draw_board(board_positions(), seed=3, label="CA-B-00012", size=(800, 600))
    assert board.image.tobytes() == again.image.tobytes()
    assert board.faults == ("bridge", "excess")
    places = board.truth["positions"]
    assert list(places) == [position.name for position in board_positions()]
    for place in places.values():
        assert 0 < place["centre_px"][0] < 800
        assert 0 < place["centre_px"][1] < 600
    apart = np.array([place["centre_px"] for place in places.values()])
    across = np.hypot(*(apart[1] - apart[0])) / board.truth["px_per_mm"]
    assert across == pytest.approx(12, abs=2 / board.truth["px_per_mm"])


def test_a_board_without_positions_or_with_an_unknown_fault_is_refused():
    with pytest.raises(ValueError, match="at least one position"):
        draw_board([], seed=1)
    with pytest.raises(ValueError, match="not drawn with the fault"):
        draw_board([Position("E1", "cup", (7, 7), "wrap_long")], seed=1)

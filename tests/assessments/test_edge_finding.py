"""Edges found near a click: on pictures whose edges are known exactly, and on drawn joints."""

from itertools import combinations
from math import cos, hypot, radians, sin

import numpy as np
import pytest
from scipy.ndimage import zoom

from assessments.exceptions import NoEdgeFound, PictureTooSmall
from assessments.imaging import edge_finding
from demo.drawn import draw_joint

SIDE = 320
FINE = 5  # Each pixel is the mean of 25: edges lie where they were put, to a fiftieth of one.


def picture_of(shade) -> np.ndarray:
    """A picture whose brightness is told by a function of x and y in pixels."""
    fine = (np.arange(SIDE * FINE) + 0.5) / FINE
    bright = shade(fine[None, :], fine[:, None]).reshape(SIDE, FINE, SIDE, FINE).mean(axis=(1, 3))
    grain = np.random.default_rng(3).normal(0, 2, (SIDE, SIDE, 3))
    return edge_finding.prepared(bright[..., None] * np.array([1.0, 0.8, 0.6]) + grain)


def wire_at(angle_deg: float, width: float, end: float | None = None):
    """A bright wire through the middle; from `end` on, along it, darker and half as wide."""
    along_x, along_y = cos(radians(angle_deg)), sin(radians(angle_deg))

    def shade(x, y):
        u = (x - 160) * along_x + (y - 160) * along_y
        v = np.abs((y - 160) * along_x - (x - 160) * along_y)
        half = width / 2 if end is None else np.where(u < end, width / 2, width / 4)
        tone = 200.0 if end is None else np.where(u < end, 200.0, 120.0)
        return np.where(v < half, tone, 60.0)

    return shade


@pytest.mark.parametrize("angle_deg", [0, 17, 45, 90, 133.7, 179])
@pytest.mark.parametrize("width", [12.3, 40])
def test_both_edges_of_a_wire_are_found_to_a_quarter_of_a_pixel(angle_deg, width):
    picture = picture_of(wire_at(angle_deg, width))

    found = edge_finding.find_wire(picture, (160 + 0.1 * width, 160 - 0.1 * width))

    assert found.width_px == pytest.approx(width, abs=0.25)
    turned = abs(found.direction_rad - radians(angle_deg)) % np.pi
    assert min(turned, np.pi - turned) < radians(2)
    for x, y in found.edges:
        off_axis = (y - 160) * cos(radians(angle_deg)) - (x - 160) * sin(radians(angle_deg))
        assert abs(off_axis) == pytest.approx(width / 2, abs=0.25)


@pytest.mark.parametrize("angle_deg", [0, 30, 200])
def test_the_end_of_the_insulation_is_found_from_a_click_on_it(angle_deg):
    picture = picture_of(wire_at(angle_deg, 48, end=21.4))
    along = np.array([cos(radians(angle_deg)), sin(radians(angle_deg))])

    found = edge_finding.find_insulation_end(picture, tuple(160 - 8 * along))

    assert (np.array(found.end) - 160) @ along == pytest.approx(21.4, abs=0.5)
    assert hypot(*np.subtract(*found.across)) == pytest.approx(48, abs=0.4)


@pytest.mark.parametrize("hidden_deg", [0, 150])
def test_a_post_is_found_from_a_click_on_its_edge_though_a_wire_hides_a_part(hidden_deg):
    def shade(x, y):
        radius, angle = np.hypot(x - 150.3, y - 170.8), np.arctan2(y - 170.8, x - 150.3)
        inside = np.where(radius < 61.7, 190.0, 70.0)
        return np.where(
            (np.abs(angle) < radians(hidden_deg / 2)) & (radius > 40) & (radius < 85), 130.0, inside
        )

    found = edge_finding.find_post(picture_of(shade), (150.3 - 61.7 - 1.5, 171.5))

    assert found.centre == pytest.approx((150.3, 170.8), abs=0.25)
    assert found.radius_px == pytest.approx(61.7, abs=0.25)
    for x, y in found.points:
        assert hypot(x - 150.3, y - 170.8) == pytest.approx(61.7, abs=1.0)
    apart = [hypot(*np.subtract(a, b)) for a, b in combinations(found.points, 2)]
    assert min(apart) > 10


def test_the_edge_of_a_fillet_is_followed_from_toe_to_top():
    def shade(x, y):  # A hollow fillet: outside a circle of 90 pixels about (200, 120).
        return np.where((np.hypot(x - 200, y - 120) > 90) & (x < 200) & (y > 120), 180.0, 50.0)

    toe, top = (200 - 2, 210 - 1), (110 + 2, 120 + 4)
    found = edge_finding.find_edge_between(picture_of(shade), toe, top)

    assert len(found) == 9
    for x, y in found:
        assert hypot(x - 200, y - 120) == pytest.approx(90, abs=0.6)
    from_toe = [hypot(x - toe[0], y - toe[1]) for x, y in found]
    assert from_toe == sorted(from_toe)


@pytest.mark.parametrize("kind", ["flat", "grain"])
def test_nothing_is_proposed_where_nothing_is_to_be_seen(kind):
    def shade(x, y):
        return np.full(np.broadcast_shapes(x.shape, y.shape), 128.0)

    picture = picture_of(shade)
    if kind == "flat":
        picture = np.full_like(picture, 0.5)
    for find in (
        lambda: edge_finding.find_wire(picture, (160, 160)),
        lambda: edge_finding.find_insulation_end(picture, (160, 160)),
        lambda: edge_finding.find_post(picture, (160, 160)),
        lambda: edge_finding.find_edge_between(picture, (100, 100), (180, 200)),
    ):
        with pytest.raises(NoEdgeFound):
            find()


@pytest.mark.parametrize("click", [(0, 0), (SIDE, SIDE), (2.5, SIDE - 1)])
def test_a_click_at_the_border_is_answered_too(click):
    picture = picture_of(wire_at(20, 40))
    for find in (edge_finding.find_wire, edge_finding.find_insulation_end, edge_finding.find_post):
        try:
            found = find(picture, click)
        except NoEdgeFound:
            continue
        points = {
            edge_finding.find_wire: lambda wire: wire.edges,
            edge_finding.find_insulation_end: lambda end: (end.end, *end.across),
            edge_finding.find_post: lambda post: post.points,
        }[find](found)
        assert len(points) >= 2
        assert np.isfinite(points).all()


def test_a_picture_that_is_too_small_is_refused():
    with pytest.raises(PictureTooSmall, match="less than 64 pixels"):
        edge_finding.prepared(np.zeros((20, 400, 3)))


@pytest.mark.parametrize("seed", range(6))
def test_whatever_is_clicked_in_whatever_picture_an_edge_is_found_or_refused(seed):
    """Nothing else is raised, or the service would call a fault of ours an unclear edge."""
    random = np.random.default_rng(seed)
    height, width = random.integers(64, 140, 2)
    pixels = random.integers(0, 256, (height, width, 3))
    pixels[: height // 2] = random.integers(0, 256, 3)  # a step, and grain below it
    if seed % 2:
        pixels = np.where(random.random((height, width, 1)) < 0.01, 255, 0) * np.ones(3)
    picture = edge_finding.prepared(pixels)
    for click, other in random.uniform((0, 0), (width, height), (4, 2, 2)):
        for find, clicks in (
            (edge_finding.find_wire, (click,)),
            (edge_finding.find_insulation_end, (click,)),
            (edge_finding.find_post, (click,)),
            (edge_finding.find_edge_between, (click, other)),
            (edge_finding.find_edge_between, (click, click)),
        ):
            try:
                assert find(picture, *map(tuple, clicks)) is not None
            except NoEdgeFound:
                continue


@pytest.mark.parametrize("seed", range(3))
def test_on_a_drawn_joint_edges_lie_where_they_were_drawn(seed):
    joint = draw_joint("hook", seed=seed + 2, size=(1000, 750), view="end")
    picture = edge_finding.prepared(np.asarray(joint.image))
    across, end = (
        np.array(joint.truth["across_wire_px"]),
        np.array(joint.truth["insulation_end_px"]),
    )
    behind = across.mean(axis=0) - end
    width = hypot(*(across[1] - across[0]))

    found = edge_finding.find_insulation_end(
        picture, tuple(end + behind / hypot(*behind) * 0.5 * width)
    )

    assert hypot(*np.subtract(*found.across)) == pytest.approx(width, abs=0.02 * width)
    off = (np.array(found.end) - end) @ behind / hypot(*behind)
    assert abs(off) < 0.03 * width


def test_twice_the_pixels_give_the_same_place():
    joint = draw_joint("wire", seed=2, size=(500, 375), view="top")
    small = np.asarray(joint.image, dtype=float)
    large = zoom(small, (2, 2, 1), order=1, grid_mode=True, mode="nearest")
    across = np.array(joint.truth["across_wire_px"])
    click = tuple(across.mean(axis=0) + (across.mean(axis=0) - joint.truth["insulation_end_px"]))

    once = edge_finding.find_wire(edge_finding.prepared(small), click)
    twice = edge_finding.find_wire(edge_finding.prepared(large), tuple(2 * np.array(click)))

    assert twice.width_px == pytest.approx(2 * once.width_px, rel=0.01)

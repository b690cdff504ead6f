"""Edges found from one click beside a person's marks, on drawn photographs whose truth is known.

    python -m benchmarks.finding_edges [photographs a row]

Each photograph is taken as it is, with the noise of a dark one, with glare over what is looked
for, and out of focus. The peer is a simulated person: the true place and, in each coordinate, an
error of one pixel as shown, in a picture shown 1,000 pixels wide. Both are given in pixels of the
photograph, as distances from the true edge (half of a normal error's are under 0.674 standard
deviations, half of those in two coordinates under 1.177); and how often nothing was found, or
something more than a twentieth of the wire's diameter away, which a grader has to drag.
"""

import os
import sys
import time
from collections import defaultdict
from collections.abc import Iterator

import django
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from assessments.exceptions import NoEdgeFound
from assessments.imaging import edge_finding
from demo.drawn import draw_joint

SIZE = (1600, 1200)
SHOWN = 1000
PERSON_PX = max(1.0, SIZE[0] / SHOWN)
POST = "post's centre"
CLICK_SHARE = 0.1
"""Of a wire's diameter: how far off a hurried click is, one standard deviation."""
VIEWS = [
    ("turret", "top"),
    ("turret", "side"),
    ("cup", "top"),
    ("wire", "top"),
    ("hook", "end"),
    ("hole", "side"),
]


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    django.setup()  # Refusals are worded in the reader's language.
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 12
    errors: dict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
    seconds: dict[tuple[str, str], list[float]] = defaultdict(list)
    for kind, view in VIEWS:
        for seed in range(count):
            joint = draw_joint(kind, seed=seed, size=SIZE, view=view)
            sound = np.asarray(joint.image, dtype=np.float32)
            for condition, picture in spoiled(sound, joint.truth, np.random.default_rng(seed)):
                measure(
                    picture,
                    joint.truth,
                    condition,
                    np.random.default_rng(seed + 1),
                    errors,
                    seconds,
                )
    print(f"{count} photographs of each of {len(VIEWS)} views, {SIZE[0]} x {SIZE[1]} pixels")
    print(
        f"{'edge':<16}{'photograph':<12}{'median px':>10}{'person px':>11}{'ratio':>7}"
        f"{'95 % px':>9}{'to drag':>9}{'s each':>8}"
    )
    for (edge, condition), found in errors.items():
        off = np.array([distance for distance, _limit in found])
        limit = np.array([farthest for _distance, farthest in found])
        drag = float((~(off <= limit)).mean())
        seen = off[np.isfinite(off)]
        middle, theirs = float(np.median(seen)), PERSON_PX * (1.177 if edge == POST else 0.674)
        each = float(np.median(seconds[edge, condition]))
        print(
            f"{edge:<16}{condition:<12}{middle:>10.2f}{theirs:>11.2f}{middle / theirs:>7.2f}"
            f"{float(np.quantile(seen, 0.95)):>9.2f}{drag:>8.0%} {each:>7.2f}"
        )


def spoiled(
    picture: NDArray, truth: dict, rng: np.random.Generator
) -> Iterator[tuple[str, NDArray]]:
    yield "as it is", picture
    yield "noise", np.clip(picture + rng.normal(0, 12, picture.shape), 0, 255)
    yield "glare", with_glare(picture, truth, rng)
    yield "blur", np.stack([gaussian_filter(picture[..., c], 3.0) for c in range(3)], axis=-1)


def with_glare(picture: NDArray, truth: dict, rng: np.random.Generator) -> NDArray:
    """Three burnt-out spots near what is looked for."""
    places = [
        truth[key]
        for key in ("insulation_end_px", "wrap_centre_px", "fillet_inside_px")
        if key in truth
    ]
    rows, columns = np.mgrid[: picture.shape[0], : picture.shape[1]]
    light = np.zeros(picture.shape[:2])
    for place in places:
        for _spot in range(3):
            x, y = np.array(place) + rng.normal(0, 60, 2)
            long, wide = rng.uniform(15, 60), rng.uniform(6, 18)
            angle = rng.uniform(0, np.pi)
            u = (columns - x) * np.cos(angle) + (rows - y) * np.sin(angle)
            v = (rows - y) * np.cos(angle) - (columns - x) * np.sin(angle)
            light += 300 * np.exp(-((u / long) ** 2 + (v / wide) ** 2))
    return np.clip(picture + light[..., None], 0, 255)


def measure(picture, truth, condition, rng, errors, seconds) -> None:
    begun = time.perf_counter()
    ready = edge_finding.prepared(picture)
    preparing = time.perf_counter() - begun

    def tried(edge: str, limit: float, find) -> None:
        begun = time.perf_counter()
        try:
            off = find()
        except NoEdgeFound:
            off = [np.inf]
        seconds[edge, condition].append(preparing + time.perf_counter() - begun)
        errors[edge, condition] += [(abs(distance), limit) for distance in off]

    if "insulation_end_px" in truth:
        across, end = np.array(truth["across_wire_px"]), np.array(truth["insulation_end_px"])
        width = float(np.hypot(*(across[1] - across[0])))
        behind = (across.mean(axis=0) - end) / np.hypot(*(across.mean(axis=0) - end))
        click = end + behind * width * 0.55 + rng.normal(0, CLICK_SHARE * width, 2)
        tried(
            "insulation end",
            width / 20,
            lambda: [
                (np.array(edge_finding.find_insulation_end(ready, tuple(click)).end) - end) @ behind
            ],
        )
        tried(
            "wire's edges",
            width / 20,
            lambda: off_lines(edge_finding.find_wire(ready, tuple(click)).edges, across),
        )
    if truth["kind"].startswith("turret") and "wrap_centre_px" in truth:
        centre, start = np.array(truth["wrap_centre_px"]), np.array(truth["contact_start_px"])
        radius = float(np.hypot(*(start - centre)))
        click = 2 * centre - start + rng.normal(0, 2, 2)
        tried(
            POST,
            radius / 20,
            lambda: [
                float(
                    np.hypot(
                        *(np.array(edge_finding.find_post(ready, tuple(click)).centre) - centre)
                    )
                )
            ],
        )
    if "fillet_points_px" in truth:
        edge = np.array(truth["fillet_points_px"])
        toe, top = (tuple(point + rng.normal(0, PERSON_PX, 2)) for point in edge[[0, -1]])
        tried(
            "fillet's edge",
            8.0,
            lambda: [
                off_way(np.array(point), edge)
                for point in edge_finding.find_edge_between(ready, toe, top)
            ],
        )


def off_lines(found, across: NDArray) -> list[float]:
    """How far both points lie from the wire's edges, which run at right angles to the marks."""
    way = (across[1] - across[0]) / np.hypot(*(across[1] - across[0]))
    first, second = sorted(float((np.array(point) - across[0]) @ way) for point in found)
    return [first, second - float(np.hypot(*(across[1] - across[0])))]


def off_way(point: NDArray, way: NDArray) -> float:
    """How far a point lies from a line of many pieces."""
    begin, piece = way[:-1], np.diff(way, axis=0)
    share = np.clip(((point - begin) * piece).sum(axis=1) / (piece**2).sum(axis=1), 0, 1)
    return float(np.hypot(*(point - (begin + share[:, None] * piece)).T).min())


if __name__ == "__main__":
    main()

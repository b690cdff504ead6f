"""Marks set from the truth of drawn joints, with random errors: U covers the true value.

The truth is what the joint was drawn by. Joints are seen from far and from near: the wire, or
the lead, is 12 to 120 px across.
"""

from collections import defaultdict
from dataclasses import dataclass

import numpy as np
import pytest

from assessments.domain.geometry import MarksRefused, Options, Quantity, Winding, measure
from demo.drawn import draw_joint

JOINTS = 800  # a quantity
FLATTER = 0.4  # so many more are drawn for the wetting angle, where some are flatter than promised
SIGMA = 1.0
COVERED, ALLOWED = 0.95, 0.02
SIZES = (("12 to 25 px", 12, 25), ("25 to 60 px", 25, 60), ("60 to 120 px", 60, 121))
ANGLES = (("under 10°", 0, 10), ("10 to 30°", 10, 30), ("30 to 90°", 30, 90), ("over 90°", 90, 181))

HOLES = ((None, 4), ("hole_underfilled", 4), ("excess", 6), ("lead_too_long", 2), ("cold", 2))
TURRETS = ((None, 2), *((name, 1) for name in ("wrap_short", "wrap_long", "clearance_none")))


@dataclass
class Tally:
    """How often U covered the truth in one stratum."""

    covered: int = 0
    measured: int = 0
    refused: int = 0

    @property
    def share(self) -> float:
        return self.covered / self.measured

    def add(self, true, **marked):
        try:
            read = measure(**marked, sigma_px=SIGMA)
        except MarksRefused:
            self.refused += 1
            return
        self.measured += 1
        self.covered += abs(read.value - true) <= read.expanded


def drawn(kind, view, faults, more=0.0):
    """The truths of so many joints, each drawn from a seed of its own."""
    names = [name for name, times in faults for _ in range(times)]
    for seed in range(int(JOINTS * (1 + more))):
        fault = names[seed % len(names)]
        yield draw_joint(kind, fault, seed=seed, view=view, size=(86, 64)).truth


class Grader:
    """Somebody who sets marks where the truth is, give or take, on photographs of any size."""

    def __init__(self, seed):
        self.rng = np.random.default_rng(seed)
        self.tallies = defaultdict(Tally)
        self.times = 1.0

    def looks_at(self, wire_px):
        """Choose how large the joint appears, where its wire is now so many pixels across."""
        size = float(np.exp(self.rng.uniform(np.log(12), np.log(120))))
        self.times = size / wire_px
        return stratum(SIZES, size)

    def sets(self, points):
        """Marks with their random errors."""
        exact = np.atleast_2d(points) * self.times
        return self.rng.normal(exact, SIGMA).tolist()

    def report(self, quantity):
        """Print every stratum of a quantity, and give all of them together."""
        whole = Tally()
        for (name, *where), one in sorted(self.tallies.items(), key=str):
            if name == quantity and one.measured:
                print(
                    f"{quantity:14} {', '.join(where):28} {one.share:6.1%} of {one.measured},"
                    f" {one.refused} refused"
                )
            if name == quantity and "under 10°" not in where:
                whole.covered += one.covered
                whole.measured += one.measured
                whole.refused += one.refused
        print(
            f"{quantity:14} {'all that is promised':28} {whole.share:6.1%} of {whole.measured},"
            f" {whole.refused} refused"
        )
        return whole


def stratum(strata, value):
    return next(name for name, low, high in strata if low <= value < high)


def holes():
    """Fill, fillet and wetting angle, on the cuts through holes."""
    grader = Grader(8)
    for truth in drawn("hole", "side", HOLES, FLATTER):
        size = grader.looks_at(truth["lead_mm"] * truth["px_per_mm"])
        edge = np.array(truth["fillet_points_px"])
        middle, inside = edge[4], np.array(truth["fillet_inside_px"])
        angle = stratum(ANGLES, truth["wetting_angle_deg"])
        marks = {"edge": grader.sets(edge), "solder": grader.sets(middle + 4 * (inside - middle))}
        grader.tallies["fillet", size].add(
            truth["fillet_sagitta_by_chord"], quantity=Quantity.FILLET, marks=marks
        )
        grader.tallies["wetting angle", size, angle].add(
            truth["wetting_angle_deg"],
            quantity=Quantity.WETTING_ANGLE,
            marks=marks | {"base": grader.sets(truth["base_line_px"])},
        )
        grader.tallies["fill", size].add(
            truth["fill_percent"],
            quantity=Quantity.FILL,
            marks={
                name: grader.sets(truth[f"fill_{name}_px"]) for name in ("bottom", "top", "level")
            },
        )
    return grader


def turrets():
    """Wrap and clearance, on turrets from above."""
    grader = Grader(9)
    for truth in drawn("turret", "top", TURRETS):
        size = grader.looks_at(truth["conductor_mm"] * truth["px_per_mm"])
        grader.tallies["wrap", size].add(
            truth["wrap_deg"],
            quantity=Quantity.WRAP,
            marks={
                "centre": grader.sets(truth["wrap_centre_px"]),
                "start": grader.sets(truth["contact_start_px"]),
                "end": grader.sets(truth["contact_end_px"]),
            },
            options=Options(
                winding=Winding(truth["wrap_direction"]), full_turns=truth["wrap_extra_turns"]
            ),
        )
        grader.tallies["clearance", size].add(
            truth["clearance_D"],
            quantity=Quantity.CLEARANCE,
            marks={
                "insulation": grader.sets(truth["insulation_end_px"]),
                "joint": grader.sets(truth["first_contact_px"]),
                "across": grader.sets(truth["across_wire_px"]),
            },
        )
    return grader


@pytest.mark.slow
def test_on_turrets_the_stated_uncertainty_covers_the_truth():
    grader = turrets()
    for quantity in ("wrap", "clearance"):
        whole = grader.report(quantity)
        assert whole.measured + whole.refused == JOINTS
        assert whole.refused <= JOINTS / 200
        assert whole.share == pytest.approx(COVERED, abs=ALLOWED)


@pytest.mark.slow
def test_on_holes_the_stated_uncertainty_covers_the_truth():
    grader = holes()
    for quantity in ("fill", "fillet", "wetting angle"):
        whole = grader.report(quantity)
        assert whole.measured >= JOINTS
        assert whole.share == pytest.approx(COVERED, abs=ALLOWED)

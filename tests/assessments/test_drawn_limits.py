"""What a drawing of acceptable work shows lies well inside the limits, measured on its lines."""

import re
from collections.abc import Callable
from math import asin, degrees, hypot

import pytest

from assessments.content import CriterionContent
from assessments.content.criteria import REVISION_3
from tests.assessments.drawing_files import Drawing, drawing

Point = tuple[float, float]

LEAST_MARGIN = 0.1  # of the range between two limits, or of the one limit


def paths(one: Drawing, name: str) -> list[str]:
    return re.findall(rf'class="{name}" d="([^"]*)"', one.text)


def corners(path: str) -> list[Point]:
    """The ends of a path's pieces; its letters are M, L, H, V and A, all in the drawing's frame."""
    at, found = (0.0, 0.0), []
    for letter, figures in re.findall(r"([MLHVA])([^MLHVAZQ]*)", path):
        numbers = [float(figure) for figure in re.findall(r"-?[\d.]+", figures)]
        at = {
            "H": lambda n, at: (n[-1], at[1]),
            "V": lambda n, at: (at[0], n[-1]),
        }.get(letter, lambda n, _at: (n[-2], n[-1]))(numbers, at)
        found.append(at)
    return found


def turned_deg(path: str) -> float:
    """How far a path's arcs turn altogether: the wrap of a wire whose axis it is."""
    ends, turned = corners(path), 0.0
    letters = re.findall(r"[MLHVA]", path)
    arcs = iter(re.findall(r"A([\d.]+) [\d.]+ 0 ([01]) 1", path))
    for number, letter in enumerate(letters):
        if letter != "A":
            continue
        radius, large = next(arcs)
        chord = hypot(ends[number][0] - ends[number - 1][0], ends[number][1] - ends[number - 1][1])
        sweep = 2 * degrees(asin(min(chord / (2 * float(radius)), 1.0)))
        turned += 360 - sweep if large == "1" else sweep
    return turned


def wrap_deg(one: Drawing) -> float:
    [axis] = paths(one, "d-wire")
    return turned_deg(axis)


def gap_by_overall_diameter(one: Drawing) -> float:
    """From the insulation's end to the terminal's wall, along the wire."""
    [sleeve] = paths(one, "d-insulation")
    [wall] = paths(one, "d-metal")
    ends = corners(sleeve)
    across = max(y for _x, y in ends) - min(y for _x, y in ends)
    return (min(x for x, _y in corners(wall)) - max(x for x, _y in ends)) / across


def gap_at_the_cup(one: Drawing) -> float:
    """From the insulation's end down to the cup's lip, along the wire."""
    [sleeve] = paths(one, "d-insulation")
    ends = corners(sleeve)
    across = max(x for x, _y in ends) - min(x for x, _y in ends)
    lip = float(re.findall(r'd="M59 ([\d.]+)Q', one.text)[-1])
    return (lip - max(y for _x, y in ends)) / across


def wetting_angle_deg(one: Drawing) -> float:
    """Between the base and the tangent of the one arc that bounds the solder."""
    [edge] = paths(one, "d-solder")
    return turned_deg(edge) / 2


def fill_percent(one: Drawing) -> float:
    """How far the solder of the cup stands from its bottom to its lip's lower edge."""
    [solder] = paths(one, "d-solder")
    level, bottom = re.fullmatch(
        r"M[\d.]+ [\d.]+Q.* ([\d.]+)V[\d.]+Q[\d.]+ ([\d.]+).*", solder
    ).groups()
    lip = float(re.search(r"L95\.5 ([\d.]+)V", paths(one, "d-metal")[0]).group(1))
    return 100 * (float(bottom) - float(level)) / (float(bottom) - lip)


def labelled(one: Drawing) -> float:
    """What the one dimension says, where the drawing is not to scale."""
    [figure] = re.findall(r">(\d+(?:\.\d+)?) ?(?:mm|d|°)<", one.text)
    return float(figure)


def all_round(one: Drawing) -> float:
    """360 where whole rings of solder lie round the lead."""
    assert 'class="d-solder" cx="78" cy="60"' in one.text
    return 360.0


def land_covered_percent(one: Drawing) -> float:
    """How much of the land round the lead the solder covers, by area."""
    radius = {
        name: float(re.search(rf'class="{name}" cx="78" cy="60" r="([\d.]+)"', one.text).group(1))
        for name in ("d-wire-shape", "d-solder", "d-metal")
    }
    lead = radius["d-metal"] ** 2
    return 100 * (radius["d-solder"] ** 2 - lead) / (radius["d-wire-shape"] ** 2 - lead)


DRAWN: dict[str, Callable[[Drawing], float]] = {
    "F-01": wrap_deg,
    "F-02": wrap_deg,
    "F-03": wrap_deg,
    "F-04": wrap_deg,
    "F-12": labelled,
    "F-13": labelled,
    "P-05": labelled,
    "S-01": wetting_angle_deg,
    "S-05": gap_by_overall_diameter,
    "S-11": fill_percent,
    "S-14": all_round,
    "S-15": all_round,
    "S-19": gap_at_the_cup,
    "S-22": land_covered_percent,
}
JUDGED_AT_A_GLANCE = {"F-07", "F-09", "P-04", "S-04", "S-25"}
"""Criteria by eye whose acceptable drawing shows no length that could be read off."""

LIMITED = [one for one in REVISION_3.criteria if one.low is not None or one.high is not None]


def test_every_limit_is_drawn_or_said_to_be_judged_at_a_glance() -> None:
    assert {one.code for one in LIMITED} == set(DRAWN) | JUDGED_AT_A_GLANCE
    assert all(one.code in DRAWN for one in LIMITED if one.how == "measured")


@pytest.mark.parametrize("criterion", [one for one in LIMITED if one.code in DRAWN], ids=str)
def test_acceptable_work_is_drawn_well_inside_its_limits(criterion: CriterionContent) -> None:
    value = DRAWN[criterion.code](drawing(criterion.accept_drawing))
    margin = least_margin(criterion)
    assert criterion.low is None or value >= float(criterion.low) + margin
    assert criterion.high is None or value <= float(criterion.high) - margin


def least_margin(criterion: CriterionContent) -> float:
    """A share of the range between the limits, or of the one limit; no circle has over 360°."""
    limits = [float(limit) for limit in (criterion.low, criterion.high) if limit is not None]
    margin = LEAST_MARGIN * (max(limits) - min(limits) if len(limits) == 2 else limits[0])
    if DRAWN[criterion.code] is all_round:
        margin = min(margin, 360 - limits[0])
    return margin


@pytest.mark.parametrize(
    ("name", "wrap"),
    [
        ("turret-wrap-top-accept", 270),
        ("turret-wrap-top-reject", 140),
        ("turret-wrap-short-reject", 140),
        ("turret-wrap-inside-accept", 225),
        ("hook-wrap-accept", 180),
        ("hook-wrap-inside-accept", 225),
        ("bifurcated-wrap-accept", 90),
        ("bifurcated-wrap-inside-accept", 180),
        ("pierced-wrap-inside-accept", 180),
    ],
)
def test_the_wrap_that_a_drawing_names_is_the_one_it_draws(name: str, wrap: float) -> None:
    assert wrap_deg(drawing(name)) == pytest.approx(wrap, abs=1)
    assert f"{wrap}°" in drawing(name).text

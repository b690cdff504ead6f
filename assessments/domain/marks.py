"""What is marked on a photograph, what comes of it, and why marks are refused."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from math import hypot
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[np.float64]
Marks: TypeAlias = Mapping[str, Sequence[Sequence[float]]]
Points: TypeAlias = Mapping[str, Array]

SMALL_WIRE_PX, FLAT_ANGLE_DEG, SHORT_ARC_DEG = 12.0, 10.0, 60.0  # where remarks begin
FARTHEST_PX = 1e6  # no photograph is that large
SAME_PLACE_PX = 1e-6


class Quantity(StrEnum):
    SCALE = "scale"
    LENGTH = "length"
    CLEARANCE = "clearance"
    WRAP = "wrap"
    FILLET = "fillet"
    WETTING_ANGLE = "wetting_angle"
    FILL = "fill"


class Winding(StrEnum):
    """Which way a wire winds from the start of contact to its end, as the photograph shows it."""

    CLOCKWISE = "clockwise"
    ANTICLOCKWISE = "anticlockwise"


class Across(StrEnum):
    """What the two marks across the wire lie on."""

    OVERALL = "overall"
    CONDUCTOR = "conductor"


class Remark(StrEnum):
    """What has to be said with a result."""

    SHORT_ARC = "short_arc"
    SMALL_WIRE = "small_wire"
    FLAT_ANGLE = "flat_angle"
    SIDE_NEAR = "side_near"
    WHOLE_TURN = "whole_turn"
    SCALE_UNSURE = "scale_unsure"


@dataclass(frozen=True, slots=True)
class Kind:
    """Marks of one kind: how many there are, at least and at most."""

    name: str
    least: int
    most: int


EDGE = Kind("edge", 5, 25)  # from toe to top
SOLDER = Kind("solder", 1, 1)  # in the solder near the arc's middle
MARKS: dict[Quantity, tuple[Kind, ...]] = {
    Quantity.SCALE: (Kind("ends", 2, 2),),
    Quantity.LENGTH: (Kind("ends", 2, 2),),
    Quantity.CLEARANCE: (Kind("insulation", 1, 1), Kind("joint", 1, 1), Kind("across", 2, 2)),
    Quantity.WRAP: (Kind("centre", 1, 1), Kind("start", 1, 1), Kind("end", 1, 1)),
    Quantity.FILLET: (EDGE, SOLDER),
    Quantity.WETTING_ANGLE: (EDGE, Kind("base", 2, 2), SOLDER),
    Quantity.FILL: (Kind("bottom", 1, 1), Kind("top", 1, 1), Kind("level", 1, 1)),
}


class MarksRefused(ValueError):
    """The marks give no result; the message says to the grader what to do."""

    code = ""


class TooFewMarks(MarksRefused):
    code = "too_few_marks"


class TooManyMarks(MarksRefused):
    code = "too_many_marks"


class MarkNotOnPhotograph(MarksRefused):
    code = "mark_not_on_photograph"


class MarksCoincide(MarksRefused):
    code = "marks_coincide"


class EdgeUnclear(MarksRefused):
    code = "edge_unclear"


class EdgeMissesBase(MarksRefused):
    code = "edge_misses_base"


class SideUnclear(MarksRefused):
    code = "side_unclear"


class SizeNotKnown(MarksRefused):
    code = "size_not_known"


class TurnsNotPossible(MarksRefused):
    code = "turns_not_possible"


@dataclass(frozen=True, slots=True)
class Scale:
    """Millimetres to a pixel.

    Attributes
    ----------
    mm_per_px : float
    relative_u : float or None
        Standard uncertainty as a share of the scale; None where it was never stated, which
        counts as 0 and is said.
    """

    mm_per_px: float
    relative_u: float | None = None


@dataclass(frozen=True, slots=True)
class Options:
    """What is said of a measurement beside its marks.

    Attributes
    ----------
    winding : Winding
    full_turns : int
        Of a wrap, beyond the one that the marks show: 0 or 1.
    across : Across
        What the marks across the wire lie on.
    size_mm, size_u_mm : float or None
        The known size that a scale is taken from, and its standard uncertainty.
    conductor_mm, overall_mm : float or None
        The wire's diameters, where they are known.
    unit : str
        Of the result: for a length ``mm``, ``d`` or ``D``; for a clearance ``px`` too. Others
        have one unit only.
    """

    winding: Winding = Winding.CLOCKWISE
    full_turns: int = 0
    across: Across = Across.OVERALL
    size_mm: float | None = None
    size_u_mm: float = 0.0
    conductor_mm: float | None = None
    overall_mm: float | None = None
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Measured:
    """A result.

    Attributes
    ----------
    value, u : float
        With its standard uncertainty, in `unit`.
    unit : str
        ``mm/px``, ``mm``, ``d``, ``D``, ``px``, ``deg``, ``ratio`` or ``percent``.
    remarks : tuple of Remark
    also : dict of str to float
        What else the marks give: ``px``; ``mm`` and ``mm_u`` of a clearance; of an edge
        ``arc_deg`` and points of the fitted arc to draw it by.
    """

    value: float
    u: float
    unit: str
    remarks: tuple[Remark, ...] = ()
    also: dict[str, float] = field(default_factory=dict)

    @property
    def expanded(self) -> float:
        return 2 * self.u


def points_of(kind: Kind, given: Sequence[Sequence[float]]) -> Array:
    if len(given) < kind.least:
        raise TooFewMarks(f"Set every mark: {kind.least} of the kind “{kind.name}” are needed.")
    if len(given) > kind.most:
        raise TooManyMarks(f"At most {kind.most} marks of the kind “{kind.name}” are taken.")
    points = np.array(given, dtype=float)
    if points.shape != (len(given), 2) or not (np.abs(points) <= FARTHEST_PX).all():
        raise MarkNotOnPhotograph("A mark lies outside the photograph. Put it back on it.")
    return points


def refuse_coinciding(*points: Array) -> None:
    """Refuse marks that lie on each other."""
    rows = np.vstack(points)
    gaps = np.linalg.norm(rows[:, None] - rows[None, :], axis=-1)
    if gaps[np.triu_indices(len(rows), 1)].min() < SAME_PLACE_PX:
        raise MarksCoincide("Two marks lie on the same place. Move one of them.")


def distance(ends: Array) -> float:
    return hypot(*(ends[1] - ends[0]))

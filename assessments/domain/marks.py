"""What is marked on a photograph, what comes of it, and why marks are refused."""

from collections.abc import Callable, Iterable, Mapping, Sequence
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
    VIEW_WIDE = "view_wide"
    SETUP_NOT_QUALIFIED = "setup_not_qualified"


SAID_ONLY = frozenset({Remark.SETUP_NOT_QUALIFIED})
"""Remarks that take nothing from the proof: the wider bounds are in the uncertainty."""


def is_proven(remarks: Iterable[str]) -> bool:
    """Whether no remark says that the uncertainty of a result is not proven."""
    return not set(remarks) - SAID_ONLY


@dataclass(frozen=True, slots=True)
class Kind:
    """Marks of one kind: how many there are, at least and at most."""

    name: str
    least: int
    most: int


EDGE = Kind("edge", 5, 25)  # from toe to top
POST = Kind("post", 0, 25)  # where the wire lies against the post
LEAST_POST = 5
SOLDER = Kind("solder", 1, 1)  # in the solder near the arc's middle
MARKS: dict[Quantity, tuple[Kind, ...]] = {
    Quantity.SCALE: (Kind("ends", 2, 2),),
    Quantity.LENGTH: (Kind("ends", 2, 2),),
    Quantity.CLEARANCE: (Kind("insulation", 1, 1), Kind("joint", 1, 1), Kind("across", 2, 2)),
    # Either the centre, or points on the post's edge that give it.
    Quantity.WRAP: (POST, Kind("centre", 0, 1), Kind("start", 1, 1), Kind("end", 1, 1)),
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
        Standard uncertainty as a share of the scale, of its marks and of the known size; None
        where it was never stated, and then nothing that is read by it is proven.
    relative_view : float
        Bound of what the view may have done to the scale, as a share of it.
    """

    mm_per_px: float
    relative_u: float | None = None
    relative_view: float = 0.0


def is_by_scale(quantity: str, unit: str) -> bool:
    """Whether such a result is counted by the photograph's scale: no angle or ratio is.

    Examples
    --------
    >>> is_by_scale("length", "D"), is_by_scale("clearance", "D"), is_by_scale("clearance", "mm")
    (True, False, True)
    """
    return quantity == Quantity.LENGTH or (quantity == Quantity.CLEARANCE and unit == "mm")


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
    conductor_u_mm, overall_u_mm : float
        Their standard uncertainties.
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
    conductor_u_mm: float = 0.0
    overall_u_mm: float = 0.0
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
    terms : dict of str to float
        What `u` is made of, in `unit`: ``marks``, ``scale``, ``size`` and ``view``, as far as
        they are there. Their squares add up to that of `u`.
    also : dict of str to float
        What else the marks give: ``px``; ``mm`` and ``mm_u`` of a clearance; of an edge
        ``arc_deg`` and points of the fitted arc to draw it by.
    """

    value: float
    u: float
    unit: str
    remarks: tuple[Remark, ...] = ()
    also: dict[str, float] = field(default_factory=dict)
    terms: dict[str, float] = field(default_factory=dict)

    @property
    def expanded(self) -> float:
        return 2 * self.u

    @property
    def shares(self) -> dict[str, float]:
        """What part of the square of `u` each term is, from 0 to 1."""
        return shares_of(self.terms)

    @property
    def is_proven(self) -> bool:
        return is_proven(self.remarks)


@dataclass(frozen=True, slots=True)
class Read:
    """A result before its uncertainty: the value, and what it changes with.

    Attributes
    ----------
    value, unit
    slopes : dict of str to ndarray, shape (N, 2)
        How the value changes with each mark, by kind, in its unit a pixel.
    by_scale : bool
        Whether it is counted by the photograph's scale.
    size_relative : float or None
        Standard uncertainty of the known sizes in it, as a share of the value; None without any.
    apart : tuple of str
        Kinds of marks that may lie as far off the plane as the set-up's depth.
    lift : callable or None
        From pushes of those marks, in pixels, shape (M, 2), to what each does to the value.
    gap_slopes : dict of str to ndarray
        Slopes in pixels a pixel of a result that is said in millimetres too.
    """

    value: float
    unit: str
    slopes: dict[str, Array]
    by_scale: bool = False
    size_relative: float | None = None
    remarks: tuple[Remark, ...] = ()
    also: dict[str, float] = field(default_factory=dict)
    apart: tuple[str, ...] = ()
    lift: Callable[[Array], Array] | None = None
    gap_slopes: dict[str, Array] = field(default_factory=dict)


def shares_of(terms: Mapping[str, float]) -> dict[str, float]:
    """What part of the combined variance each term is; nothing where all are 0.

    Examples
    --------
    >>> shares_of({"marks": 3.0, "scale": 4.0})
    {'marks': 0.36, 'scale': 0.64}
    """
    whole = sum(term**2 for term in terms.values())
    return {name: term**2 / whole for name, term in terms.items()} if whole else {}


def points_of(kind: Kind, given: Sequence[Sequence[float]]) -> Array:
    if len(given) < kind.least:
        raise TooFewMarks(f"Set every mark: {kind.least} of the kind “{kind.name}” are needed.")
    if len(given) > kind.most:
        raise TooManyMarks(f"At most {kind.most} marks of the kind “{kind.name}” are taken.")
    if not len(given):
        return np.empty((0, 2))
    points = np.array(given, dtype=float)
    if points.shape != (len(given), 2) or not (np.abs(points) <= FARTHEST_PX).all():
        raise MarkNotOnPhotograph("A mark lies outside the photograph. Put it back on it.")
    return points


def refuse_coinciding(*points: Array) -> None:
    """Refuse marks that lie on each other."""
    rows = np.vstack(points)
    between = rows[:, None] - rows
    gaps = np.hypot(between[..., 0], between[..., 1])
    np.fill_diagonal(gaps, np.inf)  # A mark's own place.
    if gaps.min() < SAME_PLACE_PX:
        raise MarksCoincide("Two marks lie on the same place. Move one of them.")


def distance(ends: Array) -> float:
    return hypot(*(ends[1] - ends[0]))

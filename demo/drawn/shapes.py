"""Heights of simple bodies, and the circular arc that a fillet's edge follows."""

from dataclasses import dataclass
from functools import cached_property
from math import atan, atan2, degrees, hypot, pi, radians, tan
from typing import Self

import numpy as np
from numpy.typing import NDArray

from .frame import Field


def tube(distance: Field, radius: float) -> Field:
    """Give the height of a round bar above its axis, by the distance from the axis."""
    return np.sqrt(np.maximum(np.float32(radius**2) - distance * distance, np.float32(0)))


def away(x: Field, y: Field) -> Field:
    """Give the distance from the origin."""
    return np.sqrt(x * x + y * y)


def smooth_max(a: Field, b: Field, blend: float) -> Field:
    """Give the greater of two heights, rounded where they meet."""
    h = np.maximum(np.float32(blend) - np.abs(a - b), np.float32(0))
    return np.maximum(a, b) + h * h * np.float32(0.25 / blend)


def step(x: Field, low: float, high: float) -> Field:
    """Rise smoothly from 0 at `low` to 1 at `high` (or fall, where `high` is lower)."""
    t = np.clip((x - np.float32(low)) * np.float32(1 / (high - low)), 0, 1)
    return t * t * (np.float32(3) - 2 * t)


def bump(x: Field, centre: float, width: float) -> Field:
    """Give a smooth hill of height 1."""
    t = (x - np.float32(centre)) * np.float32(1 / width)
    return np.exp(-t * t)


@dataclass(frozen=True)
class Bundle:
    """Strands round an axis: the height of their envelope, and how deep they fall below it.

    Attributes
    ----------
    crown : ndarray
        Height over the axis of a bar of radius 1.
    groove : ndarray
        How far inside the envelope the strands' surface lies, in mm.
    radius : float
        Of the envelope, in mm.
    """

    crown: Field
    groove: Field
    radius: float

    def height(self, relief: float) -> Field:
        """Give the height over the axis; 1 for bare strands, 0 for a smooth bar."""
        return self.crown * (np.float32(self.radius) - np.float32(relief) * self.groove)


def twisted(u: Field, s: Field, radius: float, *, outer: int, lay_mm: float) -> Bundle:
    """Give the strands of a wire.

    Parameters
    ----------
    u, s : ndarray
        Distance to the side of the axis and along it, in mm.
    radius : float
        Of the bundle.
    outer : int
        How many strands lie on its outside.
    lay_mm : float
        Length in which a strand goes once round.
    """
    across = np.clip(u * np.float32(1 / radius), -1, 1)
    turn = np.arcsin(across) * np.float32(outer / (2 * np.pi)) - s * np.float32(outer / lay_mm)
    turn -= np.rint(turn)
    strand = np.float32(np.pi * radius / outer)
    groove = strand * (1 - np.sqrt(np.maximum(1 - 3.85 * turn * turn, np.float32(0.02))))
    round_ = np.sqrt(np.maximum(1 - across * across, np.float32(0)))
    return Bundle(round_, groove, radius)


@dataclass(frozen=True)
class FilletArc:
    """The edge of a fillet: a circular arc from its toe on the base to its top on the wall.

    Lengths in mm, x away from the wall and y up from the base. The arc's sagitta is positive
    where it sags towards the corner of wall and base (concave), negative where it bulges.

    Attributes
    ----------
    toe_x, top_x, top_y : float
        The toe lies at (toe_x, 0), the top at (top_x, top_y) with top_x < toe_x.
    sagitta_by_chord : float
    """

    toe_x: float
    top_x: float
    top_y: float
    sagitta_by_chord: float

    @classmethod
    def within(cls, toe_x: float, top_x: float, top_y: float, sagitta_by_chord: float) -> Self:
        """Give the arc with its sagitta eased until no part of it lies beyond its two ends.

        A bulging arc must not rise above its top, a hollow one neither pass below the base
        nor out over its toe from the top.
        """
        slope = atan2(top_y, toe_x - top_x)
        bulge = tan(0.97 * slope / 2) / 2
        hollow = tan(min(0.85 * slope, 0.97 * (pi / 2 - slope)) / 2) / 2
        return cls(toe_x, top_x, top_y, min(max(sagitta_by_chord, -bulge), hollow))

    @property
    def chord(self) -> float:
        return hypot(self.toe_x - self.top_x, self.top_y)

    @cached_property
    def circle(self) -> tuple[float, float, float]:
        """Centre and radius of the arc's circle; a straight edge has a vast one."""
        ratio = self.sagitta_by_chord
        if abs(ratio) < 1e-4:
            ratio = 1e-4
        sagitta = ratio * self.chord
        radius = (self.chord**2 / 4 + sagitta**2) / (2 * abs(sagitta))
        to_corner = -self.top_y / self.chord, -(self.toe_x - self.top_x) / self.chord
        along = (radius - abs(sagitta)) * (-1 if ratio > 0 else 1)
        middle = (self.toe_x + self.top_x) / 2, self.top_y / 2
        return middle[0] + along * to_corner[0], middle[1] + along * to_corner[1], radius

    @property
    def wetting_angle_deg(self) -> float:
        """Angle through the solder at the toe, between the base and the arc's tangent."""
        chord = degrees(atan2(self.top_y, self.toe_x - self.top_x))
        return chord - degrees(2 * atan(2 * self.sagitta_by_chord))

    def extent(self, y: NDArray[np.float32]) -> NDArray[np.float32]:
        """How far out the arc's edge lies at heights y."""
        x0, y0, radius = self.circle
        half = np.sqrt(np.maximum(np.float32(radius**2) - (y - np.float32(y0)) ** 2, 0))
        return np.float32(x0) + half * np.float32(-1 if self.sagitta_by_chord >= 0 else 1)

    def height(self, x: NDArray[np.float32]) -> NDArray[np.float32]:
        """How high the arc's edge lies at distances x; above an overhang, its upper side."""
        x0, y0, radius = self.circle
        half = np.sqrt(np.maximum(np.float32(radius**2) - (x - np.float32(x0)) ** 2, 0))
        return np.float32(y0) + half * np.float32(-1 if self.sagitta_by_chord >= 0 else 1)

    def points(self, count: int = 7) -> NDArray[np.float64]:
        """Give points along the arc from toe to top, shape (count, 2)."""
        x0, y0, radius = self.circle
        first = atan2(-y0, self.toe_x - x0)
        last = atan2(self.top_y - y0, self.top_x - x0)
        span = (last - first + np.pi) % (2 * np.pi) - np.pi
        angles = first + span * np.linspace(0, 1, count)
        return np.column_stack([x0 + radius * np.cos(angles), y0 + radius * np.sin(angles)])

    def inside(self) -> NDArray[np.float64]:
        """Give a point in the solder near the arc's middle."""
        middle = self.points(3)[1]
        corner = np.array([self.top_x, 0.0])
        return middle + 0.12 * (corner - middle)


def polar_deg(angle_deg: float, radius: float) -> tuple[float, float]:
    """Give the point at an angle clockwise from straight up, with y down."""
    angle = radians(angle_deg)
    return radius * float(np.sin(angle)), -radius * float(np.cos(angle))

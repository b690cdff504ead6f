"""What the view may do to a result: tilt, what lies off the plane, perspective and the lens."""

from collections.abc import Callable
from dataclasses import dataclass
from math import cos, hypot, pi, radians, sin, sqrt, tan

import numpy as np
from numpy.typing import NDArray

from .marks import Array

DIRECTIONS = 36  # in which a picture may lean, over half a turn
ALONG = np.array([[cos(pi * n / DIRECTIONS), sin(pi * n / DIRECTIONS)] for n in range(DIRECTIONS)])
BETWEEN = 1 / cos(pi / DIRECTIONS / 2)  # the largest bound may lie between two directions


@dataclass(frozen=True, slots=True)
class View:
    """How a photograph may have been taken: the bounds of its set-up, and the picture's size.

    Attributes
    ----------
    tilt_deg : float
        Between the picture and the measured plane, at most; under 60.
    depth_mm : float
        From the measured plane to that of the scale, or to the top of a post, at most.
    relief_mm : float
        By how much single marks may lie off their plane, at most.
    distance_mm : float
        From the lens to the work, at least.
    distortion : float
        By how much the lens may move a point in the corner, as a share of its way from the
        middle, at most.
    field_mm : float
        How much of the work the picture's width shows, at least; used where no scale is set.
    width_px, height_px : float
        Of the upright photograph.
    """

    tilt_deg: float
    depth_mm: float
    relief_mm: float
    distance_mm: float
    distortion: float
    field_mm: float
    width_px: float
    height_px: float

    @property
    def lean(self) -> float:
        return tan(radians(self.tilt_deg))

    def px_per_mm(self, mm_per_px: float | None) -> float:
        """By the photograph's scale, else the most that the set-up's field allows."""
        return 1 / mm_per_px if mm_per_px else self.width_px / self.field_mm

    def from_middle(self, points: Array) -> Array:
        return points - np.array([self.width_px, self.height_px]) / 2


@dataclass(frozen=True, slots=True)
class Bounds:
    """The bounds of a photo set-up, whatever the picture's size; as of `View`."""

    tilt_deg: float
    depth_mm: float
    relief_mm: float
    distance_mm: float
    distortion: float
    field_mm: float

    def view(self, width_px: float, height_px: float) -> View:
        return View(
            tilt_deg=self.tilt_deg,
            depth_mm=self.depth_mm,
            relief_mm=self.relief_mm,
            distance_mm=self.distance_mm,
            distortion=self.distortion,
            field_mm=self.field_mm,
            width_px=width_px,
            height_px=height_px,
        )

    def length_bound_mm(self, length_mm: float) -> float:
        """By how much a length across the picture's middle may be read wrong, at most.

        Examples
        --------
        >>> round(Bounds(0, 2, 0, 100, 0, 20).length_bound_mm(10), 3)
        0.2
        """
        view = self.view(self.field_mm, 0.75 * self.field_mm)  # one pixel a millimetre
        middle = np.array([view.width_px, view.height_px]) / 2
        half = np.array([length_mm / 2, 0.0])
        slopes = np.array([[-1.0, 0.0], [1.0, 0.0]])
        across = view_bound(view, np.array([middle - half, middle + half]), slopes, px_per_mm=1.0)
        return across + length_mm * self.depth_mm / self.distance_mm


BY_HAND = Bounds(
    tilt_deg=10, depth_mm=5, relief_mm=0.5, distance_mm=100, distortion=0.02, field_mm=20
)
"""A photograph by hand: wide bounds, figures of our own that no study stands behind."""


def view_bound(
    view: View,
    points: Array,
    slopes: Array,
    *,
    px_per_mm: float,
    apart: NDArray[np.bool_] | None = None,
    lifted: Callable[[Array], Array] | None = None,
) -> float:
    """Bound what a view within its set-up may have done to a result.

    To first order in what each mark is moved by: one that lies z off its plane, in a picture
    that leans by the tilt t, by z·tan t, and by z ÷ distance of its way from the middle; the
    plane itself is shortened by 1 − cos t along the lean and grows across the picture with the
    distance; the lens moves a mark by up to its distortion, with the square of its way from
    the middle. The lean is one for all marks and taken in its worst direction; what lies off
    the plane is taken at its worst for each mark.

    Parameters
    ----------
    points, slopes : ndarray, shape (N, 2)
        Marks in pixels of the upright photograph, and the result's slopes by them.
    px_per_mm : float
    apart : ndarray of bool, shape (N,), optional
        Marks that lie off the plane by up to `depth_mm`, not `relief_mm`.
    lifted : callable, optional
        From pushes of those marks, in pixels, shape (M, 2), to what each does to the result, in
        full; where it is given, their own slopes are left out of the lean.

    Returns
    -------
    float
        In the unit of the result; never negative.
    """
    x = view.from_middle(points)
    far = np.zeros(len(x), dtype=bool) if apart is None else apart
    off_mm = np.where(far, view.depth_mm, view.relief_mm)
    reach = hypot(view.width_px, view.height_px) / 2
    distance_px = view.distance_mm * px_per_mm
    by_way = (slopes * x).sum(axis=1)
    leaning = off_mm if lifted is None else np.where(far, 0.0, off_mm)
    aside, way = slopes @ ALONG.T, x @ ALONG.T  # each mark, in each direction
    tilted = view.lean * px_per_mm * (leaning @ np.abs(aside))
    tilted += view.lean / distance_px * np.abs(by_way @ way)
    tilted += (1 - cos(radians(view.tilt_deg))) * np.abs((aside * way).sum(axis=0))
    if lifted is not None:
        push = view.lean * px_per_mm * view.depth_mm * ALONG
        tilted += np.maximum(np.abs(lifted(push)), np.abs(lifted(-push)))
    near = float(off_mm @ np.abs(by_way)) / view.distance_mm
    lens = abs(float(by_way @ (x**2).sum(axis=1))) / reach**2
    return float(tilted.max()) * BETWEEN + near + view.distortion * lens


def with_bound(u: float, bound: float) -> tuple[float, float]:
    """Take a bound into a standard uncertainty so that U = 2u covers it wherever it lies.

    A view does not change from mark to mark: it shifts a result by up to its bound, to a side
    that nobody knows. U is 2u + bound, as where a correction is not applied [1]_, so that a
    stated 95 % holds everywhere in the set-up, not only on average over it.

    Returns
    -------
    tuple of float
        The standard uncertainty with the bound in it, and the bound's term: their squares
        differ by that of `u`.

    References
    ----------
    .. [1] JCGM 100:2008, F.2.4.5 (from memory).

    Examples
    --------
    >>> with_bound(3.0, 4.0)
    (5.0, 4.0)
    """
    whole = u + bound / 2
    return whole, sqrt(bound * u + bound * bound / 4)

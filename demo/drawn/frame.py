"""Where things are: from millimetres on the work to pixels of the photograph, and back."""

from dataclasses import dataclass
from functools import cached_property
from math import cos, radians, sin
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

Field: TypeAlias = NDArray[np.float32]


OVERLAP = 24  # pixels that a crop may reach past the photograph, so that shadows fall in from there


@dataclass(frozen=True)
class Crop:
    """A rectangle of the photograph and the place on the work of each of its pixels.

    Attributes
    ----------
    left, top : int
        The rectangle's first column and row in the photograph.
    x, y : ndarray, shape (rows, columns)
        Millimetres on the work at each pixel's centre.
    px_per_mm : float
    """

    left: int
    top: int
    x: Field
    y: Field
    px_per_mm: float

    @property
    def size(self) -> tuple[int, int]:
        rows, columns = self.x.shape
        return columns, rows

    def cover(self, distance: Field, soft_px: float = 1.0) -> Field:
        """How much of each pixel lies inside an edge, from the signed distance in mm."""
        cover = distance * np.float32(-self.px_per_mm / soft_px)
        cover += np.float32(0.5)
        return np.clip(cover, 0, 1, out=cover)


@dataclass(frozen=True)
class Frame:
    """A camera looking straight at the work.

    Pixels are those of the upright photograph, x right and y down, with (0, 0) at the upper
    left corner of the first pixel, so that a pixel's centre lies at one half. Millimetres are
    x right and y down too, before the work is mirrored and turned under the camera.

    Attributes
    ----------
    size : tuple of int
        Width and height in pixels.
    px_per_mm : float
    centre_px : tuple of float
        Where the work's origin is in the photograph.
    turn_deg : float
        Clockwise as seen.
    mirrored : bool
        Whether x is flipped before turning.
    """

    size: tuple[int, int]
    px_per_mm: float
    centre_px: tuple[float, float]
    turn_deg: float = 0.0
    mirrored: bool = False

    @cached_property
    def _axes(self) -> NDArray[np.float64]:
        """Pixels for one millimetre of x (first column) and of y (second column)."""
        c, s = cos(radians(self.turn_deg)), sin(radians(self.turn_deg))
        flip = -1.0 if self.mirrored else 1.0
        return self.px_per_mm * np.array([[c * flip, -s], [s * flip, c]])

    def to_px(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Give the pixels at which points on the work appear; shape (..., 2) in and out."""
        return np.asarray(points_mm, dtype=float) @ self._axes.T + self.centre_px

    def crop(self, points_mm: ArrayLike, margin_mm: float = 0.0) -> Crop | None:
        """Cut out the rectangle that holds the points and a margin; None if it is off the photo.

        It may reach a little past the photograph's edges, which shadows need.
        """
        points = self.to_px(points_mm)
        margin = margin_mm * self.px_per_mm + 2
        left, top = np.floor(points.min(axis=0) - margin).astype(int)
        right, bottom = np.ceil(points.max(axis=0) + margin).astype(int)
        left, top = max(int(left), -OVERLAP), max(int(top), -OVERLAP)
        right = min(int(right), self.size[0] + OVERLAP)
        bottom = min(int(bottom), self.size[1] + OVERLAP)
        if right - left < 3 or bottom - top < 3:
            return None
        return self._crop(left, top, right, bottom)

    def whole(self) -> Crop:
        """Give the whole photograph as a crop."""
        return self._crop(0, 0, *self.size)

    def _crop(self, left: int, top: int, right: int, bottom: int) -> Crop:
        columns = (np.arange(left, right) + 0.5 - self.centre_px[0]).astype(np.float32)
        rows = (np.arange(top, bottom) + 0.5 - self.centre_px[1]).astype(np.float32)
        (a, b), (c, d) = np.linalg.inv(self._axes).astype(np.float32)
        x = (a * columns)[None, :] + (b * rows)[:, None]
        y = (c * columns)[None, :] + (d * rows)[:, None]
        return Crop(left, top, x, y, self.px_per_mm)

"""The circle, or the straight line, that lies nearest to marks on an edge."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STEPS, LAST_STEPS = 200, 25
NUDGE = 1e-5  # of the marks' extent: how far each is moved to see what it does to a result
NEAR, DONE = 1e-6, 1e-13  # steps, where the marks reach 1 from the middle one


class NoCircle(ValueError):
    """No circle lies nearest to the marks."""


@dataclass(frozen=True)
class Arc:
    """A circle in a form that stays well behaved where it becomes a straight line.

    In a frame with its origin at one of the marks and its unit `reach`, a point's signed
    distance from the circle is 2P / (1 + √(1 + 2κP)), where
    P = κr²/2 + (1 + κd)(n·x) + κd²/2 + d and n = (cos φ, sin φ) [1]_, [2]_. A curvature κ of 0
    is a straight line. Every array has the same leading axes, one for each circle.

    Attributes
    ----------
    theta : ndarray, shape (..., 3)
        κ, φ and d in that frame.
    origin : ndarray, shape (2,)
        In pixels.
    reach : float
        Pixels to the frame's unit.

    References
    ----------
    .. [1] V. Karimäki, Nuclear Instruments and Methods A 305, 1991: the parameters.
    .. [2] N. Chernov and C. Lesort, Journal of Mathematical Imaging and Vision 23, 2005: the
       distance in a form that holds for lines, and the orthogonal fit.
    """

    theta: Array
    origin: Array
    reach: float

    @property
    def curvature(self) -> Array:
        """One over the radius, in 1/px; positive where the centre lies against the normal."""
        return self.theta[..., 0] / self.reach

    def local(self, points: Array) -> Array:
        return (points - self.origin) / self.reach

    def _parts(self, x: Array) -> tuple[Array, Array, Array]:
        """κ, φ and d, shaped to go with points that have one axis more than the circles."""
        more = (1,) * (x.ndim - self.theta.ndim)
        theta = self.theta.reshape(*self.theta.shape[:-1], *more, 3)
        return theta[..., 0], theta[..., 1], theta[..., 2]

    def level(self, x: Array) -> Array:
        """P at points of the frame."""
        kappa, phi, d = self._parts(x)
        along = np.cos(phi) * x[..., 0] + np.sin(phi) * x[..., 1]
        square = (x * x).sum(axis=-1)
        return kappa * square / 2 + (1 + kappa * d) * along + kappa * d * d / 2 + d

    def slope(self, x: Array) -> Array:
        """The gradient of P at points of the frame: along the circle's normal."""
        kappa, phi, d = self._parts(x)
        normal = np.stack([np.cos(phi), np.sin(phi)], axis=-1)
        return kappa[..., None] * x + (1 + kappa * d)[..., None] * normal

    def normal(self, x: Array) -> Array:
        slope = self.slope(x)
        return slope / np.linalg.norm(slope, axis=-1, keepdims=True)

    def distance(self, x: Array) -> Array:
        level = self.level(x)
        inner = np.maximum(1 + 2 * self._parts(x)[0] * level, 0)
        return 2 * level / (1 + np.sqrt(inner))

    def foot(self, x: Array) -> Array:
        """The point of the circle nearest to each point."""
        return x - self.distance(x)[..., None] * self.normal(x)

    def in_pixels(self) -> tuple[Array, Array]:
        """Centre (..., 2) and radius (...) in pixels; infinite for a straight line."""
        kappa, phi, d = np.moveaxis(self.theta, -1, 0)
        with np.errstate(divide="ignore", invalid="ignore"):
            out = -(1 + kappa * d) / kappa
            centre = out[..., None] * np.stack([np.cos(phi), np.sin(phi)], axis=-1)
            return centre * self.reach + self.origin, self.reach / np.abs(kappa)


def fit(points: Array) -> Arc:
    """Fit a circle by least squares of the orthogonal distances.

    Levenberg-Marquardt from the circle through the first, middle and last mark, then Newton's
    method with the exact second derivatives.

    Parameters
    ----------
    points : ndarray, shape (N, 2), N >= 3
        Pixels, x right and y down; the first, middle and last one apart from each other.

    Returns
    -------
    Arc

    Raises
    ------
    NoCircle
        If the marks lie nearest to no one circle.

    Examples
    --------
    Six points, with the answer that [1]_ prints.

    >>> six = np.array([[1.0, 7], [2, 6], [5, 8], [7, 7], [9, 5], [3, 7]])
    >>> centre, radius = fit(six).in_pixels()
    >>> centre.round(4), radius.round(4)
    (array([4.7398, 2.9835]), np.float64(4.7142))

    References
    ----------
    .. [1] W. Gander, G. H. Golub, R. Strebel, BIT 34, 1994.
    """
    origin = points[len(points) // 2]
    reach = float(np.linalg.norm(points - origin, axis=-1).max())
    x = ((points - origin) / reach)[None]
    theta = _descend(x, _through(x[0, 0], x[0, -1])[None])
    return Arc(_settle(x, theta)[0], origin, reach)


def refit(points: Array, near: Arc) -> Arc:
    """Fit circles to marks that were moved very little from those of another fit.

    Parameters
    ----------
    points : ndarray, shape (B, N, 2)
    """
    theta = np.broadcast_to(near.theta, (len(points), 3))
    return Arc(_settle(near.local(points), theta), near.origin, near.reach)


def _through(first: Array, last: Array) -> Array:
    """The circle through two points and the origin; a straight line where they are in line."""
    a, b = (first @ first) / 2, (last @ last) / 2
    kappa = first[0] * last[1] - first[1] * last[0]
    normal = np.array([first[1] * b - a * last[1], a * last[0] - first[0] * b])
    size = float(np.linalg.norm(normal))
    if not size > 0:
        raise NoCircle
    return np.array([kappa / size, np.arctan2(normal[1], normal[0]), 0.0])


def _terms(x: Array, theta: Array) -> tuple[Array, Array, Callable[[], Array]]:
    """Distances (B, N), their first derivatives by theta (B, N, 3), and how to have the second.

    Of these only the sum over the marks, each times its distance, is wanted (B, 3, 3).
    """
    kappa, phi, d = (theta[:, i, None] for i in range(3))
    cos, sin = np.cos(phi), np.sin(phi)
    along = cos * x[..., 0] + sin * x[..., 1]
    aside = cos * x[..., 1] - sin * x[..., 0]
    half = (x * x).sum(axis=-1) / 2
    stretch = 1 + kappa * d
    level = kappa * half + stretch * along + kappa * d * d / 2 + d
    root = np.sqrt(np.maximum(1 + 2 * kappa * level, 1e-12))
    delta = 2 * level / (1 + root)
    # From P = δ + κδ²/2, so that ∂P = √(1 + 2κP) ∂δ + δ²/2 ∂κ, and once more.
    first = np.empty((*delta.shape, 3))
    first[..., 0] = half + d * along + d * d / 2 - delta * delta / 2
    first[..., 1] = stretch * aside
    first[..., 2] = kappa * along + stretch
    first /= root[..., None]

    def second() -> Array:
        weight = delta / root
        bend = -kappa[..., None] * _products(first, weight)
        by_kappa = ((weight * delta)[..., None] * first).sum(axis=1)
        bend[:, 0, :] -= by_kappa
        bend[:, :, 0] -= by_kappa
        whole = weight.sum(axis=1)
        ahead, beside = (weight * along).sum(axis=1), (weight * aside).sum(axis=1)
        kappa_, d_ = kappa[:, 0], d[:, 0]
        for i, j, entry in (
            (0, 1, d_ * beside),
            (0, 2, ahead + d_ * whole),
            (1, 2, kappa_ * beside),
        ):
            bend[:, i, j] += entry
            bend[:, j, i] += entry
        bend[:, 1, 1] -= stretch[:, 0] * ahead
        bend[:, 2, 2] += kappa_ * whole
        return bend

    return delta, first, second


def _products(first: Array, weight: Array) -> Array:
    """The sums over the marks of products of two first derivatives, each times a weight."""
    return (first * weight[..., None]).swapaxes(-1, -2) @ first


def _descend(x: Array, theta: Array) -> Array:
    """Levenberg-Marquardt for one circle, to where Newton's method is sure."""
    damping = 1e-3
    delta, first, _second = _terms(x, theta)
    for _step in range(STEPS):
        j, r = first[0], delta[0]
        normal = j.T @ j
        move = np.linalg.solve(normal + damping * np.diag(np.diag(normal) + 1e-12), -(j.T @ r))
        ahead = theta + move
        terms = _terms(x, ahead)
        if (terms[0] ** 2).sum() <= (delta**2).sum():
            theta, (delta, first, _second) = ahead, terms
            damping = max(damping / 10, 1e-12)
            if np.abs(move).max() < NEAR:
                break
        else:
            damping *= 10
            if damping > 1e12:
                break
    return theta


def _settle(x: Array, theta: Array) -> Array:
    """Newton's method for many circles at once, to the last digits."""
    for _step in range(LAST_STEPS):
        delta, first, second = _terms(x, theta)
        slope = (delta[..., None] * first).sum(axis=1)
        bend = first.swapaxes(-1, -2) @ first + second()
        try:
            move = np.linalg.solve(bend, -slope[..., None])[..., 0]
        except np.linalg.LinAlgError as error:
            raise NoCircle from error
        theta = theta + move
        largest = float(np.abs(move).max())
        if not np.isfinite(largest) or largest > 1e3:
            raise NoCircle
        if largest < DONE:
            return theta
    if largest > 1e-9:
        raise NoCircle
    return theta

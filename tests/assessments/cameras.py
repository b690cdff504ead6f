"""Cameras that look at a joint from aside, from near and through a lens that bends.

A scene is points in millimetres, x right and y down as the picture shows them, z towards the
camera; its plane, z = 0, is the measured one. What a camera makes of it is worked out in full,
by rotation and central projection, and not by the formulas that are tested with it.
"""

from dataclasses import dataclass, replace

import numpy as np

from assessments.domain.view import View


@dataclass(frozen=True)
class Camera:
    """One photograph's camera.

    Attributes
    ----------
    tilt_deg, towards_deg : float
        By how much the work leans, and to which side.
    distance_mm : float
        From the lens to the plane, in the middle of the picture.
    distortion : float
        Radial, at the corner, as a share of the way there.
    px_per_mm : float
        In the middle of the picture.
    width_px, height_px : float
    """

    tilt_deg: float
    towards_deg: float
    distance_mm: float
    distortion: float
    px_per_mm: float
    width_px: float
    height_px: float

    def sees(self, scene_mm):
        """Where points (N, 3) lie in the picture; (0, 0, 0) lies in its middle."""
        x = np.asarray(scene_mm, dtype=float)
        along = np.array(
            [np.cos(np.radians(self.towards_deg)), np.sin(np.radians(self.towards_deg)), 0.0]
        )
        up = np.array([0.0, 0.0, 1.0])
        c, s = np.cos(np.radians(self.tilt_deg)), np.sin(np.radians(self.tilt_deg))
        on, off = x @ along, x @ up
        turned = x + np.outer(on * (c - 1) + off * s, along) + np.outer(off * (c - 1) - on * s, up)
        flat = turned[:, :2] * (self.distance_mm / (self.distance_mm - turned[:, 2]))[:, None]
        px = flat * self.px_per_mm
        reach = np.hypot(self.width_px, self.height_px) / 2
        px = px * (1 + self.distortion * (px**2).sum(axis=1) / reach**2)[:, None]
        return px + np.array([self.width_px, self.height_px]) / 2


def camera_in(view: View, rng: np.random.Generator, px_per_mm: float, *, at_bound=False) -> Camera:
    """A camera that keeps within a set-up; at its bounds, or anywhere in it."""
    part = 1.0 if at_bound else float(np.sqrt(rng.uniform()))
    lens = rng.choice([-1.0, 1.0]) if at_bound else rng.uniform(-1, 1)
    return Camera(
        tilt_deg=view.tilt_deg * part,
        towards_deg=float(rng.uniform(0, 360)),
        distance_mm=view.distance_mm * (1.0 if at_bound else float(rng.uniform(1, 2))),
        distortion=view.distortion * float(lens),
        px_per_mm=px_per_mm,
        width_px=view.width_px,
        height_px=view.height_px,
    )


def off_plane(points: int, bound_mm: float, rng: np.random.Generator, *, at_bound=False):
    """How far single marks lie off their plane."""
    if at_bound:
        return bound_mm * rng.choice([-1.0, 1.0], points)
    return rng.uniform(-bound_mm, bound_mm, points)


def sized(view: View, px_per_mm: float) -> View:
    """The same set-up with a picture that shows no less than its field."""
    return replace(
        view, width_px=view.field_mm * px_per_mm, height_px=0.75 * view.field_mm * px_per_mm
    )

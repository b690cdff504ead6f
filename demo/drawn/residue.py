"""What is left where it should not be: flux, and points of solder."""

import numpy as np

from .canvas import Canvas
from .frame import Crop, Field
from .shapes import away, step, tube


def lay_flux(canvas: Canvas, crop: Crop, outside: Field, reach_mm: float) -> None:
    """Lay a film of flux round a joint and thinly over it.

    Parameters
    ----------
    outside : ndarray
        Distance from the joint's edge in mm, negative inside.
    reach_mm : float
        How far the film runs out.
    """
    edge = outside - np.float32(reach_mm)
    edge += canvas.rough(crop, 0.54) * np.float32(0.45 * reach_mm)
    thick = np.clip(-edge * np.float32(1.6 / reach_mm), 0, 1)
    thin = step(outside, -0.25, 0.02)
    patch = step(canvas.rough(crop, 0.54), 0.3, -0.9)
    cover = crop.cover(edge, 3.0) * (np.float32(0.25) + np.float32(0.55) * thick)
    cover *= thin + (1 - thin) * np.float32(0.75) * patch
    height = np.sqrt(thick) * np.float32(0.12) + canvas.rough(crop, 0.14) * np.float32(0.007)
    canvas.lay(crop, height, "flux", cover)
    crack = np.abs(canvas.rough(crop, 0.14) + np.float32(0.5) * canvas.rough(crop, 0.54))
    canvas.tint(crop, (250, 236, 196), step(crack, 0.045, 0.0) * cover * np.float32(0.6))
    rim = np.clip(1 - np.abs(edge) * np.float32(20), 0, 1) * np.float32(0.55)
    canvas.tint(crop, (84, 40, 8), rim)


def lay_icicle(
    canvas: Canvas,
    crop: Crop,
    root: tuple[float, float],
    tip: tuple[float, float],
    width: float,
    material: str = "solder",
) -> None:
    """Lay a point of solder that was drawn out as the iron left."""
    dx, dy = tip[0] - root[0], tip[1] - root[1]
    length = float(np.hypot(dx, dy))
    x, y = crop.x - np.float32(root[0]), crop.y - np.float32(root[1])
    along = (x * np.float32(dx) + y * np.float32(dy)) * np.float32(1 / length)
    beside = (x * np.float32(-dy) + y * np.float32(dx)) * np.float32(1 / length)
    t = np.clip(along * np.float32(1 / length), 0, 1)
    radius = np.float32(width) * (np.float32(0.16) + np.float32(0.84) * (1 - t) ** 2)
    beside = np.abs(beside + np.float32(0.05) * np.sin(t * 5))
    over = np.maximum(np.maximum(along - np.float32(length), -along), 0)
    beside = away(beside, over)
    canvas.shade(crop, beside - radius, 0.20, 0.7, 1.2)
    ratio = np.minimum(beside / radius, np.float32(1))
    canvas.lay(crop, tube(ratio, 1.0) * radius, material, crop.cover(beside - radius))

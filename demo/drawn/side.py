"""Parts of a view from the side: the board's edge, and bodies turned about an upright axis.

Here y is 0 on the board's surface and negative above it; heights towards the camera are drawn
from the axis of what stands on the board.
"""

import numpy as np

from .canvas import MASKS
from .frame import Crop, Field
from .job import Job
from .shapes import step

BOARD_MM = 1.6


def lay_board_edge(job: Job, land_mm: float, mask: str) -> None:
    """Lay the cut edge of the board with its mask and a land, all across the photograph."""
    canvas = job.canvas
    crop = job.frame.crop([(-14, -0.2), (14, -0.2), (-14, 3.2), (14, 3.2)])
    if crop is None:
        return
    x, y = crop.x, crop.y
    slab = crop.cover(np.maximum(-y, y - np.float32(BOARD_MM)))
    canvas.shade(crop, np.maximum(-y, y - np.float32(BOARD_MM)), 0.5, 0.5, 0.6)
    layers = np.sin(y * np.float32(2 * np.pi / 0.19) + canvas.rough(crop, 0.54) * np.float32(0.35))
    threads = np.sin(
        x * np.float32(2 * np.pi / 0.42) + np.where(layers > 0, np.float32(np.pi), np.float32(0))
    )
    height = layers * np.float32(0.008) + threads * layers * np.float32(0.006)
    height += canvas.rough(crop, 0.017) * np.float32(0.0014)
    canvas.lay(crop, height, "laminate", slab)
    band = crop.cover(np.maximum(-y - np.float32(0.045), y))
    canvas.tint(crop, MASKS[mask], band)
    canvas.tint(crop, (150, 170, 160), crop.cover(np.abs(y + np.float32(0.045)) - 0.012) * 0.35)
    if land_mm:
        copper = np.maximum(np.abs(x) - np.float32(land_mm), np.abs(y + np.float32(0.03)) - 0.05)
        canvas.lay(crop, -np.abs(y) * np.float32(0.5), "tin", crop.cover(copper))


def drum(
    crop: Crop, radius: float, bottom: float, top: float, round_mm: float
) -> tuple[Field, Field]:
    """Give the height and the edge of an upright cylinder between two heights above the board."""
    up = -crop.y
    into = np.minimum(up - np.float32(bottom), np.float32(top) - up)
    lost = np.clip(np.float32(round_mm) - into, 0, round_mm)
    rho = np.float32(radius - round_mm) + np.sqrt(
        np.maximum(np.float32(round_mm**2) - lost * lost, 0)
    )
    height = np.sqrt(np.maximum(rho * rho - crop.x * crop.x, 0))
    edge = np.maximum(np.abs(crop.x) - rho, -into)
    return height, edge


def lay_drum(job: Job, radius: float, bottom: float, top: float, *, round_mm: float = 0.06) -> None:
    """Lay an upright cylinder of the terminal's metal."""
    corners = [(-radius, -top), (radius, -top), (-radius, -bottom), (radius, -bottom)]
    crop = job.frame.crop(corners, 0.3)
    if crop is None:
        return
    height, edge = drum(crop, radius, bottom, top, round_mm)
    rings = np.sin(crop.y * np.float32(140)) + np.sin(crop.y * np.float32(233))
    height += rings * np.float32(0.0009) + job.canvas.rough(crop, 0.14) * np.float32(0.002)
    job.canvas.shade(crop, edge, 0.25, 0.45)
    job.canvas.lay(crop, height, job.terminal, crop.cover(edge))


def lay_dirt(job: Job, radius: float, bottom: float, top: float) -> None:
    """Stain a cylinder that the solder did not take to."""
    corners = [(-radius, -top), (radius, -top), (-radius, -bottom), (radius, -bottom)]
    crop = job.frame.crop(corners, 0.1)
    if crop is None:
        return
    _, edge = drum(crop, radius, bottom, top, 0.06)
    dirt = step(job.canvas.rough(crop, 0.27), -0.6, 1.2) * crop.cover(edge)
    job.canvas.tint(crop, (86, 60, 38), dirt * np.float32(0.6))

"""How surfaces look: one table a light and a material, from the surface's slope to a colour.

A table has 256 by 256 entries for the x and y parts of the unit normal (x right, y down, the
third part towards the camera), each holding red, green and blue in the low three bytes. The
lights are those of a bench: a ring of lamps round the lens, a pair of arms, a dome.
"""

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

LIGHTS = ("ring", "pair", "dome")
TINTS = {"ring": (1.0, 1.0, 0.985), "pair": (1.0, 0.955, 0.88), "dome": (0.95, 0.985, 1.0)}


@dataclass(frozen=True)
class Material:
    """What a surface does with light.

    Attributes
    ----------
    tint : tuple of float
        Colour of what it mirrors.
    rough : float
        0 mirrors the lamps sharply, 1 smears them out.
    gloss : float
        How much it mirrors.
    body : tuple of float
        Colour of what it scatters.
    """

    tint: tuple[float, float, float] = (1.0, 1.0, 1.0)
    rough: float = 0.2
    gloss: float = 1.0
    body: tuple[float, float, float] = field(default=(0.0, 0.0, 0.0))


MATERIALS = {
    "solder": Material((0.80, 0.80, 0.795), 0.22, 0.94, (0.055, 0.056, 0.058)),
    "solder_dull": Material((0.60, 0.60, 0.59), 0.95, 0.80, (0.21, 0.21, 0.205)),
    "solder_frosty": Material((0.72, 0.72, 0.71), 0.7, 0.9, (0.30, 0.30, 0.30)),
    "tin": Material((0.74, 0.73, 0.70), 0.42, 0.9, (0.07, 0.068, 0.062)),
    "brass": Material((0.83, 0.66, 0.36), 0.40, 0.95, (0.08, 0.055, 0.02)),
    "gold": Material((0.95, 0.74, 0.34), 0.35, 1.0, (0.09, 0.06, 0.02)),
    "copper": Material((0.92, 0.56, 0.36), 0.35, 0.95, (0.10, 0.045, 0.022)),
    "silver": Material((0.86, 0.82, 0.74), 0.33, 0.95, (0.06, 0.056, 0.05)),
    "oxide": Material((0.44, 0.31, 0.20), 0.9, 0.55, (0.085, 0.05, 0.028)),
    "flux": Material((1.0, 0.86, 0.60), 0.12, 0.5, (0.22, 0.085, 0.010)),
    "char": Material((0.5, 0.45, 0.4), 0.5, 0.22, (0.026, 0.016, 0.010)),
    "bakelite": Material((1.0, 1.0, 1.0), 0.6, 0.14, (0.022, 0.024, 0.028)),
    "laminate": Material((0.3, 0.3, 0.3), 1.0, 0.2, (0.30, 0.30, 0.17)),
}


def plastic(colour: tuple[int, int, int]) -> Material:
    """Give the material of insulation of an sRGB colour."""
    red, green, blue = ((part / 255) ** 2.2 for part in colour)
    return Material((1, 1, 1), 0.42, 0.16, (red, green, blue))


def _lobe(angle: NDArray[np.float64], centre: float, width: float) -> NDArray[np.float64]:
    return np.exp(-(((angle - centre) / width) ** 2))


def _arriving(light: str, r: NDArray[np.float64], rough: float) -> NDArray[np.float64]:
    """Light that arrives from the directions r, smeared by a surface's roughness."""
    theta = np.degrees(np.arccos(np.clip(r[2], -1, 1)))
    around = np.arctan2(r[1], r[0])
    wide = 1 + 2.6 * rough
    if light == "ring":
        lamps = (2.5 / wide**0.8) * _lobe(theta, 36, 8 * wide)
        lamps *= 1 + 0.28 * np.cos(16 * around) * (1 - rough) + 0.35 * np.cos(around + 2.2)
        window = 0.9 * _lobe(theta, 70, 14 * wide) * np.exp(np.cos(around + 2.5) * 3 - 3)
    elif light == "pair":
        sides = np.exp(np.cos(around + 2.5) * 5 - 5) + 0.75 * np.exp(np.cos(around - 0.5) * 5 - 5)
        lamps = (4.6 / wide**0.8) * _lobe(theta, 44, 13 * wide) * sides
        window = 0.35 * _lobe(theta, 75, 18 * wide)
    else:
        lamps = (1.15 / wide**0.5) * _lobe(theta, 40, 22 * wide)
        lamps *= 1 + 0.45 * np.cos(around + 1.9)
        window = 1.9 / wide * _lobe(theta, 48, 9 * wide) * np.exp(np.cos(around + 2.0) * 6 - 6)
    sky = 0.15 + 0.32 * _lobe(theta, 54, 34) + 0.12 * _lobe(theta, 0, 20)
    lens = 1 - 0.30 * (1 - rough) * _lobe(theta, 0, 17)
    above = 1 / (1 + np.exp((theta - 90) / (4 + 8 * rough)))
    return (lamps + window + sky) * lens * above + 0.10 * np.exp(r[2] * 2.0) * (1 - above)


@lru_cache(maxsize=256)
def sheen(light: str, material: Material) -> NDArray[np.uint32]:
    """Give the table of a material under a light, shape (65536,), indexed y * 256 + x."""
    axis = (np.arange(256) - 127.5) / 127.5
    nx, ny = np.meshgrid(axis, axis)
    flat = np.maximum(np.hypot(nx, ny), 1.0)
    nx, ny = nx / flat, ny / flat
    nz = np.sqrt(np.maximum(1 - nx**2 - ny**2, 0.0))
    mirrored = np.stack([2 * nz * nx, 2 * nz * ny, 2 * nz * nz - 1])
    gleam = _arriving(light, mirrored, material.rough)[..., None]
    lit = np.clip(0.30 + 0.52 * nz - 0.24 * nx - 0.30 * ny, 0.03, None)[..., None]
    fresnel = 1 + 2.2 * (1 - nz[..., None]) ** 4 * (material.gloss < 0.5)
    colour = material.gloss * gleam * np.array(material.tint) * fresnel
    colour = (colour + lit * np.array(material.body) * 1.55) * np.array(TINTS[light])
    colour = 1 - np.exp(-1.45 * colour)
    levels = np.clip(colour ** (1 / 2.15) * 255, 0, 255).astype(np.uint32).reshape(-1, 3)
    return levels[:, 0] | (levels[:, 1] << 8) | (levels[:, 2] << 16)

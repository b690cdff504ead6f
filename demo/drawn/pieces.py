"""Round pieces that look the same however the board is turned, drawn once and kept."""

from functools import lru_cache

import numpy as np
from PIL import Image

from .canvas import normals
from .frame import Crop, Field, Frame
from .light import MATERIALS, sheen
from .noise import noise
from .shapes import FilletArc, away, bump, step


def turned(rho: Field) -> Field:
    """Give the fine rings that a lathe leaves, in mm of height."""
    grooves = np.random.default_rng(55).standard_normal(1024).astype(np.float32)
    place = np.minimum(rho * np.float32(48), np.float32(1023)).astype(np.int16)
    return grooves[place] * np.float32(0.0012)


def _blank(radius_mm: float, px_per_mm: float) -> tuple[Crop, Field]:
    """Give a square crop about the origin and each pixel's distance from it."""
    half = int(np.ceil(radius_mm * px_per_mm))
    crop = Frame((2 * half, 2 * half), px_per_mm, (half, half)).whole()
    return crop, away(crop.x, crop.y)


class _Pile:
    """Layers over one another with their own transparency, as floats."""

    def __init__(self, crop: Crop, light: str, rng: np.random.Generator) -> None:
        self.crop, self.light, self.rng = crop, light, rng
        self.colour = np.zeros((*crop.x.shape, 3), dtype=np.float32)
        self.alpha = np.zeros(crop.x.shape, dtype=np.float32)

    def tint(self, colour: Field | tuple[int, int, int], cover: Field) -> None:
        """Lay a colour, or a picture, over what is there."""
        alpha = cover + self.alpha * (1 - cover)
        share = (cover / np.maximum(alpha, np.float32(1e-6)))[..., None]
        self.colour += (np.asarray(colour, dtype=np.float32) - self.colour) * share
        self.alpha = alpha

    def lay(self, height_mm: Field, material: str, cover: Field) -> None:
        """Lay a surface over what is there."""
        table = sheen(self.light, MATERIALS[material])
        packed = table[normals(height_mm * np.float32(self.crop.px_per_mm), self.rng)]
        parts = [(packed >> shift) & 255 for shift in (0, 8, 16)]
        self.tint(np.stack(parts, axis=-1).astype(np.float32), cover)

    def image(self) -> Image.Image:
        alpha = self.alpha[..., None] * 255
        levels = np.concatenate([self.colour, alpha], axis=-1)
        return Image.fromarray(np.clip(levels, 0, 255).astype(np.uint8))


def _shadow(distance: Field, reach: float, strength: float) -> Field:
    dark = np.clip(1 - np.maximum(distance, 0) / np.float32(reach), 0, 1)
    return (dark * dark * np.float32(strength)).astype(np.float32)


@lru_cache(maxsize=96)
def land_with_base(
    light: str, material: str, px_per_mm: float, land: float, base: float, variant: int
) -> Image.Image:
    """Draw a tinned land on the board with the round base of a terminal on it; radii in mm."""
    rng = np.random.default_rng([17, variant])
    crop, rho = _blank(land + 0.4, px_per_mm)
    pile = _Pile(crop, light, rng)
    pile.tint((14, 26, 22), crop.cover(rho - np.float32(land + 0.11), 5.0) * np.float32(0.5))
    height = np.float32(0.007) * noise(rho.shape, 24, rng) + np.float32(0.0012) * noise(
        rho.shape, 1.5, rng
    )
    height += np.float32(0.05) * step(rho, land, land - 0.25)
    pile.lay(height, "tin", crop.cover(rho - np.float32(land)))
    if base:
        pile.tint((6, 8, 10), _shadow(rho - np.float32(base), 0.24, 0.62) * (rho < land + 0.1))
        height = np.float32(0.10) * step(rho, base, base - 0.16)
        height += turned(rho) + np.float32(0.002) * noise(rho.shape, 12, rng)
        pile.lay(height, material, crop.cover(rho - np.float32(base)))
    return pile.image()


@lru_cache(maxsize=96)
def post_top(
    light: str, material: str, px_per_mm: float, radius: float, variant: int
) -> Image.Image:
    """Draw the turned top of a post with its hole, and the shadow that it throws."""
    rng = np.random.default_rng([18, variant])
    crop, rho = _blank(radius + 0.5, px_per_mm)
    pile = _Pile(crop, light, rng)
    pushed = away(crop.x - np.float32(0.09), crop.y - np.float32(0.09))
    pile.tint((6, 8, 10), _shadow(pushed - np.float32(radius), 0.34, 0.78))
    height = np.float32(0.13) * step(rho, radius, radius - 0.17) + turned(rho)
    height -= np.float32(0.16) * step(rho, radius * 0.40, radius * 0.27)
    height += np.float32(0.002) * noise(rho.shape, 12, rng)
    cover = crop.cover(rho - np.float32(radius), 1.6)
    pile.lay(height, material, cover)
    pile.tint((14, 13, 12), step(rho, radius * 0.33, radius * 0.26) * np.float32(0.55))
    pile.tint((10, 9, 8), bump(rho, radius * 0.36, 0.03) * np.float32(0.35))
    return pile.image()


@lru_cache(maxsize=64)
def hole_joint(light: str, px_per_mm: float, lead: float, land: float, variant: int) -> Image.Image:
    """Draw a good joint of a lead in a plated hole, seen from the solder side."""
    rng = np.random.default_rng([19, variant])
    crop, rho = _blank(land + 0.4, px_per_mm)
    pile = _Pile(crop, light, rng)
    pile.tint((14, 26, 22), crop.cover(rho - np.float32(land + 0.11), 5.0) * np.float32(0.55))
    height = np.float32(0.05) * step(rho, land, land - 0.16)
    pile.lay(height, "tin", crop.cover(rho - np.float32(land)))
    arc = FilletArc(land - 0.12, lead, 0.85, 0.14)
    wavy = rho * (1 + np.float32(0.018) * noise(rho.shape, 24, rng))
    pile.tint((6, 8, 10), _shadow(wavy - np.float32(arc.toe_x), 0.08, 0.5))
    body = arc.height(np.clip(wavy, lead, arc.toe_x))
    body += np.float32(0.006) * noise(rho.shape, 12, rng)
    pile.lay(body, "solder", crop.cover(wavy - np.float32(arc.toe_x)))
    edge = rho - np.float32(lead)
    pile.tint((6, 8, 10), _shadow(edge, 0.2, 0.55))
    pile.lay(np.float32(0.10) * step(edge, 0.0, -0.12), "tin", crop.cover(edge, 1.5))
    score = np.sin((crop.x * np.float32(0.9) + crop.y * np.float32(0.4)) * np.float32(70))
    face = crop.cover(edge + np.float32(0.08), 2.0)
    pile.lay(score * np.float32(0.0035) + crop.x * np.float32(0.12), "copper", face)
    return pile.image()

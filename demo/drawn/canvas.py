"""The photograph while it is drawn: layers laid one over the other, then what a camera adds."""

from functools import lru_cache
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from .frame import Crop, Field, Frame
from .light import MATERIALS, Material, sheen
from .noise import noise

Colour: TypeAlias = tuple[int, int, int]

MASKS: dict[str, Colour] = {
    "green": (30, 74, 52),
    "deep green": (26, 62, 56),
    "blue": (28, 52, 88),
    "black": (38, 40, 42),
    "mat": (104, 110, 116),
    "resin": (34, 32, 31),
    "far": (84, 90, 97),
    "dim": (46, 50, 55),
}


BLURRED = ("far", "dim")  # out of the lens's reach, behind work seen from the side


@lru_cache(maxsize=48)
def backdrop(size: tuple[int, int], mask: str, variant: int) -> Image.Image:
    """Draw the bare surface of a board, a bench mat or a resin, with the lens's shade and grain."""
    rng = np.random.default_rng([sum(mask.encode()), variant])
    shape = size[1], size[0]
    level = 1 + 0.030 * noise(shape, 24.0, rng)
    if mask not in BLURRED:
        level += 0.030 * noise(shape, 0.7, rng) + 0.022 * noise(shape, 3.0, rng)
    if mask not in (*BLURRED, "mat", "resin"):
        across, down = np.arange(size[0]) * 0.42, np.arange(size[1]) * 0.42 + 1
        level += 0.014 * np.sin(across)[None, :] * np.sin(down)[:, None]
    slope = np.linspace(1.10, 0.88, size[0])[None, :] * np.linspace(1.06, 0.92, size[1])[:, None]
    x, y = np.linspace(-0.8, 0.8, size[0]), np.linspace(-0.6, 0.6, size[1])
    level *= slope * (1.06 - 0.42 * np.hypot(x[None, :], y[:, None]) ** 2.2)
    colour = level[..., None] * np.array(MASKS[mask], dtype=float)
    colour += 1.6 * rng.standard_normal((*shape, 1)) + 1.3 * rng.standard_normal((*shape, 3))
    return Image.fromarray(np.clip(colour, 0, 255).astype(np.uint8))


@lru_cache(maxsize=8)
def _font(height: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(height)


def normals(height_px: Field, rng: np.random.Generator) -> NDArray[np.uint16]:
    """Give each pixel's place in a table of sheen, from a surface's height in pixels."""
    gx, gy = np.empty_like(height_px), np.empty_like(height_px)
    np.subtract(height_px[:, 2:], height_px[:, :-2], out=gx[:, 1:-1])
    np.subtract(height_px[2:], height_px[:-2], out=gy[1:-1])
    gx[:, 0], gx[:, -1] = gx[:, 1], gx[:, -2]
    gy[0], gy[-1] = gy[1], gy[-2]
    unit = np.float32(-127.4) / np.sqrt(gx * gx + gy * gy + np.float32(4))
    gx *= unit
    gy *= unit
    dither = noise(gx.shape, 0.0, rng)
    gx += dither
    gy += dither
    row = gy.astype(np.uint16) << np.uint16(8)
    return (row | gx.astype(np.uint16)).astype(np.uint16, copy=False)


def _grey(cover: Field) -> Image.Image:
    return Image.fromarray((cover * np.float32(255)).astype(np.uint8))


class Canvas:
    """Draws into one photograph.

    Parameters
    ----------
    frame : Frame
    light : str
        One of `light.LIGHTS`.
    mask : str
        What lies behind the work, one of `MASKS`.
    rng : numpy.random.Generator
    """

    def __init__(self, frame: Frame, light: str, mask: str, rng: np.random.Generator) -> None:
        self.frame, self.light, self.mask, self.rng = frame, light, mask, rng
        self.image = backdrop(frame.size, mask, int(rng.integers(3))).copy()

    def rough(self, crop: Crop, grain_mm: float) -> Field:
        """Give noise for a crop, of a grain in mm, mean 0 and deviation 1; not to be written to."""
        return noise(crop.x.shape, max(grain_mm * crop.px_per_mm, 0.5), self.rng)

    def lay(self, crop: Crop, height_mm: Field, material: str | Material, cover: Field) -> None:
        """Lay a surface over the photograph where it covers a pixel."""
        material = MATERIALS[material] if isinstance(material, str) else material
        grey = _grey(cover)
        box = grey.getbbox()
        if box is None or box[2] - box[0] < 3 or box[3] - box[1] < 3:
            return
        left, top, right, bottom = box
        height_px = height_mm[top:bottom, left:right] * np.float32(crop.px_per_mm)
        colours = sheen(self.light, material)[normals(height_px, self.rng)]
        size = right - left, bottom - top
        layer = Image.frombuffer("RGB", size, colours, "raw", "RGBX", 0, 1)
        self.image.paste(layer, (crop.left + left, crop.top + top), grey.crop(box))

    def tint(self, crop: Crop, colour: Colour, cover: Field) -> None:
        """Stain the photograph with one colour."""
        self._stain(colour, crop.left, crop.top, _grey(cover))

    def shade(
        self,
        crop: Crop,
        distance: Field,
        reach_mm: float,
        strength: Field | float = 0.6,
        fall: float = 0.4,
    ) -> None:
        """Darken what lies round a body that is about to be laid, more on the side away from light.

        Parameters
        ----------
        distance : ndarray
            From the body's edge in mm, negative inside.
        reach_mm : float
            How far the shadow runs out.
        strength : float or ndarray
            0 to 1.
        fall : float
            How far it is pushed away from the light, in reaches.
        """
        dark = np.float32(1) - np.maximum(distance, 0) * np.float32(1 / reach_mm)
        np.maximum(dark, 0, out=dark)
        dark *= dark
        dark *= np.float32(255) * np.asarray(strength, dtype=np.float32)
        shift = round(fall * reach_mm * crop.px_per_mm * 0.7)
        grey = Image.fromarray(dark.astype(np.uint8))
        self._stain((6, 8, 10), crop.left + shift, crop.top + shift, grey)

    def _stain(self, colour: Colour, left: int, top: int, grey: Image.Image) -> None:
        """Paste one colour through a mask, no more of it than is needed."""
        box = grey.getbbox()
        if box is not None:
            place = left + box[0], top + box[1], left + box[2], top + box[3]
            self.image.paste(colour, place, grey.crop(box))

    def stamp(self, image: Image.Image, at_mm: tuple[float, float] = (0.0, 0.0)) -> None:
        """Paste a piece that was drawn before, by its middle and its own transparency."""
        x, y = self.frame.to_px(at_mm)
        place = round(float(x) - image.width / 2), round(float(y) - image.height / 2)
        self.image.paste(image, place, image)

    def track(self, points_mm: list[tuple[float, float]], width_mm: float) -> None:
        """Draw a conductor that runs under the board's mask."""
        points = [(float(x), float(y)) for x, y in self.frame.to_px(points_mm)]
        width = max(round(width_mm * self.frame.px_per_mm), 1)
        lifted: Colour = tuple(min(255, round(part * 1.22 + 7)) for part in MASKS[self.mask])  # type: ignore[assignment]
        shadow: Colour = tuple(round(part * 0.72) for part in MASKS[self.mask])  # type: ignore[assignment]
        draw = ImageDraw.Draw(self.image)
        for offset, colour, grow in ((2, shadow, 1), (0, lifted, 0)):
            moved = [(x + offset, y + offset) for x, y in points]
            draw.line(moved, fill=colour, width=width + grow, joint="curve")

    def legend(self, text: str, at_mm: tuple[float, float], height_mm: float) -> None:
        """Print text on the board's mask, centred at a point, turned with the work."""
        font = _font(max(round(height_mm * self.frame.px_per_mm), 8))
        box = font.getbbox(text)
        ink = Image.new("L", (round(box[2] - box[0]) + 8, round(box[3] - box[1]) + 8))
        ImageDraw.Draw(ink).text((4 - box[0], 4 - box[1]), text, fill=205, font=font)
        turn = (self.frame.turn_deg + 90) % 180 - 90
        ink = ink.rotate(-turn, Image.Resampling.BICUBIC, expand=True)
        x, y = self.frame.to_px(at_mm)
        left, top = round(float(x) - ink.width / 2), round(float(y) - ink.height / 2)
        self.image.paste((214, 212, 200), (left, top, left + ink.width, top + ink.height), ink)

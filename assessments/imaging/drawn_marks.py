"""Marks drawn into a picture: bytes in, bytes out."""

from io import BytesIO
from typing import IO

from PIL import Image, ImageDraw, ImageFont

from assessments.domain.marks_drawn import Drawn

DARK, WHITE, COPPER = (16, 17, 18), (255, 255, 255), (240, 168, 120)
JPEG_QUALITY = 90


def draw_marks(file: IO[bytes], lay: Drawn, photo_width: int, caption: str) -> bytes:
    """Draw a measurement's lines and marks into a picture, with what it says below.

    Parameters
    ----------
    file : file of bytes
        A rendition of the upright photograph, of any size.
    lay : Drawn
        In pixels of the upright photograph.
    photo_width : int
        Of the upright photograph, in pixels.
    caption : str
        One line of text.

    Returns
    -------
    bytes
        A JPEG as wide as the rendition and higher by the caption.
    """
    with Image.open(file) as opened:
        picture = opened.convert("RGB")
    scale = picture.width / photo_width
    unit = max(picture.size) / 1000
    font = ImageFont.load_default(size=max(22 * unit, 11))
    below = round(max(44 * unit, 22))
    whole = Image.new("RGB", (picture.width, picture.height + below), DARK)
    draw = ImageDraw.Draw(picture)
    lines = [[(x * scale, y * scale) for x, y in line] for line in lay.lines]
    reach = 9 * unit
    crosses = []
    for x, y in ((x * scale, y * scale) for x, y in lay.marks):
        crosses += [[(x - reach, y), (x + reach, y)], [(x, y - reach), (x, y + reach)]]
    for strokes, colour in ((lines, COPPER), (crosses, WHITE)):
        for stroke in strokes:
            draw.line(stroke, DARK, width=round(max(5 * unit, 3)), joint="curve")
        for stroke in strokes:
            draw.line(stroke, colour, width=round(max(2 * unit, 1)), joint="curve")
    whole.paste(picture, (0, 0))
    ImageDraw.Draw(whole).text(
        (12 * unit, picture.height + below / 2),
        caption.replace("\u00a0", " "),  # Pillow's own face has no such space.
        WHITE,
        font=font,
        anchor="lm",
    )
    out = BytesIO()
    whole.save(out, "JPEG", quality=JPEG_QUALITY, optimize=True)
    return out.getvalue()

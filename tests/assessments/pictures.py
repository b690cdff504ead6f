"""Small pictures drawn in memory: four quadrants whose colours tell which way is up.

The HEIC files in ``data/`` are the same drawing, encoded once with x265, since nothing the
project depends on can encode HEIC. ``quadrants-on-its-side`` is turned in its container and
says so in its EXIF too, as phones do; ``quadrants-located`` carries a position;
``quadrants-of-two`` holds a second, black picture after the first.
"""

import zlib
from io import BytesIO
from pathlib import Path
from struct import pack
from typing import Any

from PIL import Image

DATA = Path(__file__).parent / "data"
TOP_LEFT, TOP_RIGHT = (200, 30, 30), (30, 160, 60)
BOTTOM_LEFT, BOTTOM_RIGHT = (40, 60, 190), (220, 200, 40)
CORNERS = (TOP_LEFT, TOP_RIGHT, BOTTOM_LEFT, BOTTOM_RIGHT)
GPS_IFD = 0x8825
ORIENTATION = 0x0112


def quadrants(width: int = 96, height: int = 64) -> Image.Image:
    picture = Image.new("RGB", (width, height))
    half_x, half_y = width // 2, height // 2
    for index, colour in enumerate(CORNERS):
        left, top = half_x * (index % 2), half_y * (index // 2)
        picture.paste(colour, (left, top, left + half_x, top + half_y))
    return picture


def encoded(picture: Image.Image, form: str = "JPEG", **options: Any) -> bytes:
    if form == "JPEG":
        options = {"quality": 90, **options}
    out = BytesIO()
    picture.save(out, form, **options)
    return out.getvalue()


def jpeg(width: int = 96, height: int = 64, **options: Any) -> bytes:
    return encoded(quadrants(width, height), "JPEG", **options)


def jpeg_of_three_scans(width: int = 96, height: int = 64) -> bytes:
    """A baseline JPEG that stores one component after another: the same grey in each."""
    grey = encoded(quadrants(width, height).convert("L"), "JPEG")
    frame, scan = grey.index(b"\xff\xc0"), grey.index(b"\xff\xda")
    frame_ends = frame + 2 + int.from_bytes(grey[frame + 2 : frame + 4])
    data = grey[scan + 2 + int.from_bytes(grey[scan + 2 : scan + 4]) : -2]
    three = b"".join(bytes([one, 0x11, 0]) for one in (1, 2, 3))
    size = grey[frame + 4 : frame + 9]
    parts = [grey[:frame], b"\xff\xc0", (17).to_bytes(2), size, b"\x03", three]
    parts.append(grey[frame_ends:scan])
    parts += [b"\xff\xda\x00\x08\x01" + bytes([one, 0, 0, 63, 0]) + data for one in (1, 2, 3)]
    return b"".join(parts) + b"\xff\xd9"


def png(width: int = 96, height: int = 64, **options: Any) -> bytes:
    return encoded(quadrants(width, height), "PNG", **options)


def exif(*, orientation: int | None = None, located: bool = False) -> bytes:
    data = Image.Exif()
    data[0x010F] = "Maker of cameras"
    if orientation is not None:
        data[ORIENTATION] = orientation
    if located:
        place = data.get_ifd(GPS_IFD)
        place[1], place[2], place[3], place[4] = "N", (40.0, 25.0, 0.0), "W", (3.0, 42.0, 0.0)
    return data.tobytes()


def heic(name: str) -> bytes:
    return (DATA / f"{name}.heic").read_bytes()


def png_that_claims(width: int, height: int) -> bytes:
    """A few hundred bytes whose header asks for a picture of any size."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return pack(">I", len(data)) + kind + data + pack(">I", zlib.crc32(kind + data))

    header = pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    rows = zlib.compress(b"\0" * 100_000)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")
    )


def corners(data: bytes) -> list[tuple[int, int, int]]:
    """The colours in the middle of each quadrant, left to right and top to bottom."""
    picture = Image.open(BytesIO(data)).convert("RGB")
    width, height = picture.size
    places = [(1, 1), (3, 1), (1, 3), (3, 3)]
    return [picture.getpixel((width * x // 4, height * y // 4)) for x, y in places]  # type: ignore[misc]


def near(found: tuple[int, ...], colour: tuple[int, ...], within: int = 14) -> bool:
    return all(abs(a - b) <= within for a, b in zip(found, colour, strict=True))


def stands_upright(data: bytes) -> bool:
    return all(near(*pair) for pair in zip(corners(data), CORNERS, strict=True))

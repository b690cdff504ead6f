"""Decode one photograph to a small plain one: in this process, or as a process of its own.

Nothing here knows Django, since what is large, and each HEIC, TIFF and BMP, whose decoders are
native code that a damaged file can bring down, is decoded by running this file as a script:

    python assessments/imaging/decoder.py MAX_PIXELS MAX_BYTES LONGEST < picture > plain

Standard output then holds a line of JSON, `Decoded` without its picture, and the picture's RGB
bytes. It ends with 0 where all went well, with `TOO_MANY_PIXELS` and the size on standard error
where the picture would be too large, with `TOO_MANY_BYTES`, the size and the bytes where it would
take too much memory, with `OUT_OF_MEMORY` where it did, with `SEVERAL_PICTURES` where the file
holds more than one, with `RAW_PICTURE` where it begins with a small one for show, and with
anything else where it cannot be decoded.
"""

import io
import json
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

from PIL import Image, ImageCms
from PIL.BmpImagePlugin import BmpImageFile
from PIL.ExifTags import Base as ExifTag
from PIL.ImageFile import ImageFile
from PIL.JpegImagePlugin import JpegImageFile
from PIL.PngImagePlugin import PngImageFile
from PIL.TiffImagePlugin import TiffImageFile
from PIL.WebPImagePlugin import WebPImageFile

TOO_MANY_PIXELS, SEVERAL_PICTURES, RAW_PICTURE, TOO_MANY_BYTES, OUT_OF_MEMORY = 3, 4, 5, 6, 7
MOST_MEMORY_BYTES = 1024**3
"""Of the process, all told: the picture, the file, the program and its libraries."""
MOST_SECONDS = 60

NEW_SUBFILE_TYPE, REDUCED, BITS_PER_SAMPLE = 254, 1, 258
"""TIFF 6.0, section 8; a picture of subfile type 1 is a smaller one of another in the file."""
STORED_BYTES = {"1": 1, "L": 1, "P": 1, "I;16": 2, "I;16B": 2, "I;16L": 2, "I;16N": 2}
"""How Pillow keeps a pixel of a mode; in four bytes where it is not named."""
BYTES_BY_WEBP, BYTES_BY_HEIF = 16, 12
"""A pixel while its library decodes; of WebP two whole canvases, a copy and the picture."""
COEFFICIENT_BYTES = 2
"""Of each component of a pixel, while a JPEG in several scans is decoded."""

# Orientation tag of EXIF 2.32, 4.6.4: how the stored picture is turned to stand upright.
TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
LIES_ON_ITS_SIDE = {5, 6, 7, 8}
MIDDLE = 128
GROUND = "white"
# Of the filters that do a picture justice the quickest; what a sharper one brings more is lost in
# writing the JPEG.
FILTER = Image.Resampling.HAMMING
# A picture is averaged by a whole number first, which is quick, as far as it stays so many times
# as large as asked.
AVERAGED_TO = 1.25
# Converted and averaged so many pixels at a time, so that no second copy of all of it is held.
BAND_PIXELS = 1 << 20
# From so many pixels on it is worth while to have them made by two threads.
IN_BANDS_FROM = 1_000_000


@dataclass(frozen=True, slots=True)
class Decoded:
    """A photograph in plain colours, upright and small; width and height are the original's."""

    picture: Image.Image
    width: int
    height: int
    ends_grey: bool = False
    """Whether it is a JPEG that ends in what its decoder fills in."""


def decoded_bytes(
    picture: ImageFile, size: tuple[int, int], *, in_several_scans: bool = False
) -> int:
    """The most memory that decoding an opened picture holds at once, told from its header.

    What the file itself takes, a band or two and the libraries come on top. Measured by
    `tests/assessments/test_decoding_memory.py`.

    Parameters
    ----------
    size : tuple of int
        Width and height as the header has them, before less was asked for.
    in_several_scans : bool
        Whether the picture is a JPEG in several scans, all of which are held until the last.
    """
    pixel, scans = STORED_BYTES.get(picture.mode, 4), 0
    if isinstance(picture, WebPImageFile):
        pixel = BYTES_BY_WEBP
    elif isinstance(picture, TiffImageFile):
        # A strip of it may be the whole of it.
        bits = picture.tag_v2.get(BITS_PER_SAMPLE, (8,))
        pixel += -(-sum(bits) // 8)
    elif isinstance(picture, JpegImageFile):
        scans = COEFFICIENT_BYTES * picture.layers * in_several_scans
    elif not isinstance(picture, PngImageFile | BmpImageFile):
        pixel = BYTES_BY_HEIF
    return picture.size[0] * picture.size[1] * pixel + size[0] * size[1] * scans


def ask_for_less(picture: ImageFile, longest: int) -> None:
    """Have a JPEG decoded at a half, a quarter or an eighth where that is still large enough.

    What is asked for is rounded down: the decoder scales only as far as neither side falls
    below it, and a side that is one pixel too long has the whole picture decoded.
    """
    longer = max(picture.size)
    if longer > longest:
        width, height = (max(1, side * longest // longer) for side in picture.size)
        picture.draft(None, (width, height))


def decode(picture: ImageFile, longest: int, size: tuple[int, int]) -> Decoded:
    """Decode an opened picture to its end; ask for less of a JPEG before.

    Parameters
    ----------
    longest : int
        The longer side of what is made, in pixels; a picture that is smaller keeps its size.
    size : tuple of int
        Width and height as the header has them, before less was asked for.
    """
    picture.load()
    is_jpeg = isinstance(picture, JpegImageFile)
    if not is_jpeg:
        size = picture.size
    # Not before: to look for EXIF a PNG is decoded, and what is wrong with it passed over.
    orientation = _orientation(picture)
    ends_grey = is_jpeg and _ends_grey(picture)
    upright = plain(picture, longest)
    if orientation in TURNS:
        upright = upright.transpose(TURNS[orientation])
    width, height = reversed(size) if orientation in LIES_ON_ITS_SIDE else size
    return Decoded(upright, width, height, ends_grey)


def _orientation(picture: ImageFile) -> int:
    """Read how the picture lies; 1, upright, where nothing readable says so.

    HEIF and TIFF files carry their turn in the container, and their decoders have applied it.
    """
    if not isinstance(picture, JpegImageFile | PngImageFile | WebPImageFile):
        return 1
    try:
        value: Any = picture.getexif().get(ExifTag.Orientation)
    except Exception:
        return 1
    return value if isinstance(value, int) and value in TURNS else 1


def _ends_grey(picture: Image.Image) -> bool:
    """Whether a JPEG ends in the grey that its decoder fills in where the data ends too early.

    Blocks that are not there have no coefficients at all, which is the middle of every range; no
    camera sees the end of its last line as exactly that.
    """
    if picture.mode not in ("L", "RGB") or min(picture.size) < 2:
        return False
    width, height = picture.size
    end = picture.crop((width // 2, height - 1, width, height))
    bands = end.getextrema() if picture.mode == "RGB" else [end.getextrema()]
    return all(band == (MIDDLE, MIDDLE) for band in bands)


# To plain colours


def within(size: tuple[int, int], longest: int) -> tuple[int, int]:
    """Scale a size down so that its longer side is at most `longest`, keeping its shape."""
    width, height = size
    if max(width, height) <= longest:
        return size
    if width >= height:
        return longest, max(1, round(height * longest / width))
    return max(1, round(width * longest / height)), longest


def no_larger(picture: Image.Image, longest: int) -> Image.Image:
    target = within(picture.size, longest)
    if target == picture.size:
        return picture
    if max(picture.size) >= 2 * AVERAGED_TO * max(target):
        # What averaging dulls, this filter sharpens again.
        return picture.resize(target, Image.Resampling.LANCZOS, reducing_gap=AVERAGED_TO)
    # To resize what is see-through it is copied whole, which either band would do for itself.
    if target[0] * target[1] < IN_BANDS_FROM or picture.mode == "RGBA":
        return picture.resize(target, FILTER)
    return resized_in_bands(picture, target)


def resized_in_bands(picture: Image.Image, target: tuple[int, int]) -> Image.Image:
    """Resize the upper and the lower half at once; Pillow lets other threads run meanwhile.

    At its edge a band is made from what lies beyond it as well, so there is no seam.
    """
    width, height = target
    scale = picture.height / height

    def band(first: int, last: int) -> Image.Image:
        box = (0, first * scale, picture.width, last * scale)
        return picture.resize((width, last - first), FILTER, box=box)

    middle = height // 2
    made = Image.new(picture.mode, target)
    with ThreadPoolExecutor(1) as beside:
        lower = beside.submit(band, middle, height)
        made.paste(band(0, middle), (0, 0))
        made.paste(lower.result(), (0, middle))
    return made


def plain(picture: Image.Image, longest: int) -> Image.Image:
    """Bring any mode to 8-bit sRGB on a white ground, no larger than asked."""
    profile = picture.info.get("icc_profile")
    size, target = picture.size, within(picture.size, longest)
    averaged = (1, 1)
    if max(size) >= 2 * AVERAGED_TO * max(target):
        averaged = (
            max(1, int(size[0] / target[0] / AVERAGED_TO)),
            max(1, int(size[1] / target[1] / AVERAGED_TO)),
        )
    made = _without_depth(picture, averaged)
    if averaged != (1, 1):
        # What averaging dulls, this filter sharpens again. The last column may stand for less.
        box = (0, 0, size[0] / averaged[0], size[1] / averaged[1])
        made = made.resize(target, Image.Resampling.LANCZOS, box=box)
    else:
        made = no_larger(made, longest)
    made = _to_srgb(made, profile)
    made.info = {}
    return made


def _without_depth(picture: Image.Image, averaged: tuple[int, int]) -> Image.Image:
    """Bring a picture to 8 bits and to nothing see-through, averaged by whole numbers."""
    is_flat = picture.mode in ("L", "RGB", "CMYK") and not picture.has_transparency_data
    if is_flat and averaged == (1, 1):
        return picture
    if is_flat:
        return picture.reduce(averaged)
    if picture.mode in ("P", "PA") and picture.palette is None:
        raise ValueError("A picture of palette colours has no palette.")
    across, down = averaged
    width, height = picture.size
    made: Image.Image | None = None
    rows = max(1, BAND_PIXELS // max(width, 1) // down) * down
    for top in range(0, height, rows):
        band = _flat(picture.crop((0, top, width, min(top + rows, height)))).reduce(averaged)
        if made is None:
            made = Image.new(band.mode, (-(-width // across), -(-height // down)))
        made.paste(band, (0, top // down))
    if made is None:
        raise ValueError("A picture without rows has no colours.")
    return made


def _flat(band: Image.Image) -> Image.Image:
    """Bring a part of a picture to grey or RGB of 8 bits on a white ground."""
    if band.mode.startswith("I"):
        return band.convert("I").point(lambda value: value * (1 / 257) + 0).convert("L")
    if band.mode == "1":
        return band.convert("L")
    if not band.has_transparency_data:
        return band.convert("RGB")
    band = band.convert("RGBA")
    ground = Image.new("RGB", band.size, GROUND)
    ground.paste(band, mask=band.getchannel("A"))
    return ground


def _to_srgb(picture: Image.Image, profile: bytes | None) -> Image.Image:
    if profile:
        try:
            converted = ImageCms.profileToProfile(
                picture,
                ImageCms.ImageCmsProfile(io.BytesIO(profile)),
                ImageCms.createProfile("sRGB"),
                outputMode="RGB",
            )
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
            converted = None  # A profile for another kind of picture, or none that can be read.
        if converted is not None:
            return converted
    return picture if picture.mode == "RGB" else picture.convert("RGB")


# As a process of its own


def limit_itself() -> None:
    """Keep a picture that never ends from taking the machine along; where the system can."""
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def end_with(code: int, *words: int) -> SystemExit:
    sys.stderr.write(" ".join(map(str, words)))
    return SystemExit(code)


def opened(data: bytes) -> ImageFile:
    """Open a picture by the decoder of what it begins as, and by no other."""
    file = io.BytesIO(data)
    if data.startswith(b"BM"):
        return BmpImageFile(file)
    if data.startswith((b"II*\0", b"MM\0*")):
        picture = TiffImageFile(file)
        if picture.tag_v2.get(NEW_SUBFILE_TYPE, 0) & REDUCED:
            raise SystemExit(RAW_PICTURE)
        if picture.n_frames > 1:
            raise SystemExit(SEVERAL_PICTURES)
        return picture
    for beginning, decoder in (
        (b"\xff\xd8", JpegImageFile),
        (b"\x89PNG", PngImageFile),
        (b"RIFF", WebPImageFile),
    ):
        if data.startswith(beginning):
            return decoder(file)
    from pi_heif import HeifImageFile, options

    options.THUMBNAILS = options.DEPTH_IMAGES = options.AUX_IMAGES = False
    return HeifImageFile(file)


def main() -> None:
    limit_itself()
    Image.MAX_IMAGE_PIXELS = None  # There is a limit of our own.
    most_pixels, most_bytes, longest = map(int, sys.argv[1:4])
    picture = opened(sys.stdin.buffer.read())
    size = picture.size
    if size[0] * size[1] > most_pixels:
        raise end_with(TOO_MANY_PIXELS, *size)
    ask_for_less(picture, longest)
    # Whoever sends a JPEG here has seen that it has several scans.
    needed = decoded_bytes(picture, size, in_several_scans=True)
    if needed > most_bytes:
        raise end_with(TOO_MANY_BYTES, *size, needed)
    try:
        decoded = decode(picture, longest, size)
    except MemoryError:
        raise SystemExit(OUT_OF_MEMORY) from None
    # What the container says of the size is only checked by decoding.
    if decoded.width * decoded.height > most_pixels:
        raise end_with(TOO_MANY_PIXELS, decoded.width, decoded.height)
    facts = {
        "width": decoded.width,
        "height": decoded.height,
        "ends_grey": decoded.ends_grey,
        "size": decoded.picture.size,
    }
    sys.stdout.buffer.write(json.dumps(facts).encode() + b"\n" + decoded.picture.tobytes())


if __name__ == "__main__":
    main()

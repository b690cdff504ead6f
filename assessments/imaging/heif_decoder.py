"""Decode one HEIC, TIFF or BMP in a process of its own: bytes on standard input, PNG on output.

The decoders of HEIC and TIFF are native code that a damaged file can bring down, and whoever it
takes with it must not be the site. Nothing of the picture is lost. Run as a script, without Django:

    python assessments/imaging/heif_decoder.py MAX_PIXELS < picture.heic > picture.png

It ends with 0 where all went well, with `TOO_MANY_PIXELS` and the size on standard error
where the picture would be too large, with `SEVERAL_PICTURES` where the file holds more than one,
with `RAW_PICTURE` where it begins with a small one for show, and with anything else where it
cannot be decoded.
"""

import io
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageFile import ImageFile

TOO_MANY_PIXELS, SEVERAL_PICTURES, RAW_PICTURE = 3, 4, 5
NEW_SUBFILE_TYPE, REDUCED = 254, 1
"""TIFF 6.0, section 8: a picture that is a smaller one of another in the file."""
WRITTEN_AS_PNG = {"1", "L", "LA", "I", "I;16", "P", "RGB", "RGBA"}
MOST_MEMORY_BYTES = 3 * 1024**3
MOST_SECONDS = 60


def limit_itself() -> None:
    """Keep a picture that never ends from taking the machine along; where the system can."""
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def refuse_size(size: tuple[int, int], most: int) -> None:
    if size[0] * size[1] > most:
        sys.stderr.write(f"{size[0]} {size[1]}")
        raise SystemExit(TOO_MANY_PIXELS)


def opened(data: bytes) -> "ImageFile":
    """Open a picture by the decoder of what it begins as, and by no other."""
    from PIL import Image

    Image.MAX_IMAGE_PIXELS = None  # There is a limit of our own.
    if data.startswith(b"BM"):
        from PIL.BmpImagePlugin import BmpImageFile

        return BmpImageFile(io.BytesIO(data))
    if data.startswith((b"II*\0", b"MM\0*")):
        from PIL.TiffImagePlugin import TiffImageFile

        picture = TiffImageFile(io.BytesIO(data))
        if picture.tag_v2.get(NEW_SUBFILE_TYPE, 0) & REDUCED:
            raise SystemExit(RAW_PICTURE)
        if picture.n_frames > 1:
            raise SystemExit(SEVERAL_PICTURES)
        return picture
    from pi_heif import HeifImageFile, options

    options.THUMBNAILS = options.DEPTH_IMAGES = options.AUX_IMAGES = False
    return HeifImageFile(io.BytesIO(data))


def main() -> None:
    limit_itself()
    most = int(sys.argv[1])
    picture: Image = opened(sys.stdin.buffer.read())
    refuse_size(picture.size, most)
    picture.load()
    # What the container says of the size is only checked by decoding.
    refuse_size(picture.size, most)
    profile = picture.info.get("icc_profile")
    if picture.mode.startswith("I;16"):
        picture = picture.convert("I") if picture.mode != "I;16" else picture
    elif picture.mode not in WRITTEN_AS_PNG:
        picture, profile = picture.convert("RGB"), None
    picture.info = {}
    picture.save(sys.stdout.buffer, "PNG", compress_level=1, icc_profile=profile)


if __name__ == "__main__":
    main()

"""Photographs as files: what a file really is, and the smaller pictures made from it.

Bytes in, bytes out; no models. Each decoder is called by name for a file that begins as its
format does, so no other decoder ever sees what somebody sent.
"""

import re
import subprocess
import sys
import warnings
import zlib
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path, PurePath
from typing import IO, Any

from django.conf import settings
from django.template.defaultfilters import filesizeformat
from django.utils.translation import gettext as _
from PIL import Image, ImageCms, ImageFile
from PIL.ExifTags import IFD
from PIL.ExifTags import Base as ExifTag
from PIL.JpegImagePlugin import JpegImageFile
from PIL.PngImagePlugin import PngImageFile
from PIL.WebPImagePlugin import WebPImageFile

from assessments.exceptions import NotAPhotograph

from .heif_decoder import MOST_SECONDS, RAW_PICTURE, SEVERAL_PICTURES, TOO_MANY_PIXELS

HEIF_DECODER = Path(__file__).with_name("heif_decoder.py")

# The limit is `max_pixels`, checked in `_opened` before anything is decoded.
Image.MAX_IMAGE_PIXELS = None
# A decoder's remarks on odd metadata are for nobody here. Said once for the process: to change
# the filters while decoding would race with other threads.
warnings.filterwarnings("ignore", category=UserWarning, module=r"PIL\.")

HEAD_BYTES = 64
CHUNK_BYTES = 1 << 16
# Markers of a JPEG, ISO/IEC 10918-1, table B.1.
PROGRESSIVE_FRAMES = {b"\xc2", b"\xc6", b"\xca", b"\xce"}
FRAMES = {bytes([code]) for code in range(0xC0, 0xD0)} - {b"\xc4", b"\xc8", b"\xcc"}
NO_SEGMENT = {b"", b"\x00", b"\x01", *(bytes([code]) for code in range(0xD0, 0xD9))}
START_OF_SCAN = b"\xda"
RESTART_INTERVAL = b"\xdd"
RESTART = re.compile(rb"\xff[\xd0-\xd7]")
END_OF_PICTURE = b"\xff\xd9"
MIDDLE = 128
# Cameras write EXIF first, and a segment of a JPEG holds 64 KiB at most.
EXIF_WITHIN_BYTES = 128 * 1024
EXIF_BEGINS = re.compile(rb"(?:Exif\0\0|eXIf|EXIF....)(?=II\*\0|MM\0\*)", re.DOTALL)
TAKEN = re.compile(r"[12]\d{3}:\d\d:\d\d \d\d:\d\d:\d\d")
SMALLEST = 160
GROUND = "white"
JPEG_QUALITY = 88
# Of the filters that do a picture justice the quickest; what a sharper one brings more is lost in
# writing the JPEG.
FILTER = Image.Resampling.HAMMING
# A picture is averaged by a whole number first, which is quick, as far as it stays so many times
# as large as asked.
AVERAGED_TO = 1.25
# From so many pixels on it is worth while to have them made by two threads.
IN_BANDS_FROM = 1_000_000
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
BMP_HEADERS = {12, 40, 52, 56, 64, 108, 124}
HEIF_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}
FILM_BRANDS = {b"qt  ", b"isom", b"iso2", b"mp41", b"mp42", b"avc1", b"M4V ", b"3gp4", b"3gp5"}


@dataclass(frozen=True, slots=True)
class Format:
    name: str
    media_type: str
    decoder: type[ImageFile.ImageFile]
    extensions: tuple[str, ...]


JPEG = Format("JPEG", "image/jpeg", JpegImageFile, (".jpg", ".jpeg", ".jpe", ".jfif", ".mpo"))
PNG = Format("PNG", "image/png", PngImageFile, (".png",))
WEBP = Format("WebP", "image/webp", WebPImageFile, (".webp",))
# Decoded by a process of its own, which hands on a PNG, upright.
HEIF = Format("HEIC", "image/heic", PngImageFile, (".heic", ".heif", ".hif"))
TIFF = Format("TIFF", "image/tiff", PngImageFile, (".tif", ".tiff"))
BMP = Format("BMP", "image/bmp", PngImageFile, (".bmp", ".dib"))
FORMATS = (JPEG, PNG, WEBP, HEIF, TIFF, BMP)
DECODED_APART = (HEIF, TIFF, BMP)


@dataclass(frozen=True, slots=True)
class PhotoFacts:
    """What a file turned out to be; width and height are those of the upright picture."""

    media_type: str
    width: int
    height: int
    size_bytes: int
    is_incomplete: bool = False
    """Whether a part of the picture is known to be missing, and was filled in by the decoder."""


@dataclass(frozen=True, slots=True)
class Rendered:
    """An upright JPEG without EXIF, in sRGB."""

    size: int
    data: bytes
    width: int
    height: int


def inspect(
    file: IO[bytes], name: str, *, max_bytes: int | None = None, max_pixels: int | None = None
) -> PhotoFacts:
    """Make sure that a file is one whole photograph, and say what it is.

    The picture is decoded to its end. EXIF that cannot be read is passed over.

    Parameters
    ----------
    file : seekable binary file
        Left at its beginning.
    name : str
        The name it came under; if that has an extension, it must fit the format.
    max_bytes, max_pixels : int, optional
        Limits; those of the settings by default. A JPEG in several scans, as progressive
        ones are, has the lower limit `PHOTO_MAX_PIXELS_SEVERAL_SCANS` beside them.

    Raises
    ------
    NotAPhotograph
        With a sentence that names the file and says what to do.
    """
    size = _size_in_bytes(file)
    _check_bytes(size, name, max_bytes)
    form = _format_of(_head(file), name)
    with _opened(file, name, form, max_pixels) as picture:
        if form is JPEG:
            _check_scans(file, picture.size, name)
        if form is PNG:
            _check_chunks(file)
        width, height = picture.size
        picture.draft(None, (max(width // 8, 1), max(height // 8, 1)))
        picture.load()
        # Not before: to look for EXIF a PNG is decoded, and what is wrong with it passed over.
        turned = _orientation(picture, form) in LIES_ON_ITS_SIDE
        incomplete = form is JPEG and (_ends_grey(picture) or not _restarts_fit(file))
        # What can be read and yet not brought to plain colours: a palette of nothing.
        _plain(picture, SMALLEST)
    file.seek(0)
    if turned:
        width, height = height, width
    return PhotoFacts(form.media_type, width, height, size, incomplete)


def glance(head: bytes, size_bytes: int, name: str) -> None:
    """Refuse what its first bytes and its length tell of; whether it is whole is not known yet.

    Raises
    ------
    NotAPhotograph
        As `inspect` does.
    """
    _check_bytes(size_bytes, name)
    _format_of(head, name)


def taken_at(head: bytes) -> str:
    """When the camera says it took a photograph; empty where its first bytes do not say.

    Parameters
    ----------
    head : bytes
        The beginning of a file, `EXIF_WITHIN_BYTES` or less of it.

    Returns
    -------
    str
        ``2026:03:05 14:02:11`` or with a fraction of a second behind, by the camera's clock:
        tags 0x9003 and 0x9291 of EXIF 2.32, 4.6.5. Sorts as the times do.
    """
    marker = EXIF_BEGINS.search(head)
    if marker is None:
        return ""
    exif = Image.Exif()
    try:
        exif.load(b"Exif\0\0" + head[marker.end() :])
        camera = exif.get_ifd(IFD.Exif)
        text = str(camera.get(ExifTag.DateTimeOriginal, ""))
        fraction = str(camera.get(ExifTag.SubsecTimeOriginal, ""))
    except Exception:
        return ""
    if not TAKEN.fullmatch(text):
        return ""
    return f"{text}.{fraction}" if fraction.isdecimal() else text


def rendition(file: IO[bytes], size: int) -> Rendered:
    """Make one smaller picture; see `renditions`."""
    return next(renditions(file, [size]))


def renditions(file: IO[bytes], sizes: Iterable[int]) -> Iterator[Rendered]:
    """Make smaller pictures of one photograph, largest first, decoding it once.

    Parameters
    ----------
    file : seekable binary file
    sizes : iterable of int
        The longer side of each, in pixels; a picture that is smaller keeps its size.

    Yields
    ------
    Rendered

    Raises
    ------
    NotAPhotograph
        If the file can no longer be read as a photograph.
    """
    wanted = sorted(set(sizes), reverse=True)
    name = _("The photograph")
    form = _format_of(_head(file), "")
    with _opened(file, name, form) as picture:
        _ask_for_less(picture, wanted[0])
        picture.load()
        orientation = _orientation(picture, form)
        upright: Image.Image = _plain(picture, wanted[0])
        if orientation in TURNS:
            upright = upright.transpose(TURNS[orientation])
    with ThreadPoolExecutor(1) as beside:
        # Each is written while the next is made.
        writing: Future[Rendered] | None = None
        for size in wanted:
            upright = _no_larger(upright, size)
            following = beside.submit(_rendered, size, upright)
            if writing is not None:
                yield writing.result()
            writing = following
        if writing is not None:
            yield writing.result()


def _size_in_bytes(file: IO[bytes]) -> int:
    file.seek(0, 2)
    size = file.tell()
    file.seek(0)
    return size


def _check_bytes(size: int, name: str, most: int | None = None) -> None:
    most = settings.PHOTO_MAX_BYTES if most is None else most
    if size == 0:
        raise NotAPhotograph(
            _("%(name)s is empty. Save the photograph again, then add it.") % {"name": name}
        )
    if size > most:
        raise NotAPhotograph(
            _("%(name)s has %(size)s, and at most %(most)s can be taken in. Save it smaller.")
            % {"name": name, "size": filesizeformat(size), "most": filesizeformat(most)}
        )


def _head(file: IO[bytes]) -> bytes:
    file.seek(0)
    head = file.read(HEAD_BYTES)
    file.seek(0)
    return head


def _format_of(head: bytes, name: str) -> Format:
    """Tell the format by how the file begins, and hold the name's extension against it."""
    extension = PurePath(name).suffix.lower()
    form = _by_beginning(head)
    # Cameras keep their raw pictures in a TIFF, of which no decoder makes the photograph.
    if form is None or (form is TIFF and extension not in ("", *TIFF.extensions)):
        raise _is_no_photograph(name, _what_else(head))
    # Telephones write HEIC and go on naming their pictures as they always did.
    if form is HEIF and extension in JPEG.extensions:
        return form
    if extension and extension not in form.extensions:
        raise NotAPhotograph(
            _(
                "%(name)s is really a %(format)s file. Give its name the ending"
                " %(extension)s and add it again."
            )
            % {"name": name, "format": form.name, "extension": form.extensions[0]}
        )
    return form


def _is_no_photograph(name: str, what: str) -> NotAPhotograph:
    return NotAPhotograph(
        _(
            "%(name)s is %(what)s, not a photograph that can be taken in."
            " Add a JPEG, PNG, WebP or HEIC file, or a plain TIFF or BMP."
        )
        % {"name": name or _("The file"), "what": what}
    )


def _by_beginning(head: bytes) -> Format | None:
    if head.startswith(b"\xff\xd8\xff"):
        return JPEG
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return PNG
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return WEBP
    if head[4:8] == b"ftyp" and head[8:12] in HEIF_BRANDS:
        return HEIF
    if head.startswith((b"II*\0", b"MM\0*")) and head[8:10] != b"CR":
        return TIFF
    # The header's length, of which there are few, since two letters begin many a text.
    if head.startswith(b"BM") and int.from_bytes(head[14:18], "little") in BMP_HEADERS:
        return BMP
    return None


def _what_else(head: bytes) -> str:
    """Name the things that get picked by mistake."""
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if head.startswith(b"PK\x03\x04"):
        return _("a zip archive")
    if head.startswith(b"%PDF"):
        return _("a PDF")
    if head.startswith((b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")):
        return _("a raw picture, or a TIFF under another name")
    if head.startswith((b"GIF87a", b"GIF89a")):
        return _("a GIF")
    if head.startswith(b"BM"):
        return _("a BMP picture")
    if head[4:8] == b"ftyp" and head[8:12] in (b"avif", b"avis"):
        return _("an AVIF picture")
    if head[4:8] == b"ftyp" and head[8:12] in FILM_BRANDS:
        return _("a film")
    if start.startswith((b"<!doctype html", b"<html", b"<head", b"<script")):
        return _("a web page")
    if start.startswith((b"<svg", b"<?xml")):
        return _("a drawing or other XML")
    return _("something else")


@contextmanager
def _opened(
    file: IO[bytes], name: str, form: Format, max_pixels: int | None = None
) -> Iterator[ImageFile.ImageFile]:
    """Open a picture whose header has been checked; a decoder's failures become refusals."""
    most = settings.PHOTO_MAX_PIXELS if max_pixels is None else max_pixels
    try:
        picture = form.decoder(_decoded_apart(file, name, most) if form in DECODED_APART else file)
        _check_pixels(picture.size, name, most)
        if getattr(picture, "is_animated", False):
            raise NotAPhotograph(
                _("%(name)s moves. Save one picture of it as a still, then add that.")
                % {"name": name}
            )
        yield picture
        _check_pixels(picture.size, name, most)
    except NotAPhotograph:
        raise
    except Exception as error:
        # Decoders answer damaged files with any exception there is.
        raise NotAPhotograph(
            _("%(name)s is damaged or breaks off. Copy it from the camera again.") % {"name": name}
        ) from error


def _decoded_apart(file: IO[bytes], name: str, most: int) -> IO[bytes]:
    """Have a picture decoded where a crash of the decoder harms nobody; give a PNG."""
    file.seek(0)
    done = subprocess.run(
        [sys.executable, "-I", str(HEIF_DECODER), str(most)],
        input=file.read(),
        capture_output=True,
        timeout=2 * MOST_SECONDS,
        check=False,
    )
    if done.returncode == TOO_MANY_PIXELS:
        width, height = done.stderr.split()
        _check_pixels((int(width), int(height)), name, most)
    if done.returncode == SEVERAL_PICTURES:
        raise NotAPhotograph(
            _("%(name)s holds several pictures. Save one of them by itself, then add that.")
            % {"name": name}
        )
    if done.returncode == RAW_PICTURE:
        raise _is_no_photograph(name, _("a raw picture"))
    if done.returncode != 0:
        raise OSError(f"The decoder ended with {done.returncode}.")
    return BytesIO(done.stdout)


def _check_pixels(size: tuple[int, int], name: str, most: int) -> None:
    width, height = size
    if width * height > most:
        raise NotAPhotograph(
            _(
                "%(name)s would unpack into %(width)d × %(height)d pixels, and at most"
                " %(most)d million can be taken in. Save it smaller."
            )
            % {"name": name, "width": width, "height": height, "most": most // 1_000_000}
        )


def _check_chunks(file: IO[bytes]) -> None:
    """Hold the parts that a PNG is drawn from against their sums; the file is left where it was.

    Chunks and their CRC are those of ISO/IEC 15948, 5.3; a decoder passes over the sums of those
    that hold the picture. Those that only speak of it may be damaged, as its decoder allows.
    """
    was_at = file.tell()
    file.seek(8)
    try:
        kind = b""
        while kind != b"IEND":
            length, kind = int.from_bytes(file.read(4)), file.read(4)
            left, crc = length, zlib.crc32(kind)
            while left and (part := file.read(min(left, CHUNK_BYTES))):
                left -= len(part)
                crc = zlib.crc32(part, crc)
            stated = file.read(4)
            if left or len(stated) < 4:
                raise OSError("The file breaks off.")
            if kind[:1].isupper() and stated != crc.to_bytes(4):
                raise OSError("A part of the picture is not what was written.")
    finally:
        file.seek(was_at)


def _check_scans(file: IO[bytes], size: tuple[int, int], name: str) -> None:
    """Refuse a JPEG that has to be held whole and is large."""
    width, height = size
    most = settings.PHOTO_MAX_PIXELS_SEVERAL_SCANS
    if width * height > most and _is_in_several_scans(file):
        raise NotAPhotograph(
            _(
                "%(name)s is a progressive JPEG of %(width)d × %(height)d pixels, and of those at"
                " most %(most)d million can be taken in. Save it as a plain (baseline) JPEG or"
                " smaller."
            )
            % {"name": name, "width": width, "height": height, "most": most // 1_000_000}
        )


def _is_in_several_scans(file: IO[bytes]) -> bool:
    """Whether a JPEG's first scan holds but a part of it: coarse first, or one component.

    Markers are those of ISO/IEC 10918-1, B.1.1.3; what stands between segments is passed over,
    as decoders do. The file is left where it was.
    """
    was_at = file.tell()
    file.seek(2)
    try:
        components = 0
        while byte := file.read(1):
            if byte != b"\xff":
                continue
            while (marker := file.read(1)) == b"\xff":
                pass
            if marker in NO_SEGMENT:
                continue
            length = int.from_bytes(file.read(2))
            segment = file.read(max(length - 2, 0))
            if marker in PROGRESSIVE_FRAMES:
                return True
            if marker in FRAMES:
                components = segment[5] if len(segment) > 5 else 0
            elif marker == START_OF_SCAN:
                return bool(segment) and segment[0] < components
        return False
    finally:
        file.seek(was_at)


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


def _restarts_fit(file: IO[bytes]) -> bool:
    """Whether a JPEG's restart markers come in order and are as many as its size asks for.

    True where nothing can be said: it has none, or is stored in several scans. Markers, frame and
    scan headers are those of ISO/IEC 10918-1, B.2. The file is left where it was.
    """
    was_at = file.tell()
    file.seek(0)
    data = file.read()
    file.seek(was_at)
    at, interval, expected = 2, 0, 0
    while (at := data.find(b"\xff", at)) >= 0:
        marker = data[at + 1 : at + 2]
        if marker in NO_SEGMENT or marker == b"\xff":
            at += 1
            continue
        segment = data[at + 4 : at + 2 + int.from_bytes(data[at + 2 : at + 4])]
        if marker in FRAMES:
            if marker in PROGRESSIVE_FRAMES or len(segment) < 6 + 3 * segment[5]:
                return True
            expected = _units(segment)
        elif marker == RESTART_INTERVAL:
            interval = int.from_bytes(segment[:2])
        at += 4 + len(segment)
        if marker == START_OF_SCAN:
            break
    if at < 0 or not interval or not expected or _is_in_several_scans(file):
        return True
    ends = data.find(END_OF_PICTURE, at)
    order = [
        mark[0][1] - 0xD0 for mark in RESTART.finditer(data, at, ends if ends > 0 else len(data))
    ]
    return order == [nth % 8 for nth in range(-(-expected // interval) - 1)]


def _units(frame: bytes) -> int:
    """How many units (MCU) a scan of all components has, by the header of its frame."""
    height, width = int.from_bytes(frame[1:3]), int.from_bytes(frame[3:5])
    factors = [frame[7 + 3 * nth] for nth in range(frame[5])]
    across = max((factor >> 4 for factor in factors), default=1) if len(factors) > 1 else 1
    down = max((factor & 15 for factor in factors), default=1) if len(factors) > 1 else 1
    if not across or not down:
        return 0
    return -(-width // (8 * across)) * -(-height // (8 * down))


def _orientation(picture: Image.Image, form: Format) -> int:
    """Read how the picture lies; 1, upright, where nothing readable says so.

    HEIF and TIFF files carry their turn in the container, and the decoder has applied it.
    """
    if form in DECODED_APART:
        return 1
    try:
        value: Any = picture.getexif().get(ExifTag.Orientation)
    except Exception:
        return 1
    return value if isinstance(value, int) and value in TURNS else 1


def _within(size: tuple[int, int], longest: int) -> tuple[int, int]:
    """Scale a size down so that its longer side is at most `longest`, keeping its shape."""
    width, height = size
    if max(width, height) <= longest:
        return size
    if width >= height:
        return longest, max(1, round(height * longest / width))
    return max(1, round(width * longest / height)), longest


def _no_larger(picture: Image.Image, longest: int) -> Image.Image:
    target = _within(picture.size, longest)
    if target == picture.size:
        return picture
    if max(picture.size) >= 2 * AVERAGED_TO * max(target):
        # What averaging dulls, this filter sharpens again.
        return picture.resize(target, Image.Resampling.LANCZOS, reducing_gap=AVERAGED_TO)
    # To resize what is see-through it is copied whole, which either band would do for itself.
    if target[0] * target[1] < IN_BANDS_FROM or picture.mode == "RGBA":
        return picture.resize(target, FILTER)
    return _resized_in_bands(picture, target)


def _resized_in_bands(picture: Image.Image, target: tuple[int, int]) -> Image.Image:
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


def _ask_for_less(picture: ImageFile.ImageFile, longest: int) -> None:
    """Have a JPEG decoded at a half, a quarter or an eighth where that is still large enough.

    What is asked for is rounded down: the decoder scales only as far as neither side falls
    below it, and a side that is one pixel too long has the whole picture decoded.
    """
    longer = max(picture.size)
    if longer > longest:
        width, height = (max(1, side * longest // longer) for side in picture.size)
        picture.draft(None, (width, height))


def _plain(picture: Image.Image, longest: int) -> Image.Image:
    """Bring any mode to 8-bit sRGB on a white ground, no larger than asked."""
    profile = picture.info.get("icc_profile")
    if picture.mode.startswith("I"):
        picture = picture.convert("I").point(lambda value: value * (1 / 257) + 0).convert("L")
    elif picture.mode == "1":
        picture = picture.convert("L")
    elif picture.has_transparency_data:
        picture = picture.convert("RGBA")
    elif picture.mode not in ("L", "RGB", "CMYK"):
        picture = picture.convert("RGB")
    picture = _no_larger(picture, longest)
    if picture.mode == "RGBA":
        ground = Image.new("RGB", picture.size, GROUND)
        ground.paste(picture, mask=picture.getchannel("A"))
        picture = ground
    picture = _to_srgb(picture, profile)
    picture.info = {}
    return picture


def _to_srgb(picture: Image.Image, profile: bytes | None) -> Image.Image:
    if profile:
        try:
            converted = ImageCms.profileToProfile(
                picture,
                ImageCms.ImageCmsProfile(BytesIO(profile)),
                ImageCms.createProfile("sRGB"),
                outputMode="RGB",
            )
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
            converted = None  # A profile for another kind of picture, or none that can be read.
        if converted is not None:
            return converted
    return picture if picture.mode == "RGB" else picture.convert("RGB")


def _rendered(size: int, picture: Image.Image) -> Rendered:
    out = BytesIO()
    picture.save(out, "JPEG", quality=JPEG_QUALITY)
    return Rendered(size, out.getvalue(), *picture.size)

"""Photographs as files: what a file really is, and the smaller pictures made from it.

Bytes in, bytes out; no models. Each decoder is called by name for a file that begins as its
format does, so no other decoder ever sees what somebody sent.
"""

import re
import warnings
import zlib
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from io import BytesIO
from pathlib import PurePath
from typing import IO

from django.conf import settings
from django.template.defaultfilters import filesizeformat
from django.utils.translation import gettext as _
from PIL import Image, ImageFile
from PIL.ExifTags import IFD
from PIL.ExifTags import Base as ExifTag
from PIL.JpegImagePlugin import JpegImageFile
from PIL.PngImagePlugin import PngImageFile
from PIL.WebPImagePlugin import WebPImageFile

from assessments.exceptions import DecodersBusy, NotAPhotograph

from .apart import LARGE_FROM_BYTES, DecoderRefused, decode_apart, one_at_a_time
from .decoder import (
    MOST_MEMORY_BYTES,
    OUT_OF_MEMORY,
    RAW_PICTURE,
    SEVERAL_PICTURES,
    TOO_MANY_BYTES,
    TOO_MANY_PIXELS,
    Decoded,
    ask_for_less,
    decode,
    decoded_bytes,
    no_larger,
)

# The limit is `max_pixels`, checked in `_decoded` before anything is decoded.
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
# Cameras write EXIF first, and a segment of a JPEG holds 64 KiB at most.
EXIF_WITHIN_BYTES = 128 * 1024
EXIF_BEGINS = re.compile(rb"(?:Exif\0\0|eXIf|EXIF....)(?=II\*\0|MM\0\*)", re.DOTALL)
TAKEN = re.compile(r"[12]\d{3}:\d\d:\d\d \d\d:\d\d:\d\d")
SMALLEST = 160
JPEG_QUALITY = 88
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
# Always decoded by a process of its own.
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
    DecodersBusy
        If too many large photographs wait to be decoded already.
    """
    size = _size_in_bytes(file)
    _check_bytes(size, name, max_bytes)
    form = _format_of(_head(file), name)
    decoded = _decoded(file, name, form, SMALLEST, max_pixels)
    with one_at_a_time(size):  # It is read whole.
        incomplete = decoded.ends_grey or (form is JPEG and not _restarts_fit(file))
    file.seek(0)
    return PhotoFacts(form.media_type, decoded.width, decoded.height, size, incomplete)


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
    DecodersBusy
        As `inspect` does.
    """
    wanted = sorted(set(sizes), reverse=True)
    name = _("The photograph")
    form = _format_of(_head(file), "")
    upright = _decoded(file, name, form, wanted[0]).picture
    with ThreadPoolExecutor(1) as beside:
        # Each is written while the next is made.
        writing: Future[Rendered] | None = None
        for size in wanted:
            upright = no_larger(upright, size)
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


def _decoded(
    file: IO[bytes], name: str, form: Format, longest: int, max_pixels: int | None = None
) -> Decoded:
    """Decode a picture whose header has been checked; a decoder's failures become refusals."""
    most = settings.PHOTO_MAX_PIXELS if max_pixels is None else max_pixels
    try:
        decoded = None
        if form not in DECODED_APART:
            decoded = _decoded_here(file, name, form, longest, most)
        if decoded is None:
            decoded = _decoded_apart(file, name, longest, most)
        _check_pixels((decoded.width, decoded.height), name, most)
        return decoded
    except (NotAPhotograph, DecodersBusy):
        raise
    except Exception as error:
        # Decoders answer damaged files with any exception there is.
        raise NotAPhotograph(
            _("%(name)s is damaged or breaks off. Copy it from the camera again.") % {"name": name}
        ) from error


def _decoded_here(
    file: IO[bytes], name: str, form: Format, longest: int, most: int
) -> Decoded | None:
    """Decode a picture in this process; None where it takes too much for that."""
    # To open a PNG or WebP unpacks its texts or reads all of it; of a JPEG its segments are kept.
    with one_at_a_time(_size_in_bytes(file) if form is JPEG else LARGE_FROM_BYTES):
        picture = form.decoder(file)
        size = picture.size
        needed = _needed(picture, file, name, form, longest, most)
        if needed > LARGE_FROM_BYTES:
            return None
        if form is not JPEG:
            return decode(picture, longest, size)
    with one_at_a_time(needed):
        return decode(picture, longest, size)


def _needed(
    picture: ImageFile.ImageFile, file: IO[bytes], name: str, form: Format, longest: int, most: int
) -> int:
    """The bytes that decoding an opened picture will hold; refuse what its header tells of."""
    size = picture.size
    _check_pixels(size, name, most)
    if getattr(picture, "is_animated", False):
        raise NotAPhotograph(
            _("%(name)s moves. Save one picture of it as a still, then add that.") % {"name": name}
        )
    in_several_scans = form is JPEG and _is_in_several_scans(file)
    if in_several_scans:
        _check_scans(size, name)
    if form is PNG:
        _check_chunks(file)
    ask_for_less(picture, longest)
    needed = decoded_bytes(picture, size, in_several_scans=in_several_scans)
    if needed > settings.PHOTO_MAX_DECODED_BYTES:
        raise _takes_too_much(name, size, needed)
    return needed


def _decoded_apart(file: IO[bytes], name: str, longest: int, most: int) -> Decoded:
    try:
        return decode_apart(
            file,
            most_pixels=most,
            most_bytes=settings.PHOTO_MAX_DECODED_BYTES,
            longest=longest,
        )
    except DecoderRefused as refused:
        raise _refusal_of(refused, name, most) from refused


def _refusal_of(refused: DecoderRefused, name: str, most: int) -> Exception:
    words = [int(word) for word in refused.words.split() if word.isdigit()]
    if refused.code == TOO_MANY_PIXELS and len(words) == 2:
        return _has_too_many_pixels((words[0], words[1]), name, most)
    if refused.code == TOO_MANY_BYTES and len(words) == 3:
        return _takes_too_much(name, (words[0], words[1]), words[2])
    if refused.code == OUT_OF_MEMORY:
        return NotAPhotograph(
            _(
                "%(name)s takes more memory to unpack than the %(most)s there are for one"
                " photograph. Save it smaller, or as a plain (baseline) JPEG."
            )
            % {"name": name, "most": filesizeformat(MOST_MEMORY_BYTES)}
        )
    if refused.code == SEVERAL_PICTURES:
        return NotAPhotograph(
            _("%(name)s holds several pictures. Save one of them by itself, then add that.")
            % {"name": name}
        )
    if refused.code == RAW_PICTURE:
        return _is_no_photograph(name, _("a raw picture"))
    return refused


def _takes_too_much(name: str, size: tuple[int, int], needed: int) -> NotAPhotograph:
    return NotAPhotograph(
        _(
            "%(name)s of %(width)d × %(height)d pixels would take %(needed)s of memory to unpack,"
            " and at most %(most)s are there for one photograph. Save it smaller, or as a plain"
            " (baseline) JPEG."
        )
        % {
            "name": name,
            "width": size[0],
            "height": size[1],
            "needed": filesizeformat(needed),
            "most": filesizeformat(settings.PHOTO_MAX_DECODED_BYTES),
        }
    )


def _check_pixels(size: tuple[int, int], name: str, most: int) -> None:
    if size[0] * size[1] > most:
        raise _has_too_many_pixels(size, name, most)


def _has_too_many_pixels(size: tuple[int, int], name: str, most: int) -> NotAPhotograph:
    return NotAPhotograph(
        _(
            "%(name)s would unpack into %(width)d × %(height)d pixels, and at most"
            " %(most)d million can be taken in. Save it smaller."
        )
        % {"name": name, "width": size[0], "height": size[1], "most": most // 1_000_000}
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


def _check_scans(size: tuple[int, int], name: str) -> None:
    """Refuse a JPEG that has to be held whole and is large."""
    width, height = size
    most = settings.PHOTO_MAX_PIXELS_SEVERAL_SCANS
    if width * height > most:
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


def _rendered(size: int, picture: Image.Image) -> Rendered:
    out = BytesIO()
    picture.save(out, "JPEG", quality=JPEG_QUALITY)
    return Rendered(size, out.getvalue(), *picture.size)

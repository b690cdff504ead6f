"""Whatever picture there is, as anything it is called: kept safe, or refused in a sentence."""

import struct
import zlib
from io import BytesIO

import pytest
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms, PngImagePlugin

from assessments import imaging
from assessments.exceptions import AssessmentError, NotAPhotograph
from assessments.models import Photo
from assessments.services import photos
from tests import factories
from tests.assessments import pictures
from tests.assessments.pictures import encoded, exif, jpeg, png, quadrants
from tests.factories import NOW

MODES = ("1", "L", "LA", "La", "P", "PA", "RGB", "RGBA", "RGBa", "CMYK", "YCbCr", "LAB", "HSV")
DEEP = ("I", "F", "I;16", "I;16B", "I;16L")
KEPT = {"image/jpeg", "image/png", "image/webp", "image/heic", "image/tiff", "image/bmp"}
NAMES = ("E01.jpg", "E01", "E01.png", "E01.svg")

Image.init()
FORMATS = sorted(Image.SAVE)


def in_mode(mode: str) -> Image.Image:
    if mode in DEEP:
        return Image.new(mode, (40, 30), 3)
    if mode == "La":
        return quadrants(40, 30).convert("LA").convert("La")
    if mode == "RGBa":
        return quadrants(40, 30).convert("RGBA").convert("RGBa")
    if mode == "PA":
        return quadrants(40, 30).convert("P").convert("PA")
    if mode == "LAB":
        to_lab = ImageCms.buildTransform(
            ImageCms.createProfile("sRGB"), ImageCms.createProfile("LAB"), "RGB", "LAB"
        )
        found = ImageCms.applyTransform(quadrants(40, 30), to_lab)
        assert found is not None
        return found
    return quadrants(40, 30).convert(mode)


def files_of(form: str) -> list[tuple[str, bytes]]:
    """A file of this format in every mode that it can be written in, still and moving."""
    found = []
    for mode in (*MODES, *DEEP):
        for moving in ({}, {"save_all": True, "append_images": [in_mode(mode)]}):
            try:
                picture = in_mode(mode)
                out = BytesIO()
                picture.save(out, form, **moving)
            except Exception:
                # Not every format takes every mode; what cannot be written cannot be sent.
                continue
            found.append((f"{mode}{' moving' if moving else ''}", out.getvalue()))
    return found


def take_in(board, actor, data: bytes, name: str, files) -> Photo | None:
    """Take a file in as the page does, and look at what became of it."""
    before = Photo.objects.count(), sorted(files.rglob("*.bin"))
    try:
        photo = photos.add_photo(board=board, file=BytesIO(data), name=name, actor=actor, at=NOW)
    except AssessmentError as refusal:
        said = str(refusal)
        assert said.startswith(name)
        assert said.endswith(".")
        assert (Photo.objects.count(), sorted(files.rglob("*.bin"))) == before
        return None
    assert photo.media_type in KEPT
    with photo.original.open("rb") as original:
        assert original.read() == data
    assert photos.make_renditions(photo) == 3
    for one in photo.renditions.all():
        with one.file.open("rb") as file, Image.open(file) as small:
            assert (small.format, small.mode) == ("JPEG", "RGB")
            assert small.size == (one.width, one.height)
            assert max(small.size) <= one.size
    return photo


@pytest.mark.django_db
@pytest.mark.parametrize("form", FORMATS)
def test_every_format_and_mode_is_kept_as_a_photograph_or_refused_whole(form, files):
    actor, board = factories.make_user("instructor"), factories.make_board()
    written = files_of(form)
    taken = set()
    for place, (mode, data) in enumerate(written):
        # A name is held against how a file begins, which is the same in every mode of a format.
        for name in ("E01",) if place else (*NAMES, f"E01.{form.lower()}"):
            photo = take_in(board, actor, data, name, files)
            if photo is not None:
                taken.add(mode)
                photo.renditions.all().delete()
                board = factories.make_board(exercise=board.exercise)
    if form in ("JPEG", "MPO"):
        assert {"L", "RGB", "CMYK"} <= taken
    elif form == "PNG":
        assert {"1", "L", "LA", "P", "RGB", "RGBA", "I;16"} <= taken
        assert not [one for one in taken if "moving" in one]
    elif form in ("TIFF", "BMP"):
        assert {"1", "L", "P", "RGB"} <= taken
        assert not [mode for mode in taken if "moving" in mode]
    elif form != "WEBP":
        assert not taken


def with_size(data: bytes, width: int, height: int) -> bytes:
    """A JPEG whose frame header claims another size."""
    at = data.index(b"\xff\xc0") + 5
    return data[:at] + struct.pack(">HH", height, width) + data[at + 4 :]


def png_of(*, width=1, height=1, depth=8, colour=2, packed=b"\0\0\0\0", extra=()) -> bytes:
    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    parts = [(b"IHDR", head), *extra, (b"IDAT", zlib.compress(packed)), (b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        for kind, body in parts
    )


def texts() -> PngImagePlugin.PngInfo:
    info = PngImagePlugin.PngInfo()
    info.add_itxt("Comment", "<script>alert(1)</script>" * 20_000, zip=True)
    return info


REFUSED = {
    "a JPEG that claims 50,000 by 50,000": with_size(jpeg(), 50_000, 50_000),
    "a JPEG without height": with_size(jpeg(), 96, 0),
    "a JPEG without width": with_size(jpeg(), 0, 64),
    "a JPEG of two headers": jpeg()[:20] + jpeg()[:20],
    "a PNG without width": png_of(width=0),
    "a PNG without height": png_of(height=0),
    "a PNG without picture": png_of(packed=b""),
    "a PNG of a depth there is not": png_of(depth=7),
    "a PNG of a colour there is not": png_of(colour=5),
    "a PNG that claims 50,000 by 50,000": pictures.png_that_claims(50_000, 50_000),
    "a PNG with a palette of nothing": png_of(colour=3, packed=b"\0\0"),
    "a PNG of text that unpacks without end": png_of(
        extra=[(b"zTXt", b"Comment\0\0" + zlib.compress(b"\0" * 80_000_000))]
    ),
    "a WebP that is only its header": encoded(quadrants(), "WEBP")[:30],
    "a HEIC that is only its header": pictures.heic("quadrants-located")[:64],
}


@pytest.mark.django_db
@pytest.mark.parametrize("kind", REFUSED)
def test_what_breaks_off_or_lies_about_its_size_is_refused_and_leaves_nothing(kind, files):
    actor, board = factories.make_user("instructor"), factories.make_board()
    assert take_in(board, actor, REFUSED[kind], "E01", files) is None


TAKEN = {
    "sixteen bits a colour": png_of(depth=16, colour=2, packed=b"\0" + b"\x80\0" * 3),
    "two bits of grey": png_of(depth=2, colour=0, packed=b"\0\x80"),
    "a profile that cannot be read": jpeg(icc_profile=b"no profile" * 20),
    "a profile for other colours": jpeg(
        icc_profile=ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    ),
    "an EXIF that points past its end": jpeg(exif=b"Exif\0\0MM\0*\xff\xff\xff\xff"),
    "an EXIF cut off": jpeg(exif=exif(orientation=6, located=True)[:-30]),
    "a web page in the comment": jpeg(comment=b"<html><script>alert(1)</script></html>"),
    "a web page after the picture": jpeg() + b"<html><script>alert(1)</script></html>",
    "an archive after the picture": jpeg() + b"PK\x03\x04" + b"\0" * 40,
    "much text beside the picture": png(pnginfo=texts()),
    "a grey picture": jpeg(64, 64, quality=5),
    "one row": encoded(Image.new("RGB", (4000, 1)), "JPEG"),
    "one dot": encoded(Image.new("RGB", (1, 1)), "PNG"),
}


@pytest.mark.django_db
@pytest.mark.parametrize("kind", TAKEN)
def test_what_is_odd_and_still_a_photograph_is_taken_in(kind, files):
    actor, board = factories.make_user("instructor"), factories.make_board()
    photo = take_in(board, actor, TAKEN[kind], "E01", files)
    assert photo is not None
    for one in photo.renditions.all():
        with one.file.open("rb") as file:
            assert b"<script" not in file.read()


@pytest.mark.django_db
@pytest.mark.usefixtures("files")
@pytest.mark.parametrize(
    "name", ["E01.jpg", "E01\r\nX-Other: 1.jpg", '"><script>.jpg', "..%2f.jpg"]
)
def test_nothing_that_is_sent_out_is_a_page_to_a_browser(client, name):
    user = factories.make_user("instructor")
    board = factories.make_board()
    photo = photos.add_photo(
        board=board,
        file=BytesIO(TAKEN["a web page after the picture"]),
        name=name,
        actor=user,
        at=NOW,
    )
    client.force_login(user)
    original = client.get(reverse("assessments:photo_original", args=[photo.key]))
    small = client.get(reverse("assessments:photo_rendition", args=[photo.key, 2048]))
    kept = b"".join(original.streaming_content)
    assert kept == TAKEN["a web page after the picture"]
    assert original["Content-Type"] == "application/octet-stream"
    assert original["Content-Disposition"].startswith("attachment")
    assert small["Content-Type"] == "image/jpeg"
    assert b"<script" not in small.content
    for response in (original, small):
        assert response["X-Content-Type-Options"] == "nosniff"
        assert "sandbox" in response["Content-Security-Policy"]
        assert "X-Other" not in response.headers
    page = client.get(reverse("assessments:photo_detail", args=[photo.key])).content
    assert b"<script>.jpg" not in page


SEEDS = [
    jpeg(exif=exif(orientation=6, located=True)),
    jpeg(progressive=True),
    encoded(quadrants().convert("CMYK"), "JPEG"),
    png(exif=exif(orientation=8)),
    encoded(quadrants().convert("P"), "PNG", transparency=3),
    encoded(Image.new("I;16", (40, 30), 900), "PNG"),
    encoded(quadrants(), "WEBP", exif=exif(orientation=3)),
    encoded(quadrants().convert("RGBA"), "WEBP", lossless=True),
    encoded(quadrants(), "GIF"),
    encoded(quadrants(), "TIFF"),
    *REFUSED.values(),
]


@st.composite
def mangled(draw) -> bytes:
    """A picture cut, spliced with another, with pieces doubled, lost, or overwritten."""
    data = bytearray(draw(st.sampled_from(SEEDS))[:60_000])
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(data)))
        length = draw(st.integers(0, 200))
        kind = draw(st.sampled_from(["cut", "lose", "double", "splice", "write", "size"]))
        if kind == "cut":
            del data[at:]
        elif kind == "lose":
            del data[at : at + length]
        elif kind == "double":
            data[at:at] = data[at : at + length]
        elif kind == "splice":
            other = draw(st.sampled_from(SEEDS))[:60_000]
            data[at:] = other[at : at + 5_000]
        elif kind == "write":
            data[at : at + 4] = draw(st.binary(min_size=1, max_size=4))
        else:
            data[at : at + 4] = b"\xff\xff\xff\xff"
    return bytes(data)


@given(mangled())
@settings(max_examples=300, deadline=None, suppress_health_check=list(HealthCheck))
def test_whatever_becomes_of_a_file_on_its_way_it_is_a_photograph_or_refused(data):
    said = "."
    facts, made = None, []
    try:
        facts = imaging.inspect(BytesIO(data), "", max_pixels=4_000_000)
        made = list(imaging.renditions(BytesIO(data), (2048, 800, 160)))
    except NotAPhotograph as refusal:
        said = str(refusal)
    assert said.endswith(".")
    if facts is None:
        return
    assert facts.width * facts.height <= 4_000_000
    for one in made:
        with Image.open(BytesIO(one.data)) as small:
            assert (small.format, small.mode, small.size) == (
                "JPEG",
                "RGB",
                (one.width, one.height),
            )

"""Photographs as files: taken in, turned upright, made smaller; everything else refused."""

import subprocess
import zipfile
from io import BytesIO

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms

from assessments import imaging
from assessments.exceptions import NotAPhotograph
from assessments.imaging import decoder
from tests.assessments import pictures
from tests.assessments.pictures import encoded, exif, jpeg, near, png, quadrants, stands_upright

UNDO = {
    1: None,
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}


def inspect(data, name="E07_1.jpg", **limits):
    return imaging.inspect(BytesIO(data), name, **{"max_pixels": 1_000_000, **limits})


def rendition(data, size=2048):
    return imaging.rendition(BytesIO(data), size)


# What is taken in


MICROSCOPE = {
    "tiff": ("TIFF", {}),
    "lzw": ("TIFF", {"compression": "tiff_lzw"}),
    "deflate": ("TIFF", {"compression": "tiff_adobe_deflate"}),
    "turned": ("TIFF", {"tiffinfo": {pictures.ORIENTATION: 6}}),
    "bmp": ("BMP", {}),
}


@pytest.mark.parametrize("kind", MICROSCOPE)
@pytest.mark.parametrize("ending", ["usual", "none"])
def test_picture_of_a_microscope_is_taken_in_as_what_it_is(kind, ending):
    form, options = MICROSCOPE[kind]
    picture = quadrants()
    if kind == "turned":
        picture = picture.transpose(UNDO[6])
    data = encoded(picture, form, **options)
    name = {"TIFF": "E07.TIF", "BMP": "E07.bmp"}[form] if ending == "usual" else "E07"

    facts = inspect(data, name)

    assert facts.media_type == f"image/{form.lower()}"
    assert (facts.width, facts.height) == (96, 64)
    assert stands_upright(rendition(data).data)


@pytest.mark.parametrize("mode", ["1", "L", "P", "RGBA", "CMYK", "I;16"])
def test_tiff_of_every_kind_of_colour_is_taken_in(mode):
    picture = Image.new("I;16", (40, 30), 900) if mode == "I;16" else quadrants().convert(mode)
    data = encoded(picture, "TIFF")
    assert inspect(data, "E07.tif").size_bytes == len(data)
    assert Image.open(BytesIO(rendition(data).data)).mode == "RGB"


@pytest.mark.parametrize("name", ["IMG_1.JPG", "IMG_1.jpeg", "IMG_1.heic"])
def test_heic_that_a_telephone_calls_jpeg_is_taken_in_as_what_it_is(name):
    data = pictures.heic("quadrants-on-its-side")
    assert inspect(data, name).media_type == "image/heic"
    assert stands_upright(rendition(data).data)


def test_tiff_larger_than_can_be_taken_in_is_refused():
    with pytest.raises(NotAPhotograph, match="would unpack into"):
        inspect(encoded(quadrants(200, 100), "TIFF"), "E07.tif", max_pixels=19_999)


@pytest.mark.parametrize(
    ("data", "name", "media_type"),
    [
        pytest.param(jpeg(), "E07_1.jpg", "image/jpeg", id="jpeg"),
        pytest.param(jpeg(), "E07_1.JPEG", "image/jpeg", id="capital-ending"),
        pytest.param(jpeg(), "image", "image/jpeg", id="no-ending"),
        pytest.param(jpeg(progressive=True), "E07.jpg", "image/jpeg", id="progressive"),
        pytest.param(png(), "E07.png", "image/png", id="png"),
        pytest.param(
            encoded(quadrants(), "WEBP", lossless=True), "E07.webp", "image/webp", id="webp"
        ),
        pytest.param(pictures.heic("quadrants-located"), "IMG_1.HEIC", "image/heic", id="heic"),
        pytest.param(pictures.heic("quadrants-of-two"), "IMG_1.heif", "image/heic", id="burst"),
    ],
)
def test_a_photograph_is_recognised_and_comes_out_upright(data, name, media_type):
    facts = inspect(data, name)
    assert (facts.media_type, facts.width, facts.height) == (media_type, 96, 64)
    assert facts.size_bytes == len(data)
    small = rendition(data)
    assert (small.width, small.height) == (96, 64)
    assert stands_upright(small.data)


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("orientation", sorted(UNDO))
def test_every_exif_orientation_is_turned_upright(form, orientation):
    stored = quadrants()
    if UNDO[orientation] is not None:
        stored = stored.transpose(UNDO[orientation])
    options = {"lossless": True} if form == "WEBP" else {}
    data = encoded(stored, form, exif=exif(orientation=orientation), **options)
    facts = inspect(data, "")
    assert (facts.width, facts.height) == (96, 64)
    small = rendition(data)
    assert (small.width, small.height) == (96, 64)
    assert stands_upright(small.data)


def test_a_heic_turned_in_its_container_is_not_turned_twice():
    data = pictures.heic("quadrants-on-its-side")
    assert b"irot" in data
    facts = inspect(data, "IMG_2.heic")
    assert (facts.width, facts.height) == (96, 64)
    assert stands_upright(rendition(data).data)


def test_the_first_picture_of_a_two_picture_jpeg_is_taken():
    data = encoded(
        quadrants(), "MPO", save_all=True, append_images=[Image.new("RGB", (96, 64), "black")]
    )
    assert inspect(data).media_type == "image/jpeg"
    assert stands_upright(rendition(data).data)


@pytest.mark.parametrize("orientation", [0, 9, 65535])
def test_an_orientation_that_does_not_exist_leaves_the_picture_as_it_is(orientation):
    data = jpeg(exif=exif(orientation=orientation))
    assert inspect(data).width == 96
    assert stands_upright(rendition(data).data)


@pytest.mark.parametrize(
    "broken",
    [
        pytest.param(b"Exif\0\0", id="empty"),
        pytest.param(b"Exif\0\0MM\0*\xff\xff\xff\xff", id="points-past-its-end"),
        pytest.param(b"Exif\0\0no such thing", id="nonsense"),
        pytest.param(exif(orientation=6, located=True)[:-30], id="cut-off"),
    ],
)
def test_broken_exif_does_not_stop_a_good_picture(broken):
    data = jpeg(exif=broken)
    assert inspect(data).size_bytes == len(data)
    assert rendition(data).width in (96, 64)


# What is refused


def zipped() -> bytes:
    out = BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("E07.jpg", jpeg())
    return out.getvalue()


def animated(form: str) -> bytes:
    return encoded(quadrants(), form, save_all=True, append_images=[Image.new("RGB", (96, 64))])


@pytest.mark.parametrize(
    ("data", "name", "says"),
    [
        pytest.param(b"", "E07.jpg", "E07.jpg is empty", id="empty"),
        pytest.param(b"hello", "E07.jpg", "E07.jpg is something else", id="text"),
        pytest.param(zipped(), "E07.jpg", "a zip archive", id="zip"),
        pytest.param(b"\n<!DOCTYPE html><script>", "E07.jpg", "a web page", id="html"),
        pytest.param(b"<svg xmlns='http://www.w3.org/2000/svg'/>", "E07.png", "XML", id="svg"),
        pytest.param(b"%PDF-1.7\n", "E07.jpg", "a PDF", id="pdf"),
        pytest.param(encoded(quadrants(), "GIF"), "E07.gif", "a GIF", id="gif"),
        pytest.param(encoded(quadrants(), "TIFF"), "E07.nef", "a raw picture", id="raw"),
        pytest.param(b"II*\0\x10\0\0\0CR\2\0" + bytes(99), "E07.cr2", "a raw picture", id="cr2"),
        pytest.param(
            encoded(quadrants(), "TIFF", tiffinfo={254: 1}), "E07.tif", "a raw picture", id="show"
        ),
        pytest.param(
            encoded(quadrants(), "TIFF", save_all=True, append_images=[quadrants()]),
            "E07.tif",
            "holds several pictures",
            id="stack",
        ),
        pytest.param(encoded(quadrants(), "TIFF")[:-900], "E07.tif", "damaged", id="cut-tiff"),
        pytest.param(encoded(quadrants(), "BMP")[:-900], "E07.bmp", "damaged", id="cut-bmp"),
        pytest.param(encoded(quadrants(), "BMP"), "E07.png", "really a BMP", id="bmp-as-png"),
        pytest.param(b"BMW, boards and more" * 9, "E07.bmp", "a BMP", id="text"),
        pytest.param(b"\0\0\0\x18ftypqt  \0\0\0\0", "E07.mov", "a film", id="film"),
        pytest.param(
            png(), "E07.jpg", "really a PNG file. Give its name the ending .png", id="png-as-jpg"
        ),
        pytest.param(jpeg(), "E07.heic", "really a JPEG file", id="jpeg-as-heic"),
        pytest.param(jpeg(), "E07.html", "really a JPEG file", id="jpeg-as-html"),
        pytest.param(jpeg(480, 320)[:-400], "E07.jpg", "breaks off", id="jpeg-cut-off"),
        pytest.param(png()[:-30], "E07.png", "breaks off", id="png-cut-off"),
        pytest.param(
            encoded(quadrants(480, 320), "WEBP")[:-200], "E07.webp", "breaks off", id="webp-cut-off"
        ),
        pytest.param(
            pictures.heic("quadrants-located")[:-100], "E07.heic", "breaks off", id="heic-cut-off"
        ),
        pytest.param(
            b"\xff\xd8\xff\xe0 and no more", "E07.jpg", "breaks off", id="only-a-beginning"
        ),
        pytest.param(animated("PNG"), "E07.png", "moves", id="animated-png"),
        pytest.param(animated("WEBP"), "E07.webp", "moves", id="animated-webp"),
        pytest.param(
            pictures.png_that_claims(50_000, 50_000), "E07.png", "50000 × 50000 pixels", id="bomb"
        ),
    ],
)
def test_what_is_not_a_photograph_is_refused_in_a_sentence(data, name, says):
    with pytest.raises(NotAPhotograph) as refusal:
        inspect(data, name)
    assert str(refusal.value).startswith(name)
    assert says in str(refusal.value)
    assert str(refusal.value).endswith(".")


@pytest.mark.parametrize(
    "encoded",
    [lambda width: pictures.jpeg(width, progressive=True), pictures.jpeg_of_three_scans],
    ids=["progressive", "a component a scan"],
)
def test_a_picture_in_several_scans_has_a_limit_of_its_own(settings, encoded):
    settings.PHOTO_MAX_PIXELS_SEVERAL_SCANS = 96 * 64

    assert inspect(encoded(96), "E07.jpg").width == 96
    with pytest.raises(NotAPhotograph, match=r"progressive JPEG of 97 × 64 pixels.*baseline"):
        inspect(encoded(97), "E07.jpg")
    assert inspect(pictures.jpeg(97), "E07.jpg").width == 97
    assert inspect(pictures.jpeg(97, exif=pictures.exif(orientation=6)), "E07.jpg").width == 64


def test_a_picture_at_the_limit_of_pixels_is_taken_and_one_beyond_is_not():
    assert inspect(png(), "E07.png", max_pixels=96 * 64).width == 96
    with pytest.raises(NotAPhotograph, match="96 × 64 pixels"):
        inspect(png(), "E07.png", max_pixels=96 * 64 - 1)


def test_a_file_at_the_limit_of_bytes_is_taken_and_one_beyond_is_not():
    data = jpeg()
    assert inspect(data, max_bytes=len(data)).width == 96
    with pytest.raises(NotAPhotograph, match=r"at most .* can be taken in"):
        inspect(data, max_bytes=len(data) - 1)


@given(data=st.data())
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_damage_anywhere_is_refused_or_survived_and_nothing_else(data):
    good = bytearray(
        data.draw(
            st.sampled_from(
                [
                    jpeg(exif=exif(orientation=6, located=True)),
                    png(),
                    encoded(quadrants(), "WEBP"),
                    pictures.heic("quadrants-on-its-side"),
                ]
            )
        )
    )
    for _ in range(data.draw(st.integers(1, 6))):
        good[data.draw(st.integers(0, len(good) - 1))] = data.draw(st.integers(0, 255))
    try:
        facts = inspect(bytes(good), "")
    except NotAPhotograph:
        return
    assert facts.width * facts.height <= 1_000_000


@pytest.mark.parametrize("place", range(8))
@pytest.mark.parametrize("options", [{}, {"exif": exif(orientation=6)}], ids=["bare", "exif"])
def test_png_with_damaged_data_is_refused(place, options):
    noise = Image.effect_noise((200, 150), 80).convert("RGB")
    data = bytearray(encoded(noise, "PNG", **options))
    begins, ends = data.index(b"IDAT") + 4, data.rindex(b"IEND") - 8
    data[begins + (ends - begins) * (place + 1) // 9] ^= 0x10
    with pytest.raises(NotAPhotograph, match="damaged or breaks off"):
        inspect(bytes(data), "E07.png")


NOISE = Image.effect_noise((640, 480), 60)


def cut_and_closed(data, part):
    """A JPEG that broke off and was given an end, as programs that save what is left do."""
    return data[: int(len(data) * part)] + b"\xff\xd9"


@pytest.mark.parametrize("part", [0.3, 0.7, 0.97])
@pytest.mark.parametrize(
    ("mode", "options"),
    [
        ("RGB", {}),
        ("RGB", {"subsampling": 0}),
        ("L", {}),
        ("RGB", {"restart_marker_rows": 1}),
        ("RGB", {"restart_marker_blocks": 3}),
        ("RGB", {"restart_marker_blocks": 3, "subsampling": 0}),
    ],
    ids=["baseline", "full colour", "grey", "restarts a row", "restarts", "restarts, full colour"],
)
def test_jpeg_that_its_decoder_filled_up_is_known_as_incomplete(part, mode, options):
    whole = encoded(NOISE.convert(mode), "JPEG", **options)
    assert not inspect(whole).is_incomplete
    assert inspect(cut_and_closed(whole, part)).is_incomplete


@pytest.mark.parametrize("changed", ["lost", "out of order"])
def test_jpeg_whose_restarts_do_not_fit_is_known_as_incomplete(changed):
    data = encoded(NOISE.convert("RGB"), "JPEG", restart_marker_rows=1)
    third, fourth = data.index(b"\xff\xd2"), data.index(b"\xff\xd3")
    if changed == "lost":
        data = data[:third] + data[fourth:]
    else:
        data = data[:third] + b"\xff\xd5" + data[third + 2 :]
    assert inspect(data).is_incomplete


@pytest.mark.parametrize(
    "data",
    [
        jpeg(),
        jpeg(progressive=True),
        jpeg(restart_marker_rows=1),
        pictures.jpeg_of_three_scans(),
        jpeg(exif=exif(orientation=6, located=True)),
        encoded(Image.new("CMYK", (64, 64)), "JPEG"),
        png(),
    ],
    ids=["plain", "progressive", "restarts", "scans", "exif", "print colours", "png"],
)
def test_whole_picture_is_not_said_to_be_incomplete(data):
    assert not inspect(data, "").is_incomplete


def test_file_that_is_only_cut_off_is_refused():
    with pytest.raises(NotAPhotograph, match="damaged or breaks off"):
        inspect(encoded(NOISE, "JPEG")[:9000])


@pytest.mark.parametrize("lost", [12, 13, 200])
def test_png_that_breaks_off_is_refused(lost):
    with pytest.raises(NotAPhotograph, match="damaged or breaks off"):
        inspect(png()[:-lost], "E07.png")


def test_rendition_of_a_png_that_was_damaged_where_it_is_kept_is_refused():
    data = bytearray(encoded(Image.effect_noise((200, 150), 80), "PNG"))
    data[len(data) // 2] ^= 0xFF
    with pytest.raises(NotAPhotograph):
        imaging.rendition(BytesIO(bytes(data)), 160)


def test_a_heic_that_brings_its_decoder_down_is_refused_like_any_damaged_file(monkeypatch):
    # The decoder's process is told to end as a crash ends it: killed by a signal.
    killed = "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)"
    run = subprocess.run
    monkeypatch.setattr(
        subprocess,
        "run",
        lambda command, **how: run([command[0], "-c", killed], **how),
    )
    with pytest.raises(NotAPhotograph, match="damaged or breaks off"):
        inspect(pictures.heic("quadrants-on-its-side"), "E07.heic")


# What comes out


@pytest.mark.parametrize(
    ("width", "height", "size", "expected"),
    [
        pytest.param(1000, 500, 160, (160, 80), id="wide"),
        pytest.param(500, 1000, 160, (80, 160), id="tall"),
        pytest.param(160, 160, 160, (160, 160), id="fits"),
        pytest.param(100, 60, 160, (100, 60), id="never-larger"),
        pytest.param(3000, 2, 160, (160, 1), id="never-nothing"),
    ],
)
@pytest.mark.parametrize("draw", [jpeg, png])
def test_a_rendition_keeps_the_shape_and_stays_within_its_size(width, height, size, expected, draw):
    small = rendition(draw(width, height), size)
    assert (small.width, small.height) == expected
    assert Image.open(BytesIO(small.data)).size == expected


@pytest.mark.parametrize(
    ("width", "height", "decoded"),
    [
        pytest.param(640, 426, (320, 213), id="a half"),
        pytest.param(641, 427, (321, 214), id="a side one pixel longer than the shape asks"),
        pytest.param(427, 641, (214, 321), id="upright"),
        pytest.param(320, 3, (320, 3), id="a strip that cannot be halved"),
        pytest.param(1300, 866, (325, 217), id="a quarter"),
        pytest.param(300, 200, (300, 200), id="small enough already"),
    ],
)
def test_a_jpeg_is_decoded_no_larger_than_it_has_to_be(monkeypatch, width, height, decoded):
    seen = []

    def load(self):
        seen.append(self.size)
        return loaded(self)

    loaded = imaging.JpegImageFile.load
    monkeypatch.setattr(imaging.JpegImageFile, "load", load)
    rendition(jpeg(width, height), 320)
    assert seen[0] == decoded


def test_several_sizes_come_from_one_reading_largest_first():
    made = list(imaging.renditions(BytesIO(jpeg(1200, 800)), [160, 2048, 800]))
    assert [(one.size, one.width, one.height) for one in made] == [
        (2048, 1200, 800),
        (800, 800, 533),
        (160, 160, 107),
    ]
    assert all(stands_upright(one.data) for one in made)


def noise(width: int, height: int, grain: int) -> Image.Image:
    """Grey grains of so many pixels, so that a row or column out of place shows."""
    rng = np.random.default_rng(7)
    grains = rng.integers(0, 256, (height // grain + 1, width // grain + 1), dtype=np.uint8)
    picture = Image.fromarray(grains).resize((width, height), Image.Resampling.BICUBIC)
    return picture.convert("RGB")


def apart(one: Image.Image, other: Image.Image) -> np.ndarray:
    return np.abs(np.asarray(one).astype(int) - np.asarray(other))


@pytest.mark.parametrize("size", [1999, 1365, 800, 160])
@pytest.mark.parametrize("form", ["RGB", "RGBA"])
def test_a_smaller_picture_lies_where_the_large_one_does_to_its_edges(size, form):
    whole = noise(2048, 1365, grain=4 * 2048 // size)
    small = Image.open(BytesIO(rendition(encoded(whole.convert(form), "PNG"), size).data))
    carefully = whole.resize(small.size, Image.Resampling.LANCZOS)
    assert apart(small, carefully).mean() < 5
    moved = Image.new("RGB", small.size)
    moved.paste(carefully, (1, 0))
    assert apart(small, moved).mean() > 15


@pytest.mark.parametrize(("width", "height"), [(1500, 1003), (1003, 1501)])
def test_what_is_made_in_two_bands_has_no_seam(monkeypatch, width, height):
    whole = noise(width, height, grain=6)
    at_once = decoder.no_larger(whole, 1001)
    monkeypatch.setattr(decoder, "IN_BANDS_FROM", 1)
    assert apart(decoder.no_larger(whole, 1001), at_once).max() <= 1


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(
            jpeg(exif=exif(orientation=6, located=True), comment=b"bench 4 at Castelmar"), id="jpeg"
        ),
        pytest.param(png(exif=exif(located=True)), id="png"),
        pytest.param(pictures.heic("quadrants-located"), id="heic"),
    ],
)
def test_a_rendition_says_nothing_of_where_and_with_what_it_was_taken(data):
    assert b"Exif" in data or b"eXIf" in data
    small = rendition(data).data
    picture = Image.open(BytesIO(small))
    assert picture.format == "JPEG"
    assert not dict(picture.getexif())
    assert not {"exif", "comment", "xmp", "icc_profile"} & set(picture.info)
    for trace in (b"Exif", b"Maker of cameras", b"Castelmar", b"Invented"):
        assert trace not in small


@pytest.mark.parametrize(
    "mode", ["1", "L", "LA", "P", "RGBA", "I;16", "CMYK"], ids=lambda mode: mode.replace(";", "-")
)
def test_every_kind_of_colour_becomes_plain_rgb(mode):
    form = "JPEG" if mode == "CMYK" else "PNG"
    grey = Image.new("L", (40, 40), 128)
    picture = grey.convert("I").point(lambda v: v * 257 + 0).convert("I;16")
    if mode != "I;16":
        picture = grey.convert("RGB").convert(mode)
    data = encoded(picture, form)
    assert inspect(data, "").width == 40
    small = Image.open(BytesIO(rendition(data).data))
    assert small.mode == "RGB"
    mean = small.resize((1, 1), Image.Resampling.BOX).getpixel((0, 0))
    assert near(mean, (128, 128, 128), within=6)


def test_what_is_transparent_lies_on_white():
    data = encoded(Image.new("RGBA", (20, 20), (255, 0, 0, 0)), "PNG")
    assert near(Image.open(BytesIO(rendition(data).data)).getpixel((5, 5)), (255, 255, 255), 3)


def test_colours_of_a_profile_are_brought_to_srgb():
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    for profile in (srgb, lab, b"not a profile"):
        assert stands_upright(rendition(png(icc_profile=profile)).data)
    linear = _linear_profile(srgb)
    found = Image.open(BytesIO(rendition(png(icc_profile=linear)).data)).getpixel((24, 16))
    # Linear 30/255 is about 95/255 in sRGB: 1.055 * (30/255) ** (1/2.4) - 0.055, IEC 61966-2-1.
    assert near(found, (227, 95, 95), within=6)


def _linear_profile(srgb: bytes) -> bytes:
    """The sRGB profile with its three tone curves replaced by straight lines."""
    data = bytearray(srgb)
    count = int.from_bytes(data[128:132], "big")
    for index in range(count):
        start = 132 + 12 * index
        if data[start : start + 4] in (b"rTRC", b"gTRC", b"bTRC"):
            offset = int.from_bytes(data[start + 4 : start + 8], "big")
            data[offset : offset + 12] = b"curv" + bytes(8)
            data[start + 8 : start + 12] = (12).to_bytes(4, "big")
    return bytes(data)

"""What decoding takes is told from a picture's header, and no decoding takes more."""

import subprocess
import sys
import zlib
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from io import BytesIO

import pytest
from PIL import Image, TiffImagePlugin

from assessments import imaging
from assessments.exceptions import DecodersBusy, NotAPhotograph
from assessments.imaging import apart, decoder
from tests.assessments import pictures
from tests.assessments.pictures import encoded

MIB = 1024 * 1024
WIDTH, HEIGHT = 4000, 3000
BESIDE_BYTES = {160: 24 * MIB, 2048: 96 * MIB}
"""Bands, what the libraries keep, and what is made, by its longer side: on the way it is as wide
as it will be and as high as it was."""
RUN_AND_TELL = f"""
import runpy, sys
try:
    runpy.run_path({str(apart.DECODER)!r}, run_name="__main__")
finally:
    status = open("/proc/self/status").read()
    sys.stderr.write(status.split("VmHWM:")[1].split("kB")[0])
"""

needs_proc = pytest.mark.skipif(
    not sys.platform.startswith("linux"), reason="Linux tells the most memory a process held"
)


@cache
def grains(width: int = WIDTH, height: int = HEIGHT) -> Image.Image:
    grey = Image.effect_noise((width // 50, height // 50), 60).resize((width, height))
    return Image.merge(
        "RGB", [grey, grey.transpose(Image.Transpose.FLIP_LEFT_RIGHT), grey.rotate(180)]
    )


def deep_png(width: int, height: int, *, depth: int = 16, colour: int = 6) -> bytes:
    """A PNG of one colour: so many pixels in next to no file."""
    samples = {0: 1, 2: 3, 4: 2, 6: 4}[colour]
    row = b"\0" + b"\x80" * (width * samples * depth // 8)
    packer = zlib.compressobj(9)
    packed = b"".join([*(packer.compress(row) for _ in range(height)), packer.flush()])
    head = width.to_bytes(4) + height.to_bytes(4) + bytes([depth, colour, 0, 0, 0])
    parts = [(b"IHDR", head), (b"IDAT", packed), (b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        len(body).to_bytes(4) + kind + body + zlib.crc32(kind + body).to_bytes(4)
        for kind, body in parts
    )


def whole_strip(form: str) -> bytes:
    return encoded(
        grains().convert(form),
        "TIFF",
        compression="tiff_lzw",
        tiffinfo={TiffImagePlugin.ROWSPERSTRIP: HEIGHT},
    )


KINDS = {
    "PNG": lambda: encoded(grains(), "PNG", compress_level=1),
    "PNG, see-through": lambda: encoded(grains().convert("RGBA"), "PNG", compress_level=1),
    "PNG, grey and see-through": lambda: encoded(grains().convert("LA"), "PNG", compress_level=1),
    "PNG, a palette": lambda: encoded(grains().convert("P"), "PNG", compress_level=1),
    "PNG, 16 bits of grey": lambda: deep_png(WIDTH, HEIGHT, colour=0),
    "PNG, 16 bits a colour": lambda: deep_png(WIDTH, HEIGHT, colour=2),
    "PNG, 16 bits a colour and see-through": lambda: deep_png(WIDTH, HEIGHT),
    "WebP": lambda: encoded(grains(), "WEBP", quality=50, method=0),
    "WebP, see-through": lambda: encoded(grains().convert("RGBA"), "WEBP", quality=50, method=0),
    "progressive JPEG": lambda: encoded(grains(), "JPEG", progressive=True),
    "progressive JPEG, full colour": lambda: encoded(
        grains(), "JPEG", progressive=True, subsampling=0
    ),
    "progressive JPEG, print colours": lambda: encoded(
        grains().convert("CMYK"), "JPEG", progressive=True
    ),
    "progressive JPEG, grey": lambda: encoded(grains().convert("L"), "JPEG", progressive=True),
    "TIFF": lambda: encoded(grains(), "TIFF"),
    "TIFF of one strip": lambda: whole_strip("RGB"),
    "TIFF, 16 bits of grey": lambda: encoded(grains().convert("L").convert("I;16"), "TIFF"),
    "BMP": lambda: encoded(grains(), "BMP"),
}


@cache
def written(kind: str) -> bytes:
    return KINDS[kind]()


def most_held(data: bytes, longest: int) -> tuple[int, str]:
    """Bytes that a process of its own held at once, and how it ended in words."""
    limits = ("1000000000", str(10**12), str(longest))
    done = subprocess.run(
        [sys.executable, "-I", "-c", RUN_AND_TELL, *limits],
        input=data,
        capture_output=True,
        check=False,
    )
    held = int(done.stderr.split()[-1]) * 1024
    return held, f"{done.returncode} {done.stderr.decode()[-300:]}"


@needs_proc
@pytest.mark.parametrize(
    ("kind", "longest"),
    [*((kind, 160) for kind in KINDS), ("PNG, see-through", 2048), ("WebP", 2048)],
)
def test_decoding_takes_no_more_than_the_header_tells(kind, longest):
    data = written(kind)
    nothing, _ended = most_held(encoded(Image.new("RGB", (8, 8)), "PNG"), longest)
    held, ended = most_held(data, longest)
    assert ended.startswith("0 "), ended
    opened = decoder.opened(data)
    decoder.ask_for_less(opened, longest)
    told = decoder.decoded_bytes(opened, (WIDTH, HEIGHT), in_several_scans=True)
    # The file is held once by the process and may be copied once by its decoder; what is less
    # than 2.5 times as large as asked is made plain before it is made smaller.
    plain = 4 * WIDTH * HEIGHT if longest * 2.5 > WIDTH else 0
    assert held - nothing <= told + 2 * len(data) + plain + BESIDE_BYTES[longest]


@pytest.mark.parametrize(
    ("kind", "pixel"),
    [
        ("PNG", 4),
        ("PNG, a palette", 1),
        ("PNG, 16 bits of grey", 2),
        ("WebP", 16),
        ("progressive JPEG, print colours", 12),
        ("TIFF", 7),
    ],
)
def test_a_pixel_of_each_kind_has_its_bytes(kind, pixel):
    opened = decoder.opened(written(kind))
    told = decoder.decoded_bytes(opened, (WIDTH, HEIGHT), in_several_scans=True)
    assert told == pixel * WIDTH * HEIGHT


@pytest.mark.parametrize(
    ("kind", "name"), [("WebP", "E01.webp"), ("PNG", "E01.png"), ("TIFF", "E01.tif")]
)
def test_what_would_take_too_much_memory_is_refused_with_its_figures(settings, kind, name):
    data = written(kind)
    needed = decoder.decoded_bytes(decoder.opened(data), (WIDTH, HEIGHT))
    settings.PHOTO_MAX_DECODED_BYTES = needed
    assert imaging.inspect(BytesIO(data), name).width == WIDTH
    settings.PHOTO_MAX_DECODED_BYTES = needed - 1
    with pytest.raises(NotAPhotograph) as refusal:
        imaging.inspect(BytesIO(data), name)
    said = str(refusal.value).replace("\xa0", " ")
    assert said.startswith(f"{name} of 4000 × 3000 pixels would take ")
    assert "MB of memory to unpack" in said
    assert "Save it smaller" in said


def test_picture_that_takes_its_process_out_of_memory_is_refused_in_a_sentence(monkeypatch):
    # A bound that is told too low, which is what the limit of the process is for.
    text = apart.DECODER.read_text()
    assert "= 1024**3" in text
    small = text.replace("= 1024**3", f"= {150 * MIB}")
    run = subprocess.run
    monkeypatch.setattr(
        subprocess,
        "run",
        lambda command, **how: run([command[0], "-I", "-c", small, *command[3:]], **how),
    )
    with pytest.raises(NotAPhotograph, match="takes more memory to unpack than the"):
        imaging.inspect(BytesIO(deep_png(9000, 8000)), "E01.png")


def test_what_is_large_is_decoded_apart_and_comes_out_the_same(monkeypatch):
    data = written("PNG, see-through")
    here = imaging.rendition(BytesIO(data), 800)
    monkeypatch.setattr(imaging, "LARGE_FROM_BYTES", 1)
    seen = []
    run = subprocess.run
    monkeypatch.setattr(
        subprocess, "run", lambda *given, **how: seen.append(1) or run(*given, **how)
    )
    there = imaging.rendition(BytesIO(data), 800)
    assert seen
    assert (there.width, there.height, there.data) == (here.width, here.height, here.data)
    facts = imaging.inspect(BytesIO(data), "E01.png")
    assert (facts.width, facts.height) == (WIDTH, HEIGHT)


def test_what_is_large_lies_on_its_side_and_is_turned_apart_too(monkeypatch):
    monkeypatch.setattr(imaging, "LARGE_FROM_BYTES", 0)
    stored = pictures.quadrants().transpose(Image.Transpose.ROTATE_90)
    for form, name in (("PNG", "E01.png"), ("WEBP", "E01.webp"), ("JPEG", "E01.jpg")):
        data = encoded(stored, form, exif=pictures.exif(orientation=6))
        assert imaging.inspect(BytesIO(data), name).width == 96
        assert pictures.stands_upright(imaging.rendition(BytesIO(data), 2048).data)


def test_damage_is_found_apart_as_it_is_here(monkeypatch):
    monkeypatch.setattr(imaging, "LARGE_FROM_BYTES", 0)
    whole = encoded(Image.effect_noise((640, 480), 60), "JPEG", progressive=True)
    with pytest.raises(NotAPhotograph, match="damaged or breaks off"):
        imaging.inspect(BytesIO(whole[:9000]), "E01.jpg")
    baseline = encoded(Image.effect_noise((640, 480), 60), "JPEG")
    cut = baseline[: len(baseline) // 2] + b"\xff\xd9"
    assert imaging.inspect(BytesIO(cut), "E01.jpg").is_incomplete


def test_no_more_wait_for_a_decoder_than_have_a_place(monkeypatch):
    monkeypatch.setattr(imaging, "LARGE_FROM_BYTES", 0)
    data = pictures.png()
    taken = [apart._places.acquire(blocking=False) for _ in range(apart.PLACES)]
    try:
        assert all(taken)
        with pytest.raises(DecodersBusy, match="Send this one again in a minute"):
            imaging.inspect(BytesIO(data), "E01.png")
    finally:
        for _ in taken:
            apart._places.release()
    assert imaging.inspect(BytesIO(data), "E01.png").width == 96


@pytest.mark.parametrize("form", ["PNG", "WEBP"])
def test_what_takes_memory_to_open_is_not_opened_while_another_is(form):
    data = encoded(pictures.quadrants(), form)
    with ThreadPoolExecutor(1) as beside:
        with apart.one_at_a_time(apart.LARGE_FROM_BYTES):
            looked_at = beside.submit(imaging.inspect, BytesIO(data), f"E01.{form.lower()}")
            with pytest.raises(TimeoutError):
                looked_at.result(timeout=0.5)
            assert imaging.inspect(BytesIO(pictures.jpeg()), "E01.jpg").width == 96
        assert looked_at.result(timeout=300).width == 96

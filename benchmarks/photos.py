"""Taking a photograph in: looked at to its end, hashed, turned, stripped, and made smaller thrice.

    .venv/bin/python -m benchmarks.photos [--megapixels 24] [--photographs 8] [--runs 3] [--others]

Beside it the same three sizes of the same files by pyvips (libvips), in the same run: once each
size from the file, as its documentation has it, and once with each size made from the one
before it, which is what the product does. The peers neither look at the file to its end nor
hash it, so they do less. Each runs in a process of its own; what is printed are medians of
several runs in turn, photographs a second, the ratio of times, and the most memory that a process
held. With ``--others`` the memory that PNG, WebP and progressive JPEG of that size take, too; what
the site does not take in at that size is said, in its words, and passed over.
"""

import argparse
import hashlib
import io
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

SIZES = (2048, 800, 160)
QUALITY = 88
WAYS = ("product", "pyvips", "pyvips, each from the one before")
OTHERS = {
    "JPEG, colours in full": ("JPEG", {"quality": 90, "subsampling": 0}),
    "JPEG, progressive": ("JPEG", {"quality": 90, "progressive": True}),
    "PNG": ("PNG", {"compress_level": 1}),
    "WebP": ("WEBP", {"quality": 80, "method": 0}),
}


def photograph(
    megapixels: float, seed: int, form: str = "JPEG", *, grain: int = 8, **options: object
) -> bytes:
    """A noisy 3:2 picture, lying on its side, as large as a camera's of so many megapixels."""
    import numpy as np
    from PIL import Image

    width = int((megapixels * 1e6 * 3 / 2) ** 0.5)
    height = int(width * 2 / 3)
    rng = np.random.default_rng(seed)
    coarse = rng.integers(0, 255, (height // grain, width // grain, 3), dtype=np.uint8)
    picture = Image.fromarray(coarse).resize((width, height), Image.Resampling.BICUBIC)
    exif = Image.Exif()
    exif[0x0112] = 6
    data = io.BytesIO()
    picture.save(data, form, exif=exif, **options)
    return data.getvalue()


# Each way, in a process of its own


class Refused(Exception):
    """The site does not take such a file in."""


def by_product() -> Callable[[Path], None]:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    import django

    django.setup()
    from assessments import imaging
    from assessments.exceptions import NotAPhotograph
    from assessments.services.photos import sha256_of

    def take_in(path: Path) -> None:
        with path.open("rb") as file:
            try:
                imaging.inspect(file, path.name)
            except NotAPhotograph as refusal:
                raise Refused(refusal) from refusal
            sha256_of(file)
            for _made in imaging.renditions(file, SIZES):
                pass

    return take_in


def by_pyvips() -> Callable[[Path], None]:
    import pyvips  # type: ignore[import-untyped]

    def make(path: Path) -> None:
        for size in SIZES:
            small = pyvips.Image.thumbnail(str(path), size, height=size)
            small.jpegsave_buffer(Q=QUALITY, keep="none")

    return make


def by_pyvips_in_turn() -> Callable[[Path], None]:
    import pyvips

    def make(path: Path) -> None:
        small = pyvips.Image.thumbnail(str(path), SIZES[0], height=SIZES[0]).copy_memory()
        small.jpegsave_buffer(Q=QUALITY, keep="none")
        for size in SIZES[1:]:
            small = small.thumbnail_image(size, height=size).copy_memory()
            small.jpegsave_buffer(Q=QUALITY, keep="none")

    return make


MAKERS = dict(zip(WAYS, (by_product, by_pyvips, by_pyvips_in_turn), strict=True))


def most_memory_mb() -> float:
    """The most memory this process has held at once (VmHWM)."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) / 1024
    return float("nan")


def work(way: str, folder: Path) -> None:
    act = MAKERS[way]()
    paths = sorted(folder.iterdir())
    try:
        act(paths[0])
    except Refused as refusal:
        print(json.dumps({"refused": str(refusal)}))
        return
    clock, cpu = time.perf_counter(), time.process_time()
    for path in paths:
        act(path)
    done = {
        "s": (time.perf_counter() - clock) / len(paths),
        "cpu_s": (time.process_time() - cpu) / len(paths),
        "mb": most_memory_mb(),
    }
    print(json.dumps(done))


def apart(way: str, folder: Path) -> dict[str, float]:
    command = [sys.executable, "-m", "benchmarks.photos", "--work", way, str(folder)]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
    answer = json.loads(done.stdout.splitlines()[-1])
    if "refused" in answer:
        raise Refused(answer["refused"])
    return answer


def compare(folder: Path, runs: int) -> None:
    measured: dict[str, list[dict[str, float]]] = {way: [] for way in WAYS}
    for _run in range(runs):
        for way in WAYS:
            measured[way].append(apart(way, folder))

    def middle(way: str, what: str) -> float:
        return statistics.median(measurement[what] for measurement in measured[way])

    print(f"{'':34} a second  seconds each  of CPU  peak MB  product's time to it")
    for way in WAYS:
        seconds, cpu = middle(way, "s"), middle(way, "cpu_s")
        ratio, of_cpu = middle("product", "s") / seconds, middle("product", "cpu_s") / cpu
        print(
            f"{way:34} {1 / seconds:8.2f}  {seconds:12.3f}  {cpu:6.3f}  {middle(way, 'mb'):7.0f}"
            f"  {ratio:8.2f} (CPU {of_cpu:.2f})"
        )


def other(name: str, folder: Path, megapixels: float) -> None:
    form, options = OTHERS[name]
    folder.mkdir()
    ending = {"JPEG": "jpg", "PNG": "png", "WEBP": "webp"}[form]
    file = folder / f"0.{ending}"
    file.write_bytes(photograph(megapixels, 0, form, grain=48, **options))
    try:
        done = apart("product", folder)
    except Refused as refusal:
        print(f"{name:34} of {file.stat().st_size / 1e6:.0f} MB, not taken in: {refusal}")
    else:
        print(f"{name:34} {done['s']:8.2f} s  {done['mb']:7.0f} MB")


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--megapixels", type=float, default=24)
    parser.add_argument("--photographs", type=int, default=8)
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--others", action="store_true", help="memory of other formats, too")
    parser.add_argument("--work", nargs=2, help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.work:
        work(arguments.work[0], Path(arguments.work[1]))
        return
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary, "jpeg")
        folder.mkdir()
        kinds = set()
        for number in range(arguments.photographs):
            data = photograph(arguments.megapixels, number, quality=90)
            kinds.add(hashlib.sha256(data).hexdigest())
            (folder / f"{number:03}.jpg").write_bytes(data)
        print(f"{len(kinds)} photographs (JPEG) of {arguments.megapixels:g} megapixels each")
        try:
            compare(folder, arguments.runs)
        except Refused as refusal:
            print(f"not taken in: {refusal}")
        if arguments.others:
            print("\nother files: seconds each, most memory")
            for name in OTHERS:
                other(name, Path(temporary, name), arguments.megapixels)


if __name__ == "__main__":
    main()

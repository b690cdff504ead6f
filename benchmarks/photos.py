"""Making the three sizes of a photograph, beside Pillow's own thumbnail() on the same file.

    .venv/bin/python -m benchmarks.photos [--megapixels 6 12 24] [--runs 5]

Prints medians of several runs as a ratio, and how both grow with the picture. The peer
opens the file anew for each size and neither turns it upright nor drops its EXIF, so it does
less than the product has to.
"""

import argparse
import io
import os
import statistics
import time
from collections.abc import Callable

import django
import numpy as np
from PIL import Image

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
django.setup()

from assessments import imaging  # noqa: E402

SIZES = (2048, 800, 160)


def photograph(megapixels: float) -> bytes:
    """A noisy 3:2 JPEG, as large as a camera's of so many megapixels."""
    width = int((megapixels * 1e6 * 3 / 2) ** 0.5)
    height = int(width * 2 / 3)
    rng = np.random.default_rng(1)
    coarse = rng.integers(0, 255, (height // 8, width // 8, 3), dtype=np.uint8)
    picture = Image.fromarray(coarse).resize((width, height), Image.Resampling.BICUBIC)
    data = io.BytesIO()
    picture.save(data, "JPEG", quality=90)
    return data.getvalue()


def by_product(data: bytes) -> None:
    for _made in imaging.renditions(io.BytesIO(data), SIZES):
        pass


def by_thumbnail(data: bytes) -> None:
    for size in SIZES:
        with Image.open(io.BytesIO(data)) as picture:
            picture.thumbnail((size, size))
            picture.save(io.BytesIO(), "JPEG", quality=85)


def median_s(act: Callable[[bytes], None], data: bytes, runs: int) -> float:
    act(data)
    times = []
    for _run in range(runs):
        begun = time.perf_counter()
        act(data)
        times.append(time.perf_counter() - begun)
    return statistics.median(times)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--megapixels", type=float, nargs="+", default=[6, 12, 24])
    parser.add_argument("--runs", type=int, default=5)
    asked = parser.parse_args()
    print("megapixels  product, ms  thumbnail(), ms  ratio")
    for megapixels in asked.megapixels:
        data = photograph(megapixels)
        product = median_s(by_product, data, asked.runs)
        peer = median_s(by_thumbnail, data, asked.runs)
        print(
            f"{megapixels:10.0f}  {product * 1000:11.0f}  {peer * 1000:15.0f}  "
            f"{product / peer:5.2f}"
        )


if __name__ == "__main__":
    main()

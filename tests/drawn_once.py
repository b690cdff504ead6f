"""The demo's photographs for tests: kept once drawn, and drawn anew when the code changes.

A demo takes minutes to draw, and the suite loads it once. At half the size it takes a third of
that, and shows the same joints: whatever is true of one does not depend on the pixels.
"""

import hashlib
import os
import pickle
import shutil
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy
import PIL
from django.conf import settings

from demo import drawn
from demo.scenario import pictures
from demo.scenario.pictures import Order, Picture

KEPT = settings.BASE_DIR / "var" / "drawn"
SIZE = (pictures.SIZE[0] // 2, pictures.SIZE[1] // 2)


def draw_all(orders: Iterable[Order]) -> Iterator[Picture]:
    """As the demo's own: every order, in the order given; only those not kept are drawn."""
    orders = list(orders)
    folder = _folder()
    missing = [order for order in orders if not _file(folder, order).exists()]
    for picture in pictures.draw_all(missing, SIZE):
        _keep(_file(folder, picture.order), picture)
    for order in orders:
        jpeg, width, height, truth = pickle.loads(_file(folder, order).read_bytes())
        yield Picture(order, jpeg, width, height, truth)


def _folder() -> Path:
    """Where those of this code are kept; those of any other go."""
    sources = [*sorted(Path(drawn.__file__).parent.rglob("*.py")), Path(pictures.__file__)]
    made_by = hashlib.sha256(f"{PIL.__version__} {numpy.__version__} {SIZE}".encode())
    for source in sources:
        made_by.update(source.read_bytes())
    folder = KEPT / made_by.hexdigest()[:16]
    if not folder.exists():
        shutil.rmtree(KEPT, ignore_errors=True)
        folder.mkdir(parents=True, exist_ok=True)
    return folder


def _file(folder: Path, order: Order) -> Path:
    return folder / f"{order.kind}-{order.fault}-{order.seed}.pickle"


def _keep(file: Path, picture: Picture) -> None:
    """Written beside and renamed, so that a run that is cut off leaves no half."""
    half = file.with_suffix(f".{os.getpid()}")
    half.write_bytes(pickle.dumps((picture.jpeg, picture.width, picture.height, picture.truth)))
    half.replace(file)

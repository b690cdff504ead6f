"""Drawing the demo's photographs, in processes of their own beside the one that writes rows."""

import io
import os
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from typing import Any

SIZE = (800, 600)
"""Width and height of each photograph, in pixels."""


@dataclass(frozen=True, slots=True)
class Order:
    """One photograph to draw: of which board and position, and what it is to show."""

    board: int
    position: str
    kind: str
    fault: str | None
    seed: int


@dataclass(frozen=True, slots=True)
class Picture:
    order: Order
    jpeg: bytes
    width: int
    height: int
    truth: dict[str, Any]


def draw(order: Order, size: tuple[int, int] = SIZE) -> Picture:
    # Imported where it is used, so that the pool's processes load it and nothing of Django.
    from demo.drawn import draw_joint

    drawn = draw_joint(order.kind, order.fault, seed=order.seed, size=size)
    data = io.BytesIO()
    drawn.image.save(data, "JPEG", quality=82)
    return Picture(order, data.getvalue(), *drawn.image.size, drawn.truth)


def draw_all(orders: Iterable[Order], size: tuple[int, int] = SIZE) -> Iterator[Picture]:
    """Draw every order, each core at work, in the order given."""
    with ProcessPoolExecutor(os.cpu_count() or 1) as pool:
        yield from pool.map(partial(draw, size=size), orders, chunksize=8)

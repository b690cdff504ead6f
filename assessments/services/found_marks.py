"""Marks proposed where the photograph has an edge near a click; the grader accepts or drags them.

Nothing is kept or judged here. The edges are looked for in the copy that the browser shows.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from threading import BoundedSemaphore
from typing import Any, TypeAlias

import numpy as np
from django.utils.translation import gettext as _
from PIL import Image

from assessments.domain.geometry import Quantity
from assessments.exceptions import CannotMeasure, EdgesBusy
from assessments.models import Photo, Rendition

from .photos import open_rendition

Point: TypeAlias = tuple[float, float]
Found: TypeAlias = Mapping[str, Sequence[Point]]


WAITING = 4
"""How many may wait behind the one whose edges are looked for: each would hold 170 MB."""
WAITS_S = 10

_turn = BoundedSemaphore(1)
_places = BoundedSemaphore(1 + WAITING)


@dataclass(frozen=True, slots=True)
class Finder:
    """How marks of a kind are found.

    Attributes
    ----------
    function : str
        Of `assessments.imaging.edge_finding`, which takes half a second to import.
    clicks : int
        How many it takes.
    marks : callable
        From what it finds to points by kind of mark.
    """

    function: str
    clicks: int
    marks: Callable[[Any], Found]


FINDERS: dict[tuple[str, str], Finder] = {
    (Quantity.SCALE, "ends"): Finder("find_wire", 1, lambda wire: {"ends": wire.edges}),
    (Quantity.CLEARANCE, "insulation"): Finder(
        "find_insulation_end",
        1,
        lambda found: {"insulation": [found.end], "across": found.across},
    ),
    (Quantity.CLEARANCE, "across"): Finder("find_wire", 1, lambda wire: {"across": wire.edges}),
    (Quantity.WRAP, "post"): Finder("find_post", 1, lambda post: {"post": post.points}),
    (Quantity.FILLET, "edge"): Finder("find_edge_between", 2, lambda edge: {"edge": edge}),
    (Quantity.WETTING_ANGLE, "edge"): Finder("find_edge_between", 2, lambda edge: {"edge": edge}),
}


@contextmanager
def _one_at_a_time() -> Iterator[None]:
    """Wait for a turn; raise EdgesBusy where too many wait already, or it takes too long."""
    if not _places.acquire(blocking=False):
        raise EdgesBusy
    try:
        if not _turn.acquire(timeout=WAITS_S):
            raise EdgesBusy
        try:
            yield
        finally:
            _turn.release()
    finally:
        _places.release()


def find_marks(
    *, photo: Photo, quantity: str, kind: str, clicks: Sequence[Point]
) -> dict[str, list[list[float]]]:
    """Propose marks of a kind, and of others that the same edges give.

    Parameters
    ----------
    clicks : sequence of (x, y)
        Pixels of the upright photograph: one, or for a fillet its toe and its top.

    Returns
    -------
    dict of str to list of [x, y]
        By kind, pixels of the upright photograph to a hundredth.

    Raises
    ------
    CannotMeasure
        If such marks are not looked for, or a click lies outside; as NoEdgeFound or
        PictureTooSmall where nothing is clear enough.
    EdgesBusy
        If edges are looked for for too many others.
    NotAPhotograph
        If the original can no longer be read.
    DecodersBusy
        If it is large and too many others wait to be decoded.
    """
    # 80 MB too, which a process that never looks for an edge is spared.
    from assessments.imaging import edge_finding

    finder = FINDERS.get((quantity, kind))
    if finder is None or len(clicks) != finder.clicks:
        raise CannotMeasure(_("Such marks are not looked for here. Set them by hand."))
    width, height = photo.upright_width, photo.upright_height
    if not all(0 <= x <= width and 0 <= y <= height for x, y in clicks):
        raise CannotMeasure(_("A mark lies outside the photograph. Put it back."))
    rendition, file = open_rendition(photo, Rendition.Size.LARGE)
    by_x, by_y = width / rendition.width, height / rendition.height
    with file, _one_at_a_time():
        with Image.open(file) as copy:
            picture = edge_finding.prepared(np.asarray(copy.convert("RGB")))
        find = getattr(edge_finding, finder.function)
        found = finder.marks(find(picture, *((x / by_x, y / by_y) for x, y in clicks)))
    return {
        name: [
            [
                round(float(min(max(x * by_x, 0), width)), 2),
                round(float(min(max(y * by_y, 0), height)), 2),
            ]
            for x, y in points
        ]
        for name, points in found.items()
    }

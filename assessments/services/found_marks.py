"""Marks proposed where the photograph has an edge near a click; the grader accepts or drags them.

Nothing is kept or judged here. The edges are looked for in the copy that the browser shows.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from django.utils.translation import gettext as _
from PIL import Image

from assessments.domain.geometry import Quantity
from assessments.exceptions import CannotMeasure
from assessments.models import Photo, Rendition

from .photos import open_rendition

Point: TypeAlias = tuple[float, float]
Found: TypeAlias = Mapping[str, Sequence[Point]]


@dataclass(frozen=True, slots=True)
class Finder:
    """How marks of a kind are found: from how many clicks, and by what."""

    clicks: int
    find: Callable[[Any, Any, Sequence[Point]], Found]


def _ends(finding: Any, picture: Any, clicks: Sequence[Point]) -> Found:
    return {"ends": finding.find_wire(picture, clicks[0]).edges}


def _across(finding: Any, picture: Any, clicks: Sequence[Point]) -> Found:
    return {"across": finding.find_wire(picture, clicks[0]).edges}


def _insulation(finding: Any, picture: Any, clicks: Sequence[Point]) -> Found:
    found = finding.find_insulation_end(picture, clicks[0])
    return {"insulation": [found.end], "across": found.across}


def _post(finding: Any, picture: Any, clicks: Sequence[Point]) -> Found:
    return {"post": finding.find_post(picture, clicks[0]).points}


def _edge(finding: Any, picture: Any, clicks: Sequence[Point]) -> Found:
    return {"edge": finding.find_edge_between(picture, clicks[0], clicks[1])}


FINDERS: dict[tuple[str, str], Finder] = {
    (Quantity.SCALE, "ends"): Finder(1, _ends),
    (Quantity.CLEARANCE, "insulation"): Finder(1, _insulation),
    (Quantity.CLEARANCE, "across"): Finder(1, _across),
    (Quantity.WRAP, "post"): Finder(1, _post),
    (Quantity.FILLET, "edge"): Finder(2, _edge),
    (Quantity.WETTING_ANGLE, "edge"): Finder(2, _edge),
}


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
        If such marks are not looked for, a click lies outside, or no edge is clear enough.
    NotAPhotograph
        If the original can no longer be read.
    DecodersBusy
        If it is large and too many others wait to be decoded.
    """
    # Half a second and 80 MB, which a process that never looks for an edge is spared.
    from assessments.imaging import edge_finding

    finder = FINDERS.get((quantity, kind))
    if finder is None or len(clicks) != finder.clicks:
        raise CannotMeasure(_("Such marks are not looked for here. Set them by hand."))
    width, height = photo.upright_width, photo.upright_height
    if not all(0 <= x <= width and 0 <= y <= height for x, y in clicks):
        raise CannotMeasure(_("A mark lies outside the photograph. Put it back."))
    rendition, file = open_rendition(photo, Rendition.Size.LARGE)
    with file, Image.open(file) as copy:
        pixels = np.asarray(copy.convert("RGB"))
    by_x, by_y = width / rendition.width, height / rendition.height
    try:
        picture = edge_finding.prepared(pixels)
        found = finder.find(edge_finding, picture, [(x / by_x, y / by_y) for x, y in clicks])
    except ValueError as error:
        raise CannotMeasure(
            _("No clear edge near there. Click closer to it, or set the marks by hand.")
        ) from error
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

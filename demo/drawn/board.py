"""A photograph of a whole practice board with its joints laid out."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot

import numpy as np

from .bifurcated import draw_bifurcated
from .canvas import MASKS, Canvas
from .cup import draw_cup
from .frame import Frame
from .hole import draw_hole_top
from .hook import draw_hook_top
from .job import Truth, choose_make, make_job
from .joint import DrawnJoint, views_of
from .pierced import draw_pierced
from .shapes import step
from .stripped import draw_stripped
from .turret_top import draw_turret_top, draw_turret_two_top

FROM_ABOVE = {
    "turret": draw_turret_top,
    "turret_two": draw_turret_two_top,
    "bifurcated": draw_bifurcated,
    "hook": draw_hook_top,
    "pierced": draw_pierced,
    "cup": draw_cup,
    "hole": draw_hole_top,
    "wire": draw_stripped,
}


@dataclass(frozen=True)
class Position:
    """A joint on a board.

    Attributes
    ----------
    name : str
        Printed beside it.
    kind : str
    at_mm : tuple of float
        From the board's upper left corner, x right and y down.
    fault : str or None
    seed : int
    """

    name: str
    kind: str
    at_mm: tuple[float, float]
    fault: str | None = None
    seed: int = 0


def draw_board(
    positions: Sequence[Position],
    *,
    seed: int,
    size: tuple[int, int] = (1200, 900),
    board_mm: tuple[float, float] | None = None,
    label: str = "",
) -> DrawnJoint:
    """Draw a whole board from above.

    Parameters
    ----------
    positions : sequence of Position
        Joints want about 12 by 9 mm each.
    seed : int
        The same seed gives the same photograph.
    size : tuple of int
        Width and height in pixels.
    board_mm : tuple of float, optional
        Width and height of the board; if not given, what the positions need.
    label : str
        Printed along the board's lower edge, such as its serial number.

    Returns
    -------
    DrawnJoint
        Its truth has `positions`: the centre of each in pixels and its fault, by name.

    Raises
    ------
    ValueError
        If there are no positions, or one names a joint or a fault that cannot be drawn.
    """
    if not positions:
        raise ValueError("A board wants at least one position to be drawn.")
    for position in positions:
        views_of(position.kind, position.fault)
    if board_mm is None:
        xs, ys = zip(*(position.at_mm for position in positions), strict=True)
        board_mm = max(xs) + 7.0, max(ys) + 7.0
    rng = np.random.default_rng([seed, 71])
    make = choose_make(np.random.default_rng([seed, 3]))
    scale = round(min(size[0] * 0.90 / board_mm[0], size[1] * 0.88 / board_mm[1]), 1)
    turn = float(rng.uniform(-2.5, 2.5))
    frame = Frame(size, scale, (size[0] / 2, size[1] / 2), turn)
    canvas = Canvas(frame, make.light, "mat", rng)
    _lay_slab(canvas, make.board, board_mm)
    canvas.mask = make.board
    corner = -board_mm[0] / 2, -board_mm[1] / 2
    places: dict[str, Truth] = {}
    for position in positions:
        middle = corner[0] + position.at_mm[0], corner[1] + position.at_mm[1]
        x, y = (round(float(part)) for part in frame.to_px(middle))
        canvas.frame = Frame(size, scale, (float(x), float(y)), turn)
        own = np.random.default_rng([position.seed, seed])
        job = make_job(canvas, make, position.fault, own, "")
        job.alone = False
        FROM_ABOVE[position.kind](job)
        canvas.legend(position.name, (0.6, -3.5), 1.3)
        places[position.name] = {"centre_px": (float(x), float(y)), "fault": position.fault}
    canvas.frame = replace(frame)
    if label:
        canvas.legend(label, (0.0, board_mm[1] / 2 - 1.8), 1.7)
    faults = tuple(sorted({p.fault for p in positions if p.fault}))
    truth: Truth = {"px_per_mm": scale, "turn_deg": turn, "positions": places}
    return DrawnJoint(canvas.image, truth, faults, "board")


def _lay_slab(canvas: Canvas, mask: str, board_mm: tuple[float, float]) -> None:
    """Lay the bare board with its corners, mounting holes and edge."""
    half_x, half_y = board_mm[0] / 2, board_mm[1] / 2
    crop = canvas.frame.whole()
    qx = np.abs(crop.x) - np.float32(half_x - 1.5)
    qy = np.abs(crop.y) - np.float32(half_y - 1.5)
    outside = np.sqrt(np.maximum(qx, 0) ** 2 + np.maximum(qy, 0) ** 2)
    edge = outside + np.minimum(np.maximum(qx, qy), 0) - np.float32(1.5)
    canvas.shade(crop, edge, 1.6, 0.7, 0.7)
    cover = crop.cover(edge)
    canvas.tint(crop, (146, 146, 104), cover)
    rim = crop.cover(edge + np.float32(0.22))
    canvas.tint(crop, MASKS[mask], rim)
    red, green, blue = MASKS[mask]
    lighter = (min(red + 24, 255), min(green + 30, 255), min(blue + 28, 255))
    sheen = step(crop.x + crop.y, hypot(half_x, half_y), -hypot(half_x, half_y))
    canvas.tint(crop, lighter, rim * sheen * np.float32(0.6))
    inset = min(2.4, half_x / 4, half_y / 4)
    for x in (-half_x + inset, half_x - inset):
        for y in (-half_y + inset, half_y - inset):
            hole = canvas.frame.crop([(x, y)], inset)
            if hole is not None:
                rho = np.hypot(hole.x - np.float32(x), hole.y - np.float32(y))
                canvas.lay(
                    hole, rho * np.float32(0.02), "tin", hole.cover(rho - np.float32(inset * 0.62))
                )
                canvas.tint(hole, (28, 29, 31), hole.cover(rho - np.float32(inset * 0.40)))

"""Which joints can be drawn, with which faults and from where; and drawing one of them."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from PIL import Image

from .bifurcated import draw_bifurcated
from .canvas import Canvas
from .cup import draw_cup
from .frame import Frame
from .hole import draw_hole_side, draw_hole_top
from .hook import draw_hook
from .job import Job, Truth, choose_make, make_job
from .pierced import draw_pierced
from .stripped import draw_stripped
from .turret_side import draw_turret_side, draw_turret_two_side
from .turret_top import draw_turret_top, draw_turret_two_top

SURFACE = ("nonwetted", "dewetted", "cold", "disturbed", "icicle", "flux_residue")
GAP = ("clearance_none", "clearance_wide")
HARM = ("strand_nicked", "strand_out", "birdcage", "insulation_burnt", "insulation_cut")
WRAPPED = ("wrap_short", *GAP, "insufficient", "excess", *SURFACE, *HARM)

FAULTS: dict[str, tuple[str, ...]] = {
    "turret": ("wrap_long", "wire_not_on_base", *WRAPPED),
    "turret_two": ("wire_not_on_base", *WRAPPED),
    "bifurcated": WRAPPED,
    "hook": ("wrap_long", *WRAPPED),
    "cup": ("cup_underfilled", "cup_overflow", "cup_not_seated", *GAP, "excess", "nonwetted",
            "cold", "disturbed", "icicle", "flux_residue", *HARM),
    "hole": ("hole_underfilled", "hole_no_wetting", "lead_too_long", "bridge", "insufficient",
             "excess", *SURFACE),
    "wire": ("tinning_gap_none", "tinning_uneven", "excess", "dewetted", "cold", "disturbed",
             "icicle", "flux_residue", *HARM),
    "pierced": WRAPPED,
}  # fmt: skip
KINDS = tuple(FAULTS)

VIEWS: dict[str, tuple[str, ...]] = {
    "turret": ("top", "side"),
    "turret_two": ("side", "top"),
    "bifurcated": ("top",),
    "hook": ("end",),
    "cup": ("top",),
    "hole": ("top", "side"),
    "wire": ("top",),
    "pierced": ("top",),
}
UNSEEN = {
    ("turret", "top"): ("wire_not_on_base",),
    ("turret", "side"): ("wrap_long", "insulation_cut"),
    ("turret_two", "top"): ("wire_not_on_base",),
    ("hole", "top"): ("lead_too_long",),
    ("hole", "side"): ("hole_no_wetting", "bridge", "dewetted", "icicle", "flux_residue"),
}


@dataclass(frozen=True)
class Setting:
    """How a view is framed at 800 by 600.

    Attributes
    ----------
    draw : callable
    scale : tuple of int
        Pixels for one millimetre to choose from.
    centre : tuple of float
        Where the work's origin is, as shares of width and height.
    turn_deg : float
        The most that the work is turned either way.
    behind : str or None
        What lies behind the work, if not the board itself.
    """

    draw: Callable[[Job], Truth]
    scale: tuple[int, ...]
    centre: tuple[float, float]
    turn_deg: float
    behind: str | None = None


SETTINGS = {
    ("turret", "top"): Setting(draw_turret_top, (84, 88, 92), (0.54, 0.51), 14),
    ("turret", "side"): Setting(draw_turret_side, (104, 108), (0.58, 0.78), 3, "far"),
    ("turret_two", "top"): Setting(draw_turret_two_top, (84, 88, 92), (0.54, 0.51), 14),
    ("turret_two", "side"): Setting(draw_turret_two_side, (104, 108), (0.58, 0.80), 3, "far"),
    ("bifurcated", "top"): Setting(draw_bifurcated, (84, 88), (0.57, 0.50), 14),
    ("hook", "end"): Setting(draw_hook, (100, 104), (0.42, 0.92), 3, "far"),
    ("cup", "top"): Setting(draw_cup, (82, 86), (0.46, 0.50), 9, "mat"),
    ("hole", "top"): Setting(draw_hole_top, (104, 110, 116), (0.50, 0.51), 14),
    ("hole", "side"): Setting(draw_hole_side, (98, 102), (0.50, 0.23), 4, "resin"),
    ("wire", "top"): Setting(draw_stripped, (100, 104), (0.24, 0.50), 8, "mat"),
    ("pierced", "top"): Setting(draw_pierced, (88, 92), (0.56, 0.46), 14),
}


@dataclass(frozen=True)
class DrawnJoint:
    """A drawn photograph and what is true of what it shows.

    Attributes
    ----------
    image : PIL.Image.Image
        RGB.
    truth : dict
        Plain numbers, strings and lists, from what the joint was drawn by. Keys that end in
        `_px` are points or lengths in pixels of the photograph, x right and y down, (0, 0) at
        the upper left corner of the first pixel.
    faults : tuple of str
        Empty for a good joint.
    view : str
    """

    image: Image.Image
    truth: Truth
    faults: tuple[str, ...]
    view: str


def views_of(kind: str, fault: str | None = None) -> tuple[str, ...]:
    """Give the views in which a kind of joint, and a fault of it, can be told; the best first.

    Raises
    ------
    ValueError
        If there is no such kind, or it does not have the fault.
    """
    if kind not in FAULTS:
        raise ValueError(f"No joint of the kind {kind!r} can be drawn. Kinds: {', '.join(KINDS)}.")
    if fault is not None and fault not in FAULTS[kind]:
        raise ValueError(
            f"A joint of the kind {kind!r} is not drawn with the fault {fault!r}. "
            f"Its faults: {', '.join(FAULTS[kind])}."
        )
    return tuple(view for view in VIEWS[kind] if fault not in UNSEEN.get((kind, view), ()))


def draw_joint(
    kind: str,
    fault: str | None = None,
    *,
    seed: int,
    size: tuple[int, int] = (800, 600),
    view: str | None = None,
    label: str = "",
    batch: int | None = None,
) -> DrawnJoint:
    """Draw a macro photograph of a soldered joint.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    fault : str, optional
        One of `FAULTS[kind]`; none for a good joint.
    seed : int
        The same seed gives the same photograph, byte for byte, on the same machine with the
        same versions of numpy and Pillow.
    size : tuple of int
        Width and height in pixels, each at least 64.
    view : str, optional
        One of `views_of(kind, fault)`; the first of them if not given.
    label : str
        The position's name, printed on the board where the view shows it.
    batch : int, optional
        Joints of one batch share board, terminals, wire and light, as on one practice board.

    Returns
    -------
    DrawnJoint

    Raises
    ------
    ValueError
        If kind, fault, view or size is not one that can be drawn.
    """
    views = views_of(kind, fault)
    view = views[0] if view is None else view
    if view not in views:
        raise ValueError(
            f"The fault {fault!r} of a joint of the kind {kind!r} does not show from the view "
            f"{view!r}. Views that show it: {', '.join(views)}."
            if view in VIEWS[kind]
            else f"A joint of the kind {kind!r} is not drawn from the view {view!r}. "
            f"Its views: {', '.join(views)}."
        )
    if min(size) < 64:
        raise ValueError(f"A photograph of {size[0]} by {size[1]} pixels is too small to draw.")
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    shared = rng if batch is None else np.random.default_rng([batch, 3])
    make = choose_make(shared)
    setting = SETTINGS[kind, view]
    frame = _framed(setting, size, rng)
    canvas = Canvas(frame, make.light, setting.behind or make.board, rng)
    job = make_job(canvas, make, fault, rng, label)
    truth = setting.draw(job)
    truth |= {
        "kind": kind,
        "view": view,
        "fault": fault,
        "px_per_mm": frame.px_per_mm,
        "turn_deg": frame.turn_deg,
        "mirrored": frame.mirrored,
        "insulation": job.wire.insulation,
    }
    return DrawnJoint(canvas.image, truth, (fault,) if fault else (), view)


def _framed(setting: Setting, size: tuple[int, int], rng: np.random.Generator) -> Frame:
    """Choose the camera's place."""
    width, height = size
    mirrored = bool(rng.integers(2))
    zoom = min(width / 800, height / 600)
    across = 1 - setting.centre[0] if mirrored else setting.centre[0]
    shift = rng.integers(-14, 15, size=2) * zoom
    return Frame(
        size=size,
        px_per_mm=float(rng.choice(setting.scale)) * zoom,
        centre_px=(
            float(round(across * width + shift[0])),
            float(round(setting.centre[1] * height + shift[1] * (setting.behind != "far"))),
        ),
        turn_deg=float(rng.uniform(-setting.turn_deg, setting.turn_deg)),
        mirrored=mirrored,
    )

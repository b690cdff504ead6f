"""The solder: how much of it, how it wets, and what its surface shows."""

from dataclasses import dataclass, replace

import numpy as np

from .canvas import Canvas
from .frame import Crop, Field
from .shapes import step


@dataclass(frozen=True)
class Solder:
    """How a joint was soldered.

    Attributes
    ----------
    material : str
        Of its surface, one of `light.MATERIALS`.
    run_mm : float
        How far the fillet runs out from the wire or the lead.
    sagitta_by_chord : float
        Of the fillet's edge; negative bulges.
    relief : float
        How much of the strands still shows, 0 to 1.
    lumps_mm, grain_mm, ridges_mm : float
        Heights of lumps, of frost and of steps in the surface.
    """

    material: str = "solder"
    run_mm: float = 0.5
    sagitta_by_chord: float = 0.14
    relief: float = 0.30
    lumps_mm: float = 0.006
    grain_mm: float = 0.0004
    ridges_mm: float = 0.0

    @property
    def bulges(self) -> bool:
        return self.sagitta_by_chord < 0


def solder_for(fault: str | None, rng: np.random.Generator) -> Solder:
    """Give the solder that a fault calls for; without one, that of a good joint."""
    run, sagitta, relief = (float(rng.uniform(*limits)) for limits in GOOD_LIMITS)
    good = Solder(run_mm=run, sagitta_by_chord=sagitta, relief=relief)
    if fault == "insufficient":
        return replace(good, run_mm=run * 0.14, relief=0.85)
    if fault == "excess":
        return replace(good, run_mm=run * 1.25, sagitta_by_chord=-0.09 - sagitta, relief=0.0)
    if fault == "cold":
        return replace(
            good,
            material="solder_dull",
            sagitta_by_chord=0.05 - sagitta,
            relief=0.10,
            lumps_mm=0.046,
            grain_mm=0.0022,
        )
    if fault == "disturbed":
        return replace(
            good,
            material="solder_frosty",
            sagitta_by_chord=sagitta * 0.3,
            relief=0.15,
            lumps_mm=0.016,
            grain_mm=0.0062,
            ridges_mm=0.036,
        )
    if fault == "nonwetted":
        return replace(good, run_mm=0.30, sagitta_by_chord=-0.17 - sagitta, relief=0.0)
    return good


GOOD_LIMITS = ((0.36, 0.46), (0.10, 0.15), (0.26, 0.40))  # of run, sagitta by chord and relief


def surface(canvas: Canvas, crop: Crop, solder: Solder, height: Field) -> Field:
    """Give a solder surface the lumps, frost and steps of how it froze."""
    out = height + canvas.rough(crop, 0.14) * np.float32(solder.lumps_mm)
    out += canvas.rough(crop, 0.017) * np.float32(solder.grain_mm)
    if solder.ridges_mm:
        warp = canvas.rough(crop, 0.27) * np.float32(0.10)
        warp += canvas.rough(crop, 0.07) * np.float32(0.010)
        course = (crop.x * np.float32(0.8) + crop.y * np.float32(0.6) + warp) * np.float32(1 / 0.24)
        saw = course - np.floor(course)
        out += np.minimum(saw, (1 - saw) * 5) * np.float32(solder.ridges_mm * 1.6)
    return out


def lay_solder(
    canvas: Canvas,
    crop: Crop,
    solder: Solder,
    height: Field,
    edge: Field,
    fade: Field | None = None,
) -> None:
    """Lay the solder inside its edge, with the dark line where its toe meets what it lies on.

    Parameters
    ----------
    fade : ndarray, optional
        1 where the solder is whole, 0 where it has run out into nothing.
    """
    cover = crop.cover(edge)
    if fade is not None:
        cover *= fade
    dark = 0.5 if fade is None else fade * np.float32(0.5)
    canvas.shade(crop, edge, 0.08, dark, 0.4)
    canvas.lay(crop, surface(canvas, crop, solder, height), solder.material, cover)


def lay_beads(canvas: Canvas, crop: Crop, region: Field) -> None:
    """Lay the film and the beads of solder that has drawn back from where it had wetted."""
    film = canvas.rough(crop, 0.034) * np.float32(0.008)
    canvas.lay(crop, film, "solder_dull", region)
    rough = canvas.rough(crop, 0.14)
    canvas.tint(crop, (112, 84, 62), step(rough, 0.1, -0.8) * region * np.float32(0.55))
    hill = np.clip(rough - np.float32(0.15), 0, 1.4)
    rim = np.clip(hill * np.float32(14) + np.float32(0.8), 0, 1) * np.float32(0.5)
    canvas.tint(crop, (20, 20, 22), rim * (rough > -0.1) * region)
    cover = np.clip(hill * np.float32(9), 0, 1) * region
    canvas.lay(crop, np.sqrt(hill) * np.float32(0.24), "solder", cover)

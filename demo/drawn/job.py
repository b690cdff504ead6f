"""One photograph to be drawn: what was made, how, and how it is looked at."""

from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import numpy as np

from .canvas import Canvas
from .frame import Frame
from .light import LIGHTS
from .solder import Solder, solder_for
from .wire import INSULATIONS, Wire

Truth: TypeAlias = dict[str, Any]
Point: TypeAlias = tuple[float, float]

BARE = ("insufficient", "nonwetted", "dewetted")  # faults that show what the solder left bare
BOARDS = ("green", "deep green", "blue", "black")
TERMINALS = ("tin", "tin", "gold", "brass")


@dataclass
class Job:
    """What a drawing function needs: a canvas, the make of the work, and a fault.

    Attributes
    ----------
    canvas : Canvas
    rng : numpy.random.Generator
        For what belongs to this joint; the same for a good joint and a faulty one of one seed.
    fault : str or None
    solder : Solder
    wire : Wire
    terminal : str
        Material of the terminal.
    label : str
        Printed beside the joint where there is room; may be empty.
    board : str
        Colour of the board's mask.
    clearance_mm : float
        From the first contact to the end of the insulation; negative inside the joint.
    alone : bool
        Whether the joint fills the photograph, and its wire runs out of it; not so on a
        photograph of a whole board.
    """

    canvas: Canvas
    rng: np.random.Generator
    fault: str | None
    solder: Solder
    wire: Wire
    terminal: str
    label: str
    board: str
    clearance_mm: float
    alone: bool = True

    @property
    def frame(self) -> Frame:
        return self.canvas.frame

    @property
    def wire_reach(self) -> float:
        """How far from the joint the insulation is drawn, in mm."""
        return 14.0 if self.alone else 4.6

    def between(self, low: float, high: float) -> float:
        """Give a length, an angle or a share within limits."""
        return float(self.rng.uniform(low, high))

    def px(self, point_mm: Point) -> Point:
        """Give a point's pixel as two plain numbers."""
        x, y = self.frame.to_px(point_mm)
        return float(x), float(y)

    def sound_copy(self) -> "Job":
        """Give a job on the same photograph whose wire and solder have no fault."""
        wire = replace(self.wire, insulation=str(self.rng.choice(list(INSULATIONS))))
        gap = clearance_for(None, wire, self.rng)
        solder = solder_for(None, self.rng)
        return replace(self, fault=None, wire=wire, solder=solder, clearance_mm=gap)

    def clearance_truth(self, insulation_px: Point, contact_px: Point) -> Truth:
        """Say how far the insulation ends from the first contact, both as pixels of the axis."""
        gap, wire = self.clearance_mm, self.wire
        return {
            "clearance_mm": gap,
            "clearance_px": gap * self.frame.px_per_mm,
            "clearance_d": gap / wire.conductor_mm,
            "clearance_D": gap / wire.insulated_mm,
            "insulation_end_px": insulation_px,
            "first_contact_px": contact_px,
            "conductor_mm": wire.conductor_mm,
            "insulated_mm": wire.insulated_mm,
        }

    def harm(self, *kinds: str) -> str | None:
        """Give the fault if it is one of these."""
        return self.fault if self.fault in kinds else None


def clearance_for(fault: str | None, wire: Wire, rng: np.random.Generator) -> float:
    """Give the insulation clearance in mm that a fault calls for, or a good one."""
    good = float(rng.uniform(1.0, 1.5))
    if fault == "clearance_none":
        return float(rng.uniform(-0.28, -0.16)) * wire.insulated_mm
    if fault == "clearance_wide":
        return float(rng.uniform(2.5, 2.9)) * wire.insulated_mm
    if fault in ("strand_nicked", "strand_out", "birdcage"):
        return float(rng.uniform(1.55, 1.8)) * wire.insulated_mm
    return good * wire.insulated_mm


@dataclass(frozen=True)
class Make:
    """What all joints of one board share.

    Attributes
    ----------
    wire : Wire
    terminal : str
        Material of the terminals.
    board : str
        Colour of the board's mask.
    light : str
        One of `light.LIGHTS`.
    """

    wire: Wire
    terminal: str
    board: str
    light: str


def choose_make(rng: np.random.Generator) -> Make:
    """Choose wire, terminals, board and light."""
    return Make(
        wire=Wire(
            insulation=str(rng.choice(list(INSULATIONS))),
            metal=str(rng.choice(["silver", "silver", "copper"])),
        ),
        terminal=str(rng.choice(TERMINALS)),
        board=str(rng.choice(BOARDS)),
        light=str(rng.choice(LIGHTS)),
    )


def make_job(
    canvas: Canvas, make: Make, fault: str | None, rng: np.random.Generator, label: str
) -> Job:
    """Choose the solder and the clearance of one joint."""
    clearance_seed, solder_seed, own_seed = rng.integers(2**32, size=3)
    wire = make.wire
    if fault in BARE:
        wire = replace(wire, metal="copper")
    return Job(
        canvas=canvas,
        rng=np.random.default_rng(own_seed),
        fault=fault,
        solder=solder_for(fault, np.random.default_rng(solder_seed)),
        wire=wire,
        terminal=make.terminal,
        label=label,
        board=make.board,
        clearance_mm=clearance_for(fault, wire, np.random.default_rng(clearance_seed)),
    )

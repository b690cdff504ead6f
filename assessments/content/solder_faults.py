"""Criteria for the shape, surface and soundness of solder that came with revision 3."""

from decimal import Decimal

from django.utils.translation import gettext_noop as _

from . import CriterionContent
from .sources import (
    ALL_TYPES,
    CAPTIONS,
    IPC_A_610,
    LEAD_FREE,
    MEMORY,
    NASA_PICTORIAL,
    NASA_SOLDERING,
    SOLDERED,
)

IN_THE_SOLDER = (
    CriterionContent(
        code="S-18",
        title=_("No crack"),
        text=_("The solder is whole: no crack runs through it or along its edge."),
        reject_text=_(
            "A crack runs through the solder, or between it and wire, lead, land or terminal."
        ),
        try_this=_(
            "Do not cut, bend or push anything once it is soldered. To mend it, take the old "
            "solder off and make the joint anew."
        ),
        stage="soldered",
        joint_types=SOLDERED,
        severity="critical",
        demerits=40,
        accept_drawing="surface-smooth-accept",
        reject_drawing="crack-reject",
        document=NASA_SOLDERING,
        clause="13.6.2",
        source_note=f"{CAPTIONS} The clause is from memory: check in the document.",
    ),
    CriterionContent(
        code="S-21",
        title=_("No dewetting"),
        text=_(
            "Solder has stayed where it had run. At the rim of a land on the component side a "
            "slight drawing back is allowed."
        ),
        reject_text=_("Solder has drawn back into beads and left a thin, uneven film."),
        try_this=_(
            "Shorten the heat, and have the surface cleaned and tinned anew: what was heated too "
            "long or was dirty below its plating lets go again."
        ),
        stage="soldered",
        joint_types=SOLDERED,
        severity="major",
        demerits=25,
        accept_drawing="wetting-accept",
        reject_drawing="dewetting-reject",
        document=NASA_PICTORIAL,
        clause="6.01",
        source_note=(
            "Read there: slight dewetting at the rim of the component side's land is not rejected. "
            "That dewetting rejects otherwise is named in lists of defects, from memory."
        ),
    ),
    CriterionContent(
        code="S-25",
        title=_("Pinholes and blowholes"),
        text=_(
            "The surface is closed. A pinhole whose bottom can be seen, and which is no wider "
            "than allowed, may stay."
        ),
        reject_text=_("A hole is wider than allowed, or its bottom cannot be seen."),
        try_this=_(
            "Gas made it: dry the board or bake it as your site says, clean the hole or the cup, "
            "and give the flux time to leave before the solder closes over it."
        ),
        stage="soldered",
        joint_types=SOLDERED,
        quantity="length",
        high=Decimal("0.25"),
        unit="d",
        severity="major",
        demerits=15,
        accept_drawing="pinhole-accept",
        reject_drawing="blowhole-reject",
        document=NASA_SOLDERING,
        clause="13.6.2",
        source_note=(
            f"{CAPTIONS} They reject a hole whose bottom is not seen; the clause is from memory. "
            "No size was read: a quarter of the conductor's diameter is common practice."
        ),
    ),
    CriterionContent(
        code="S-24",
        title=_("Not overheated, lead-free"),
        text=_(
            "Lead-free solder may be dull, grainy or finely lined from cooling. A tear that "
            "cooling left is shallow, and its bottom can be seen."
        ),
        reject_text=_(
            "The surface is burnt or flakes, or a tear from cooling is deep or reaches wire, lead "
            "or land."
        ),
        try_this=_(
            "Use a larger tip rather than a hotter one, shorten the time, and let the joint cool "
            "without a draught."
        ),
        stage="soldered",
        joint_types=SOLDERED,
        alloys=LEAD_FREE,
        severity="major",
        demerits=15,
        accept_drawing="lead-free-surface-accept",
        reject_drawing="lead-free-tear-reject",
        document=IPC_A_610,
        clause="chapter 5",
        source_note=f"{MEMORY} That a dull lead-free joint may be good is common practice.",
    ),
)

AROUND_THE_JOINT = (
    CriterionContent(
        code="S-26",
        title=_("No spike"),
        text=_("The solder ends smooth: nothing stands up or out of it."),
        reject_text=_("Solder is drawn out to a point or hangs as an icicle."),
        try_this=_(
            "Fresh flux and a clean tip, and leave along the post or lead with a wipe: spikes "
            "come from lifting straight off a joint that grows cold."
        ),
        stage="soldered",
        joint_types=SOLDERED,
        severity="major",
        demerits=10,
        accept_drawing="surface-smooth-accept",
        reject_drawing="spike-reject",
        document=f"{IPC_A_610}, {NASA_SOLDERING}",
        clause="lists of defects",
        source_note=MEMORY,
    ),
    CriterionContent(
        code="S-27",
        title=_("No bridge"),
        text=_("The joint stands alone: no solder joins it to what it should not touch."),
        reject_text=_("Solder joins this joint to another joint, lead, land or conductor."),
        try_this=_(
            "Less solder and a smaller tip between close joints. Draw a bridge off with braid and "
            "fresh flux, and judge both joints again."
        ),
        stage="soldered",
        joint_types=SOLDERED,
        severity="major",
        demerits=25,
        accept_drawing="bridge-accept",
        reject_drawing="bridge-reject",
        document=f"{IPC_A_610}, {NASA_SOLDERING}",
        clause="lists of defects",
        source_note=MEMORY,
    ),
    CriterionContent(
        code="C-02",
        title=_("No splashes, balls or webs"),
        text=_("No stray solder clings to the joint, its insulation or the board beside it."),
        reject_text=_("A splash, a ball or a web of solder clings to the joint or beside it."),
        try_this=_(
            "Wipe the tip instead of flicking it, keep flux from boiling over, and look from the "
            "side with the light low: balls hide in flux."
        ),
        stage="cleaned",
        joint_types=ALL_TYPES,
        severity="major",
        demerits=10,
        accept_drawing="joint-clean-accept",
        reject_drawing="splash-reject",
        document=f"{IPC_A_610}, {NASA_SOLDERING}",
        clause="lists of defects",
        source_note=MEMORY,
    ),
)

IN_THE_BOARD = (
    CriterionContent(
        code="B-06",
        title=_("No white spots in the board"),
        text=_("The board's weave lies quiet below its surface: no white spots or crosses."),
        reject_text=_("White spots or crosses (measling) show below the surface round a joint."),
        try_this=_(
            "Less heat for a shorter time, without pressing; and have boards kept dry before they "
            "are soldered."
        ),
        stage="soldered",
        of="board",
        joint_types=SOLDERED,
        severity="minor",
        demerits=3,
        accept_drawing="board-unharmed-accept",
        reject_drawing="measling-reject",
        document=IPC_A_610,
        clause="chapter 10",
        source_note=(
            f"{MEMORY} Documents differ on whether measling rejects; here it is a remark, and "
            "whatever comes apart is charged as harm from heat."
        ),
    ),
)

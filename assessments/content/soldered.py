"""Criteria for soldered terminals, and for solder on any joint."""

from decimal import Decimal

from django.utils.translation import gettext_noop as _

from . import CriterionContent
from .sources import (
    IPC_A_610,
    J_STD_001C,
    NASA_SOLDERING,
    PICTORIAL,
    PICTORIAL_AND_CAPTIONS,
    SOLDERED,
    STP_25R,
    TERMINALS,
    TERMINALS_AND_CUP,
    TIN_LEAD,
)

ON_TERMINALS = (
    CriterionContent(
        code="S-01",
        title=_("Wetting"),
        text=_("Solder has run out over wire and terminal, and meets them at a flat angle."),
        reject_text=_("Solder stands off the metal, in a ball or with an edge that turns under."),
        try_this=_(
            "Clean and tin what did not wet, then heat it and not the solder: the metal has to "
            "melt the wire of solder by itself."
        ),
        stage="soldered",
        joint_types=(*TERMINALS, "hole"),
        how="measured",
        quantity="wetting_angle",
        high=Decimal(90),
        unit="deg",
        severity="critical",
        demerits=40,
        accept_drawing="wetting-accept",
        reject_drawing="wetting-reject",
        document=IPC_A_610,
        clause="chapter 5, figure 5-1",
        source_note=(
            "Read at second hand in answers of two expert panels, who except solder that runs "
            "over the edge of a land or onto solder mask. A photograph shows a projection: only "
            "a view along the joint line shows the true angle."
        ),
    ),
    CriterionContent(
        code="S-03",
        title=_("Enough solder"),
        text=_(
            "A fillet joins wire and terminal over at least three quarters of the wrap asked "
            "for; where less than half a turn is asked for, over all of it."
        ),
        reject_text=_("Part of the wrap has no fillet, or only a thread of solder."),
        try_this=_(
            "Stay until solder has run round to the far side, and turn the work to look there "
            "before you leave the joint."
        ),
        stage="soldered",
        joint_types=TERMINALS,
        severity="major",
        demerits=25,
        accept_drawing="fillet-concave",
        reject_drawing="fillet-insufficient",
        document=J_STD_001C,
        clause="terminals",
        source_note=(
            "Read in an excerpt of an older revision: check against the one you bought. A small "
            "fillet may look pleasing and still lack strength."
        ),
    ),
    CriterionContent(
        code="S-04",
        title=_("Strands to be seen"),
        text=_("The fillet is hollow and feathers out, and the wire's outline shows under it."),
        reject_text=_("The solder bulges and hides the wire: its state cannot be judged."),
        try_this=_(
            "Stop feeding while you can still count strands. What is too much can be drawn off "
            "once with a clean, tinned tip."
        ),
        stage="soldered",
        joint_types=TERMINALS,
        quantity="fillet",
        low=Decimal(0),
        unit="ratio",
        severity="major",
        demerits=15,
        accept_drawing="fillet-concave",
        reject_drawing="fillet-convex",
        document=STP_25R,
        clause="A-12",
        source_note=(
            "Read there in words; the measure, sagitta over chord and negative for a bulge, is "
            "common practice and helps where the eye is in doubt."
        ),
    ),
    CriterionContent(
        code="S-05",
        title=_("Insulation clearance"),
        text=_("The gap from the terminal to the insulation is no longer than allowed."),
        reject_text=_("Too much bare wire is left between terminal and insulation."),
        try_this=_(
            "Slide the insulation to about one overall diameter from the terminal before the "
            "last bend, and check it again before the iron comes near."
        ),
        stage="soldered",
        joint_types=TERMINALS_AND_CUP,
        how="measured",
        quantity="clearance",
        # Insulation that lies in the joint is S-06's alone, so that it counts once.
        high=Decimal(2),
        unit="D",
        datum="terminal",
        severity="major",
        demerits=15,
        accept_drawing="clearance-accept",
        reject_drawing="clearance-reject-wide",
        document=NASA_SOLDERING,
        clause="9.1.1, 13.6.2.a.2",
        source_note=(
            f"{PICTORIAL} One page of it counts wire diameters and another insulated ones; "
            "insulated diameters (D) are used. An Army guide asks for at least one."
        ),
    ),
    CriterionContent(
        code="S-06",
        title=_("Insulation out of the solder"),
        text=_("The wire can be seen all round between insulation and solder."),
        reject_text=_("The insulation touches the solder or runs into it."),
        try_this=_(
            "Leave a little more gap: insulation creeps towards the joint as it warms. Heat from "
            "the side away from it."
        ),
        stage="soldered",
        joint_types=TERMINALS_AND_CUP,
        severity="major",
        demerits=20,
        accept_drawing="clearance-accept",
        reject_drawing="clearance-reject-embedded",
        document=NASA_SOLDERING,
        clause="9.1.1–9.1.2",
        source_note=PICTORIAL,
    ),
    CriterionContent(
        code="S-07",
        title=_("Insulation unharmed by heat"),
        text=_("The insulation is whole; a slight change of colour is allowed."),
        reject_text=_("The insulation is burnt, melted, blistered or drawn back."),
        try_this=_(
            "Keep the iron's shank off the wire, use a larger tip for a shorter time, and let "
            "the joint cool before a second try."
        ),
        stage="soldered",
        joint_types=TERMINALS_AND_CUP,
        severity="major",
        demerits=15,
        accept_drawing="insulation-sound",
        reject_drawing="insulation-charred",
        document=NASA_SOLDERING,
        clause="13.6.2.a.1",
        source_note=PICTORIAL,
    ),
)

ON_ANY_JOINT = (
    CriterionContent(
        code="S-08",
        title=_("Surface"),
        text=_("The solder has flowed: its surface is smooth, closed and without lumps."),
        reject_text=_("The surface is lumpy or piled up, or has pits whose bottom is not seen."),
        try_this=_(
            "Bring more heat, not more solder: a larger clean tip, a bridge of solder under it, "
            "and time for the whole joint to melt at once."
        ),
        stage="soldered",
        joint_types=SOLDERED,
        severity="major",
        demerits=15,
        accept_drawing="surface-smooth-accept",
        reject_drawing="surface-cold-reject",
        document=NASA_SOLDERING,
        clause="13.6.1.f",
        source_note=PICTORIAL_AND_CAPTIONS,
    ),
    CriterionContent(
        code="S-09",
        title=_("Set at rest"),
        text=_("The solder set without being moved: no crack, step or ripple."),
        reject_text=_("There is a crack, or ripples and a frosty band where the wire moved."),
        try_this=_(
            "Fix the wire before you solder and not with your free hand; count two after the "
            "iron leaves. To mend it, melt the whole joint once more with fresh flux."
        ),
        stage="soldered",
        joint_types=SOLDERED,
        severity="major",
        demerits=20,
        accept_drawing="surface-smooth-accept",
        reject_drawing="surface-moved-reject",
        document=NASA_SOLDERING,
        clause="13.6.1.f",
        source_note=PICTORIAL_AND_CAPTIONS,
    ),
    CriterionContent(
        code="S-10",
        title=_("Lustre of tin-lead"),
        text=_("Tin-lead solder is satin to bright. A lead-free joint may be dull and good."),
        reject_text=_("Tin-lead solder is chalky or grainy, as after too much heat."),
        try_this=_("Lower the temperature or shorten the time, and do not melt a joint again."),
        stage="soldered",
        joint_types=SOLDERED,
        alloys=TIN_LEAD,
        severity="minor",
        demerits=3,
        accept_drawing="surface-smooth-accept",
        reject_drawing="surface-grainy-reject",
        document=NASA_SOLDERING,
        clause="13.6.1.f",
        source_note=f"{PICTORIAL} That lead-free joints may be dull is common practice.",
    ),
)

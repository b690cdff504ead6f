"""Criteria for wire, strands and insulation that came with revision 3."""

from decimal import Decimal

from django.utils.translation import gettext_noop as _

from . import CriterionContent
from .sources import (
    MEMORY,
    NASA_CABLES,
    NASA_SOLDERING,
    PICTORIAL,
    PRACTICE,
    SOLDERED,
    TERMINALS,
    TERMINALS_AND_CUP,
)

ON_TINNED_WIRE = (
    CriterionContent(
        code="P-10",
        title=_("Tinning wetted"),
        text=_("Solder clings to every strand of the tinned part."),
        reject_text=_("Bare patches are left, or the solder has drawn back into beads."),
        try_this=_(
            "Tin soon after stripping, before the strands dull; use fresh flux, and do not touch "
            "them with bare fingers."
        ),
        stage="prepared",
        joint_types=("wire",),
        severity="major",
        demerits=15,
        accept_drawing="tinning-thin",
        reject_drawing="tinning-beads",
        document=NASA_SOLDERING,
        clause="chapter 7",
        source_note=MEMORY,
    ),
    CriterionContent(
        code="P-11",
        title=_("Tinning flowed"),
        text=_("The coat has flowed and has set at rest: its surface is smooth."),
        reject_text=_("The coat is lumpy, rippled or frosty."),
        try_this=_(
            "Clean and tin the tip first, bring the heat quickly, and let the wire lie still "
            "until the shine settles."
        ),
        stage="prepared",
        joint_types=("wire",),
        severity="major",
        demerits=10,
        accept_drawing="tinning-thin",
        reject_drawing="tinning-rough",
        source_note=PRACTICE,
    ),
)

ON_FORMED_WIRE = (
    CriterionContent(
        code="F-14",
        title=_("Every strand in the wrap"),
        text=_("All strands follow the wrap together."),
        reject_text=_("A strand has left the wrap and stands out of it."),
        try_this=_(
            "Close the strands in their own lay before you tin them, and look from above before "
            "the iron comes near."
        ),
        stage="formed",
        joint_types=TERMINALS,
        severity="major",
        demerits=15,
        accept_drawing="turret-wrap-inside-accept",
        reject_drawing="turret-strand-astray",
        source_note=PRACTICE,
    ),
    CriterionContent(
        code="F-15",
        title=_("Stress relief"),
        text=_("Wire or lead comes to the joint in an easy bend, and pulls at nothing."),
        reject_text=_("Wire or lead is drawn tight or kinked, so that the joint carries its pull."),
        try_this=_(
            "Form the bend before the wrap, over a smooth pin, and leave enough length for one "
            "repair."
        ),
        stage="formed",
        joint_types=SOLDERED,
        severity="major",
        demerits=10,
        accept_drawing="stress-relief-accept",
        reject_drawing="stress-relief-reject",
        source_note=PRACTICE,
    ),
)

ON_SOLDERED_WIRE = (
    CriterionContent(
        code="S-19",
        title=_("Insulation clearance at the cup"),
        text=_(
            "The gap between the cup's lip and the insulation is no longer than allowed. "
            "Insulation that touches the solder is charged under its own criterion, and not here "
            "as well."
        ),
        reject_text=_("Too much bare wire is left between lip and insulation."),
        try_this=_(
            "Mark the insulation where it meets the lip when you try the wire dry, and strip to "
            "that mark."
        ),
        stage="soldered",
        joint_types=("cup",),
        high=Decimal(2),
        unit="D",
        severity="major",
        demerits=15,
        accept_drawing="cup-clearance-accept",
        reject_drawing="cup-clearance-reject",
        document=NASA_SOLDERING,
        clause="9.1.1, 13.6.2.a.2",
        source_note=(
            f"{PICTORIAL} It speaks of terminals and counts wire diameters on one page and "
            "insulated ones on another; insulated diameters (D) are used. By eye, since the lip "
            "slopes and a photograph shows no one edge of it."
        ),
    ),
    CriterionContent(
        code="S-20",
        title=_("No solder under the insulation"),
        text=_("Next to the insulation the strands keep their own shape and stay supple."),
        reject_text=_(
            "Solder has run under the insulation: the wire is stiff, swollen or discoloured there."
        ),
        try_this=_(
            "Hold the wire next to its insulation with anti-wicking tweezers, heat from the far "
            "side, and leave as soon as the joint is wetted."
        ),
        stage="soldered",
        joint_types=TERMINALS_AND_CUP,
        severity="major",
        demerits=10,
        accept_drawing="wicking-accept",
        reject_drawing="wicking-reject",
        document=NASA_SOLDERING,
        clause="chapter 7",
        source_note=(
            f"{MEMORY} Texts disagree: one does not reject solder under the insulation by itself, "
            f"legacy slides reject too much of it. {NASA_CABLES}, 20.1.2 was read: wires are not "
            "moved to help inspection, so stiffness is judged by how the wire looks."
        ),
    ),
)

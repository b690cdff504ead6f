"""Criteria for wire and leads before they are formed."""

from decimal import Decimal

from django.utils.translation import gettext_noop as _

from . import CriterionContent
from .sources import (
    EXCERPT,
    J_STD_001,
    MEMORY,
    NASA_CABLES,
    NASA_PICTORIAL,
    NASA_SOLDERING,
    NEETS_4,
    PICTORIAL,
    PRACTICE,
    STRANDED,
)

PREPARED = (
    CriterionContent(
        code="P-01",
        title=_("Strands whole"),
        text=_("Every strand is there and whole."),
        reject_text=_("A strand is nicked, cut, scraped or missing."),
        try_this=_(
            "Check that the die or stop matches this wire, strip one trial end and look at it "
            "under magnification before you strip the rest."
        ),
        stage="prepared",
        joint_types=STRANDED,
        severity="major",
        demerits=25,
        accept_drawing="strand-sound",
        reject_drawing="strand-nicked",
        document=NASA_CABLES,
        clause="rejection list",
        source_note=(
            "As cited by NASA's workmanship programme. FAA AC 43.13-1B lets 2 of 19 strands be "
            "nicked, and IPC-A-610 has a table by class (from memory): the strictest is used."
        ),
    ),
    CriterionContent(
        code="P-02",
        title=_("Strand lay"),
        text=_(
            "The strands lie together in their own twist: no gap between them is wider than one "
            "strand, and none bulges out further than the insulation."
        ),
        reject_text=_("Strands stand apart like a cage, or their twist has been undone."),
        try_this=_(
            "Pull the cut insulation off with a turn in the direction of the lay, and close "
            "open strands the same way before tinning."
        ),
        stage="prepared",
        joint_types=("cup", "wire"),
        severity="major",
        demerits=10,
        accept_drawing="strand-sound",
        reject_drawing="strand-birdcage",
        document=J_STD_001,
        clause="wire preparation",
        source_note=EXCERPT,
    ),
    CriterionContent(
        code="P-03",
        title=_("Insulation whole"),
        text=_(
            "The insulation is whole. A light scuff, or a slight change of colour from thermal "
            "stripping, is allowed."
        ),
        reject_text=_("The insulation is nicked, cut, crushed or charred."),
        try_this=_(
            "Grip the wire only as hard as it takes to hold it, and turn the heat of a thermal "
            "stripper down until the insulation parts without browning."
        ),
        stage="prepared",
        joint_types=("wire",),
        severity="major",
        demerits=15,
        accept_drawing="insulation-sound",
        reject_drawing="insulation-cut",
        document=NASA_SOLDERING,
        clause="7.2.2, 13.6.2.a.1",
        source_note=PICTORIAL,
    ),
    CriterionContent(
        code="P-04",
        title=_("Insulation edge"),
        text=_("The insulation ends clean and square; flash on its edge stays short."),
        reject_text=_("A long tongue or ragged flash of insulation is left over the strands."),
        try_this=_(
            "Close the jaws fully and hold the wire square to them; pull only when the "
            "insulation has parted all the way round."
        ),
        stage="prepared",
        joint_types=("wire",),
        quantity="length",
        high=Decimal("0.25"),
        unit="D",
        severity="minor",
        demerits=5,
        accept_drawing="insulation-edge-clean",
        reject_drawing="insulation-edge-flash",
        document=NASA_CABLES,
        clause="10.1.6",
        source_note=PICTORIAL,
    ),
    CriterionContent(
        code="P-05",
        title=_("Strip length"),
        text=_("The bare length is the one the exercise calls for."),
        reject_text=_("The wire is stripped too short to go round, or longer than called for."),
        try_this=_(
            "Set the stop and measure the first end on a rule; measure again after every fifth."
        ),
        stage="prepared",
        joint_types=("wire",),
        how="measured",
        quantity="length",
        low=Decimal(7),
        high=Decimal(9),
        unit="mm",
        severity="major",
        demerits=10,
        accept_drawing="strip-length-accept",
        reject_drawing="strip-length-reject",
        source_note="Common practice: 8 mm called for, give or take 1 mm.",
    ),
    CriterionContent(
        code="P-06",
        title=_("Bare strands next to the insulation"),
        text=_("Between the insulation and the tinning a short length of bare strands is left."),
        reject_text=_("The tinning reaches the insulation or has run under it."),
        try_this=_(
            "Tin the outer half only: melt solder towards the insulation first, then draw it "
            "away and off the end. Anti-wicking tweezers at the insulation stop the rest."
        ),
        stage="prepared",
        joint_types=("wire",),
        severity="major",
        demerits=10,
        accept_drawing="tinning-gap",
        reject_drawing="tinning-no-gap",
        document=NEETS_4,
        clause="answers A23–A24",
        source_note=(
            "Read there: half of the stripped length is tinned, to keep the wire supple. Texts "
            "disagree on solder that has run under the insulation; here it is rejected."
        ),
    ),
    CriterionContent(
        code="P-07",
        title=_("Tinning thin"),
        text=_("A thin, smooth coat wets every strand, and the strands can be seen through it."),
        reject_text=_("The coat is lumpy, hangs in a drop, or hides the strands."),
        try_this=_(
            "Use less solder and more flux, and wipe the tip off the end of the wire while it "
            "is still molten."
        ),
        stage="prepared",
        joint_types=("wire",),
        severity="major",
        demerits=10,
        accept_drawing="tinning-thin",
        reject_drawing="tinning-lump",
        document=NASA_SOLDERING,
        clause="chapter 7",
        source_note=MEMORY,
    ),
    CriterionContent(
        code="P-08",
        title=_("Cut end"),
        text=_("The strands end square and together."),
        reject_text=_("The end is crushed, or strands end at different lengths."),
        try_this=_("Cut with a sharp flush cutter, square to the wire, in one stroke."),
        stage="prepared",
        joint_types=("wire",),
        severity="minor",
        demerits=5,
        accept_drawing="wire-end-square",
        reject_drawing="wire-end-crushed",
        source_note=PRACTICE,
    ),
    CriterionContent(
        code="P-09",
        title=_("Lead whole"),
        text=_(
            "The lead is whole. Smooth marks of a tool that bare no base metal and take none "
            "away are allowed."
        ),
        reject_text=_("The lead is nicked or gouged, or base metal shows where it is marked."),
        try_this=_("Bend with smooth, rounded jaws, and never grip a lead with the cutter."),
        stage="prepared",
        joint_types=("hole",),
        severity="major",
        demerits=15,
        accept_drawing="lead-sound",
        reject_drawing="lead-nicked",
        document=NASA_PICTORIAL,
        clause="1.02",
        source_note="Read in that reference, where it speaks of conductors; used here for leads.",
    ),
)

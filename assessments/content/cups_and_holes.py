"""Criteria for soldered cups and plated through-holes."""

from decimal import Decimal

from django.utils.translation import gettext_noop as _

from . import CriterionContent
from .sources import IPC_A_610, J_STD_001, J_STD_001C, MEMORY, SECOND_HAND

IN_CUPS = (
    CriterionContent(
        code="S-02",
        title=_("Wetting in the cup"),
        text=_("A fillet joins wire and cup wherever they touch, and solder clings to both."),
        reject_text=_("Solder bulges and turns away from wire or wall, or a void shows."),
        try_this=_(
            "Tin wire and cup first, then heat the wall from outside until solder and flux are "
            "quiet before the wire goes in."
        ),
        stage="soldered",
        joint_types=("cup",),
        severity="critical",
        demerits=40,
        accept_drawing="cup-fill-accept",
        reject_drawing="cup-wetting-reject",
        document=J_STD_001C,
        clause="cup terminals",
        source_note="Read in an excerpt of an older revision: check against the one you bought.",
    ),
    CriterionContent(
        code="S-11",
        title=_("Fill of the cup"),
        text=_("Solder fills the cup and follows the slope of its lip."),
        reject_text=_("The cup is not filled far enough."),
        try_this=_(
            "Cut the solder to a measured length, found out on one trial cup, and use the same "
            "length for all of them."
        ),
        stage="soldered",
        joint_types=("cup",),
        how="measured",
        quantity="fill",
        low=Decimal(75),
        unit="percent",
        severity="major",
        demerits=20,
        accept_drawing="cup-fill-accept",
        reject_drawing="cup-fill-reject",
        document=IPC_A_610,
        clause="chapter 6",
        source_note=MEMORY,
    ),
    CriterionContent(
        code="S-12",
        title=_("Outside of the cup"),
        text=_("The outside is clean; a thin film that changes no shape is allowed."),
        reject_text=_("Solder has run over and stands on the outside wall."),
        try_this=_("Use less solder, and lower the wire slowly so that it does not push it over."),
        stage="soldered",
        joint_types=("cup",),
        severity="major",
        demerits=10,
        accept_drawing="cup-hole-accept",
        reject_drawing="cup-outside-reject",
        document=IPC_A_610,
        clause="chapter 6",
        source_note=(
            "The fault is named in captions of legacy training slides, read at second hand; that "
            "a film is allowed is from memory: check in the document."
        ),
    ),
    CriterionContent(
        code="S-13",
        title=_("Inspection hole"),
        text=_("Solder shows in the inspection hole. A cup without one: not applicable."),
        reject_text=_("The inspection hole is empty."),
        try_this=_("Heat the wall at the height of the hole, and wait until solder shows there."),
        stage="soldered",
        joint_types=("cup",),
        severity="major",
        demerits=15,
        accept_drawing="cup-hole-accept",
        reject_drawing="cup-hole-reject",
        document=f"{J_STD_001}, {IPC_A_610}",
        clause="cup terminals",
        source_note=SECOND_HAND,
    ),
)

IN_HOLES = (
    CriterionContent(
        code="S-14",
        title=_("Fill of the hole"),
        text=_("Solder has risen through the hole, best of all to the top."),
        reject_text=_("The hole is not filled far enough."),
        try_this=_(
            "Heat land and lead together with a tip as wide as the land, and feed until a fillet "
            "shows on the far side."
        ),
        stage="soldered",
        joint_types=("hole",),
        how="measured",
        quantity="fill",
        low=Decimal(75),
        unit="percent",
        severity="major",
        demerits=25,
        accept_drawing="hole-fill-accept",
        reject_drawing="hole-fill-reject",
        document=IPC_A_610,
        clause="7.3.5.1, table 7-4",
        source_note=(
            "Read in an excerpt, classes 2 and 3 with fewer than 14 leads: check against the "
            "revision you bought. The NASA pictorial reference prefers a full hole."
        ),
    ),
    CriterionContent(
        code="S-15",
        title=_("Fillet on the soldered side"),
        text=_("On the side soldered from, the fillet wets lead and barrel all the way round."),
        reject_text=_("Part of the circle has no fillet."),
        try_this=_("Move the tip round the lead, or turn the board and look from the far side."),
        stage="soldered",
        joint_types=("hole",),
        low=Decimal(330),
        unit="deg",
        severity="major",
        demerits=20,
        accept_drawing="hole-source-accept",
        reject_drawing="hole-source-reject",
        document=IPC_A_610,
        clause="7.3.5.4",
        source_note=f"The value of class 3, seen on a poster. {SECOND_HAND}",
    ),
    CriterionContent(
        code="S-16",
        title=_("Wetting on the component side"),
        text=_("On the component side solder wets lead and barrel most of the way round."),
        reject_text=_("Too little of lead and barrel is wetted on the component side."),
        try_this=_("Stay a moment longer once the hole is full: the far side is cooler."),
        stage="soldered",
        joint_types=("hole",),
        low=Decimal(270),
        unit="deg",
        severity="major",
        demerits=15,
        accept_drawing="hole-component-accept",
        reject_drawing="hole-component-reject",
        document=IPC_A_610,
        clause="7.3.5.2",
        source_note=(
            "The value of class 3, read in an excerpt: check against the revision you bought. "
            "Class 2 asks for less; the NASA pictorial reference prefers all round."
        ),
    ),
    CriterionContent(
        code="S-17",
        title=_("Lead end to be seen"),
        text=_("The end of the lead can be seen in the fillet."),
        reject_text=_("Solder covers the end of the lead, so that its state cannot be seen."),
        try_this=_("Stop feeding while the end shows, and lift the tip along the lead."),
        stage="soldered",
        joint_types=("hole",),
        severity="major",
        demerits=10,
        accept_drawing="hole-fill-accept",
        reject_drawing="hole-excess-reject",
        document=IPC_A_610,
        clause="7.3.5",
        source_note=(
            "Read in an excerpt, where it is a defect or a remark by class; here it rejects, "
            "since what is hidden cannot be accepted."
        ),
    ),
)

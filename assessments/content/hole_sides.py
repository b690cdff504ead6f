"""Criteria for soldered plated holes that came with revision 3."""

from decimal import Decimal

from django.utils.translation import gettext_noop as _

from . import CriterionContent
from .sources import IPC_A_610, MEMORY, SECOND_HAND

ON_EITHER_SIDE = (
    CriterionContent(
        code="S-22",
        title=_("Enough solder on the land"),
        text=_("On the side soldered from, the fillet runs out over most of the land."),
        reject_text=_("The fillet is a thin collar and leaves too much of the land bare."),
        try_this=_(
            "Lay the tip on land and lead at once, and keep feeding until solder has run out to "
            "the edge of the land."
        ),
        stage="soldered",
        joint_types=("hole",),
        low=Decimal(75),
        unit="percent",
        severity="major",
        demerits=20,
        accept_drawing="hole-land-accept",
        reject_drawing="hole-land-reject",
        document=IPC_A_610,
        clause="7.3.5.5",
        source_note=f"Seen on a poster for class 3. {SECOND_HAND}",
    ),
    CriterionContent(
        code="S-23",
        title=_("Solder clear of the body"),
        text=_("Solder ends below the bend of the lead, and none touches the part's body."),
        reject_text=_("Solder has risen into the bend of the lead, or touches body or seal."),
        try_this=_(
            "Stop feeding once the fillet shows on the far side, and hold the part clear of the "
            "board while you solder."
        ),
        stage="soldered",
        joint_types=("hole",),
        severity="major",
        demerits=15,
        accept_drawing="body-clear-accept",
        reject_drawing="body-solder-reject",
        document=IPC_A_610,
        clause="7.3.5",
        source_note=MEMORY,
    ),
)

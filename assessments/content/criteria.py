"""The two revisions of the criteria set: the current one, and the one it replaced.

Revision 1 is written as what it did differently, so that the two can be compared at a glance.
"""

from dataclasses import replace
from decimal import Decimal

from django.utils.translation import gettext_noop as _

from . import CriteriaSetContent, CriterionContent
from .cleaned import BOARD, CLEANED
from .cups_and_holes import IN_CUPS, IN_HOLES
from .formed import FORMED
from .prepared import PREPARED
from .soldered import ON_ANY_JOINT, ON_TERMINALS
from .sources import (
    ALLOYS,
    LEAD_FREE,
    MEMORY,
    NASA_SOLDERING,
    PICTORIAL,
    TIN_LEAD,
)

__all__ = ["ALLOYS", "LEAD_FREE", "REVISIONS", "REVISION_1", "REVISION_2", "TIN_LEAD"]

TITLE = _("Workmanship")


def _in_order(*criteria: CriterionContent) -> tuple[CriterionContent, ...]:
    """Put criteria into the order of the work, the board's own after the joints', by code."""
    stages = ("prepared", "formed", "soldered", "cleaned")
    return tuple(
        sorted(
            criteria,
            key=lambda criterion: (
                stages.index(criterion.stage),
                criterion.of == "board",
                criterion.code,
            ),
        )
    )


REVISION_2 = CriteriaSetContent(
    title=TITLE,
    revision=2,
    summary=_(
        "Wire, terminals, cups and plated holes, from legacy NASA texts and excerpts of IPC "
        "ones. No limit has been confirmed against a document of this site."
    ),
    retired=False,
    criteria=_in_order(
        *PREPARED, *FORMED, *ON_TERMINALS, *ON_ANY_JOINT, *IN_CUPS, *IN_HOLES, *CLEANED, *BOARD
    ),
)

NOT_YET = {"P-04", "S-10", "S-13", "B-02"}
"""Criteria that came with revision 2."""

OTHERWISE = {
    # No angle was measured: wetting was judged by eye.
    "S-01": {
        "how": "eye",
        "quantity": "",
        "high": None,
        "unit": "",
        "document": NASA_SOLDERING,
        "clause": "13.6.1.f",
        "source_note": PICTORIAL,
    },
    "F-01": {
        "high": Decimal(360),
        "document": "",
        "clause": "",
        "source_note": "Common practice: half a turn where it must come off, a full turn at most.",
    },
    "S-05": {
        "unit": "d",
        "source_note": (
            f"{PICTORIAL} Conductor diameters (d) were counted; revision 2 counts insulated ones."
        ),
    },
    "F-12": {
        "high": Decimal("2.29"),
        "source_note": MEMORY,
    },
}
"""What revision 1 said otherwise, by code."""


def _revision_1() -> tuple[CriterionContent, ...]:
    return tuple(
        replace(criterion, **OTHERWISE.get(criterion.code, {}))  # type: ignore[arg-type]
        for criterion in REVISION_2.criteria
        if criterion.code not in NOT_YET
    )


REVISION_1 = CriteriaSetContent(
    title=TITLE,
    revision=1,
    summary=_(
        "The first set: wetting was judged by eye, a turret wrap could be a full turn, and "
        "clearance was counted in conductor diameters."
    ),
    retired=True,
    criteria=_revision_1(),
)

REVISIONS = (REVISION_1, REVISION_2)
"""Oldest first."""

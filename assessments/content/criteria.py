"""The revisions of the criteria set: the current one, and those it replaced.

A revision that was published never changes. Revision 2 stands as it was written; revisions 1 and
3 are written as what they say otherwise, so that each can be compared with it at a glance.
"""

from dataclasses import replace
from decimal import Decimal

from django.utils.translation import gettext_noop as _

from . import CriteriaSetContent, CriterionContent
from .cleaned import BOARD, CLEANED
from .cups_and_holes import IN_CUPS, IN_HOLES
from .formed import FORMED
from .hole_sides import ON_EITHER_SIDE
from .prepared import PREPARED
from .solder_faults import AROUND_THE_JOINT, IN_THE_BOARD, IN_THE_SOLDER
from .soldered import ON_ANY_JOINT, ON_TERMINALS
from .sources import (
    ALLOYS,
    IPC_A_610,
    LEAD_FREE,
    MEMORY,
    NASA_SOLDERING,
    PICTORIAL,
    STRANDED,
    TERMINALS,
    TIN_LEAD,
)
from .wired_joints import ON_FORMED_WIRE, ON_SOLDERED_WIRE, ON_TINNED_WIRE

__all__ = [
    "ALLOYS",
    "LEAD_FREE",
    "NEWEST",
    "REVISIONS",
    "REVISION_1",
    "REVISION_2",
    "REVISION_3",
    "TIN_LEAD",
]

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
    retired=True,
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

GONE_SINCE_2 = {
    "S-16",  # How far a hole is filled and wetted on the component side is one look, S-14.
    "B-04",  # Spikes, bridges and splashes are charged to the joint: S-26, S-27, C-02.
}
"""Criteria that revision 3 no longer has."""

OTHERWISE_SINCE_2 = {
    # Birdcaging and harm to the insulation matter wherever there is wire.
    "P-02": {
        "joint_types": STRANDED,
        "reject_text": _(
            "Strands stand apart like a cage, one stands off by itself, or their twist has been "
            "undone."
        ),
    },
    "P-03": {"joint_types": STRANDED},
    "P-06": {
        "text": _(
            "Between the insulation and the tinning a short length of bare strands is left, and "
            "it is supple."
        ),
        "reject_text": _(
            "The tinning reaches the insulation or has run under it, and makes the wire stiff."
        ),
    },
    "P-07": {
        "text": _("The coat is thin and even up to its end, and the strands show through it."),
        "reject_text": _("The coat is thick, ends in a drop or a spike, or hides the strands."),
    },
    # What the drawings of acceptable work showed stood on the limit.
    "F-01": {
        "accept_drawing": "turret-wrap-inside-accept",
        "reject_drawing": "turret-wrap-short-reject",
    },
    "F-02": {"accept_drawing": "bifurcated-wrap-inside-accept"},
    "F-03": {
        "high": Decimal(270),
        "reject_text": _("The wire does not go far enough round to hold, or goes too far round."),
        "accept_drawing": "hook-wrap-inside-accept",
        "source_note": (
            "The least wrap was read in an excerpt: check against the revision you bought. That "
            "it goes no further than the upper limit is from memory of NASA-STD-8739.3, chapter 9."
        ),
    },
    "F-04": {"accept_drawing": "pierced-wrap-inside-accept"},
    "F-13": {"accept_drawing": "lead-bend-inside-accept"},
    # The bend of one wire is asked of its joint, F-15.
    "B-02": {
        "text": _("Wires run side by side in even bends, and none crosses another."),
        "reject_text": _("A wire crosses the others or leaves their run."),
        "try_this": _("Lay all wires in before you bend the first, and bend them over one pin."),
    },
    # A void is charged once, to S-25.
    "S-02": {
        "reject_text": _(
            "Solder turns away from wire or wall, or leaves a part of them bare inside the cup."
        ),
    },
    # Insulation in the solder is charged once, to S-06.
    "S-05": {
        "text": _(
            "The gap from the terminal to the insulation is no longer than allowed. Insulation "
            "that touches the solder is charged under its own criterion, and not here as well."
        ),
        "reject_text": _("Too much bare wire is left between terminal and insulation."),
        "joint_types": TERMINALS,
        "low": None,
        "datum": "terminal",
    },
    "S-06": {
        "text": _(
            "The wire can be seen all round between insulation and solder. Insulation in the "
            "solder is charged here alone."
        ),
    },
    "S-08": {
        "title": _("Flowed"),
        "text": _("The solder has flowed as one: its surface is smooth and without lumps."),
        "reject_text": _("The surface is lumpy or piled up, as with too little heat."),
    },
    "S-09": {
        "text": _("The solder set without being moved: no step, ripple or frosty band."),
        "reject_text": _("There are ripples, steps or a frosty band where the wire moved."),
        "reject_drawing": "surface-ripples-reject",
    },
    "S-10": {
        "title": _("Not overheated, tin-lead"),
        "text": _("Tin-lead solder is satin to bright."),
        "demerits": 5,
        "source_note": PICTORIAL,
    },
    "S-12": {
        "title": _("Solder inside the cup"),
        "text": _(
            "Solder ends at the lip and the wire shows above it. The outside is clean; a thin "
            "film that changes no shape is allowed."
        ),
        "reject_text": _(
            "Solder bulges over the lip and hides the wire, or has run over and stands on the "
            "outside wall."
        ),
        "demerits": 15,
    },
    # What a photograph cannot show is not measured on one.
    "S-14": {
        "text": _(
            "By eye from both sides; the fillet on the soldered side has its own criterion. From "
            "the component side, quarter by quarter of the circle: solder wets lead and barrel as "
            "far round as asked for, and nowhere stands deeper in the hole than a quarter of the "
            "board's thickness. A photograph does not show that. Where the eye is in doubt, a "
            "section or an X-ray gives the figure: filled for at least three quarters of the "
            "thickness."
        ),
        "reject_text": _(
            "More than one quarter of the circle shows no solder, or it stands too deep to be "
            "sure of."
        ),
        "how": "eye",
        "quantity": "",
        "low": Decimal(270),
        "unit": "deg",
        "accept_drawing": "hole-quarters-accept",
        "reject_drawing": "hole-quarters-reject",
        "document": IPC_A_610,
        "clause": "7.3.5.1–7.3.5.2, table 7-4",
        "source_note": (
            "Read in an excerpt: three quarters of the thickness for classes 2 and 3 with fewer "
            "than 14 leads, and the wetting of class 3. Check against the revision you bought. "
            "The NASA pictorial reference prefers a full hole; looking by quarters is common "
            "practice."
        ),
    },
    "S-17": {
        "title": _("Not too much solder"),
        "text": _("The fillet is hollow, and the outline and the end of the lead show in it."),
        "reject_text": _(
            "Solder bulges or covers the end of the lead, so that its state cannot be seen."
        ),
    },
}
"""What revision 3 says otherwise than revision 2, by code."""


def _revision_3() -> tuple[CriterionContent, ...]:
    kept = (
        replace(criterion, **OTHERWISE_SINCE_2.get(criterion.code, {}))  # type: ignore[arg-type]
        for criterion in REVISION_2.criteria
        if criterion.code not in GONE_SINCE_2
    )
    return _in_order(
        *kept,
        *ON_TINNED_WIRE,
        *ON_FORMED_WIRE,
        *ON_SOLDERED_WIRE,
        *IN_THE_SOLDER,
        *AROUND_THE_JOINT,
        *ON_EITHER_SIDE,
        *IN_THE_BOARD,
    )


REVISION_3 = CriteriaSetContent(
    title=TITLE,
    revision=3,
    summary=_(
        "Every kind of joint with each of its faults under a criterion of its own; the fill of "
        "plated holes is judged by eye. From legacy NASA texts, excerpts of IPC ones, memory and "
        "common practice, as each criterion says. No limit has been confirmed against a document "
        "of this site."
    ),
    retired=False,
    criteria=_revision_3(),
)

REVISIONS = (REVISION_1, REVISION_2, REVISION_3)
"""Oldest first."""

NEWEST = REVISIONS[-1]
"""What a new site begins with; the others are history."""

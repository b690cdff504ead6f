"""Criteria for clean joints, and for the board as a whole."""

from django.utils.translation import gettext_noop as _

from . import CriterionContent
from .sources import (
    ALL_TYPES,
    IPC_A_610,
    MEMORY,
    NASA_SOLDERING,
    NEETS_4,
    PRACTICE,
    SOLDERED,
    TERMINALS_AND_CUP,
)

CLEANED = (
    CriterionContent(
        code="C-01",
        title=_("Clean"),
        text=_("No flux and no other dirt is left on the joint or beside it."),
        reject_text=_("Flux, fibres, fingerprints or other dirt can be seen."),
        try_this=_(
            "Brush with fresh solvent and lift it off with a dry wipe before it dries: what "
            "dries on the board stays there."
        ),
        stage="cleaned",
        joint_types=ALL_TYPES,
        severity="major",
        demerits=10,
        accept_drawing="joint-clean-accept",
        reject_drawing="joint-clean-reject",
        document=NASA_SOLDERING,
        clause="chapters 12 and 13",
        source_note=MEMORY,
    ),
)

BOARD = (
    CriterionContent(
        code="B-01",
        title=_("Terminals and lands ready"),
        text=_("Terminals are upright and tight, lands lie flat, and all are clean and bright."),
        reject_text=_("A terminal leans or turns, or a land is lifted or dull."),
        try_this=_("Look the bare board over before you begin, and hand a bad one back."),
        stage="prepared",
        of="board",
        joint_types=SOLDERED,
        severity="major",
        demerits=10,
        accept_drawing="board-ready-accept",
        reject_drawing="board-ready-reject",
        source_note=PRACTICE,
    ),
    CriterionContent(
        code="B-02",
        title=_("Wires dressed"),
        text=_("Wires run side by side, each with an easy bend before its terminal."),
        reject_text=_("A wire is drawn tight, kinked or crosses the others."),
        try_this=_("Form the bend before the wrap, over a pin, the same for every wire."),
        stage="formed",
        of="board",
        joint_types=TERMINALS_AND_CUP,
        severity="minor",
        demerits=3,
        accept_drawing="wires-dressed-accept",
        reject_drawing="wires-dressed-reject",
        source_note=PRACTICE,
    ),
    CriterionContent(
        code="B-03",
        title=_("Unharmed by heat"),
        text=_("Board, lands and the bodies that hold the terminals show no harm from heat."),
        reject_text=_("A land is lifted, the board is burnt or has come apart, a body is melted."),
        try_this=_(
            "Two to five seconds a joint. If it does not flow, let it cool and find out why: "
            "waiting with the iron on lifts the land."
        ),
        stage="soldered",
        of="board",
        joint_types=SOLDERED,
        severity="critical",
        demerits=40,
        accept_drawing="board-unharmed-accept",
        reject_drawing="board-unharmed-reject",
        document=f"{IPC_A_610}, {NASA_SOLDERING}",
        clause="lists of defects",
        source_note=MEMORY,
    ),
    CriterionContent(
        code="B-04",
        title=_("Joints apart"),
        text=_("Each joint stands alone: no bridge, spike or splash of solder between them."),
        reject_text=_("Solder joins two joints, stands up as a spike, or has splashed."),
        try_this=_("Less solder, and leave along the post with a wipe: spikes come from lifting."),
        stage="soldered",
        of="board",
        joint_types=SOLDERED,
        severity="major",
        demerits=20,
        accept_drawing="board-clear-accept",
        reject_drawing="board-apart-reject",
        document=f"{IPC_A_610}, {NASA_SOLDERING}",
        clause="lists of defects",
        source_note=MEMORY,
    ),
    CriterionContent(
        code="B-05",
        title=_("Nothing loose"),
        text=_("No clipping, strand or ball of solder is left anywhere on the board."),
        reject_text=_("Something loose lies on the board or under the wires."),
        try_this=_("Hold what you cut, brush the board off, and turn it over and tap it."),
        stage="cleaned",
        of="board",
        joint_types=ALL_TYPES,
        severity="major",
        demerits=10,
        accept_drawing="board-clear-accept",
        reject_drawing="board-loose-reject",
        document=NEETS_4,
        clause="answer A34",
        source_note="Read there of clipped strands; the rest is common practice.",
    ),
)

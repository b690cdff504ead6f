"""Exercises on terminals: turret, bifurcated, hook, pierced."""

from decimal import Decimal

from . import STAGES, ExerciseContent, PassRule, Step
from . import steps as shared
from .layout import TERMINALS, positions
from .wires import AWG_20_ETFE, AWG_22_ETFE, AWG_24_ETFE

TURRET_ONE = ExerciseContent(
    code="EX-TUR-1",
    title="Turret terminal, one wire",
    summary="16 turrets with one wire each, and 2 spare",
    purpose=(
        "To form and solder one wire on a turret so alike from joint to joint that a stranger "
        "cannot tell the first from the last."
    ),
    drawing="turret-wrap-side",
    stages=STAGES,
    positions=(
        *positions(
            10,
            "turret",
            AWG_22_ETFE,
            TERMINALS,
            forming="wrapped about 225°, flat on the base",
        ),
        *positions(
            8,
            "turret",
            AWG_20_ETFE,
            TERMINALS,
            first=11,
            spare=2,
            forming="wrapped about 225°, flat on the base",
        ),
    ),
    steps=(
        *shared.STRIP,
        *shared.TIN,
        Step(
            "formed",
            "Lay the wire in the lowest section, flat on the base: there the load goes into the "
            "board and not into the post.",
            drawing="turret-base-accept",
            shows="accept",
        ),
        Step(
            "formed",
            "Pull it round the post with smooth pliers. Half a turn is the least, and what is "
            "used where the wire must come off again; aim for the middle of the limits.",
            drawing="turret-wrap-inside-accept",
            shows="accept",
        ),
        Step(
            "formed",
            "Hold the insulation about one overall diameter from the terminal while you wrap: "
            "there must be a gap, so that it neither melts nor enters the joint.",
            drawing="clearance-accept",
            shows="accept",
        ),
        Step(
            "formed",
            "Cut the end so that it lies against the post and points at nothing.",
            drawing="tail-accept",
            shows="accept",
            cautions=("eyes",),
        ),
        *shared.SOLDER_TERMINAL,
        *shared.CLEAN,
    ),
    tools=shared.TERMINAL_TOOLS,
    cautions=shared.CAUTIONS_WIRE,
    rule=PassRule(allowed_rejects=1, pass_mark=Decimal(90), rework_allowed=1),
    photographs_wanted=True,
)

TURRET_TWO = ExerciseContent(
    code="EX-TUR-2",
    title="Turret terminal, two wires",
    summary="10 turrets with two wires each",
    purpose="To stack two wires on one turret so that both can be seen, soldered and judged.",
    drawing="turret-two-wires",
    stages=STAGES,
    positions=positions(
        10,
        "turret",
        AWG_22_ETFE,
        TERMINALS,
        wires=2,
        forming="both from one side, the first on the base, the second on the first",
    ),
    steps=(
        *shared.STRIP,
        *shared.TIN,
        Step(
            "formed",
            "Both wires come in from the same side, one on top of the other, with insulation "
            "touching insulation.",
            drawing="turret-two-wires",
        ),
        Step(
            "formed",
            "Wrap the first wire on the base, then the second on it, parallel; neither crosses "
            "the other or itself.",
            drawing="turret-crossed-accept",
            shows="accept",
        ),
        *shared.SOLDER_TERMINAL,
        Step(
            "soldered",
            "Solder both wires in one heat, and see that the lower one has wetted before the "
            "upper one fills.",
            cautions=("hot", "fume"),
        ),
        *shared.CLEAN,
    ),
    tools=shared.TERMINAL_TOOLS,
    cautions=shared.CAUTIONS_WIRE,
    rule=PassRule(allowed_rejects=1, pass_mark=Decimal(90), rework_allowed=1),
    photographs_wanted=True,
)

BIFURCATED = ExerciseContent(
    code="EX-BIF",
    title="Bifurcated terminal",
    summary="12 bifurcated terminals with one wire each, side route",
    purpose="To take a wire through a slot and round a post without lifting it off the base.",
    drawing="exercise-bifurcated",
    stages=STAGES,
    positions=(
        *positions(
            6,
            "bifurcated",
            AWG_22_ETFE,
            TERMINALS,
            forming="through the slot, bent at least 90° round one post",
        ),
        *positions(
            6,
            "bifurcated",
            AWG_24_ETFE,
            TERMINALS,
            first=7,
            forming="through the slot, bent at least 90° round the other post",
        ),
    ),
    steps=(
        *shared.STRIP,
        *shared.TIN,
        Step(
            "formed",
            "Bring the wire in through the slot until it lies on the base.",
            drawing="bifurcated-slot-accept",
            shows="accept",
        ),
        Step(
            "formed",
            "Bend it round one post and press it against the post's side; from terminal to "
            "terminal take the other post in turn, so that wires do not all pull one way.",
            drawing="bifurcated-wrap-accept",
            shows="accept",
        ),
        Step(
            "formed",
            "Look from above: insulation must stay out of the slot.",
            drawing="exercise-bifurcated",
        ),
        *shared.SOLDER_TERMINAL,
        Step(
            "soldered",
            "Let solder join wire, base and both faces of the slot, but do not fill the slot to "
            "its top: the wire's outline must stay to be seen.",
            drawing="fillet-convex",
            shows="reject",
        ),
        *shared.CLEAN,
    ),
    tools=shared.TERMINAL_TOOLS,
    cautions=shared.CAUTIONS_WIRE,
    rule=PassRule(allowed_rejects=1, pass_mark=Decimal(90), rework_allowed=1),
    photographs_wanted=True,
)

HOOK = ExerciseContent(
    code="EX-HOOK",
    title="Hook terminal",
    summary="10 hook terminals with one wire each",
    purpose="To hang a wire in the arc of a hook, where it can neither slide nor be pulled off.",
    drawing="exercise-hook",
    stages=STAGES,
    positions=positions(
        10, "hook", AWG_22_ETFE, TERMINALS, forming="at least 180° round the rod, in the arc"
    ),
    steps=(
        *shared.STRIP,
        *shared.TIN,
        Step(
            "formed",
            "Form the wire round the rod in the arc of the hook, at least its own diameter away "
            "from the hook's end.",
            "IPC J-STD-001, 6.3.3 (read in an excerpt)",
            drawing="hook-place-accept",
            shows="accept",
        ),
        Step(
            "formed",
            "Close the loop with smooth pliers until it no longer slides by itself.",
            drawing="hook-wrap-accept",
            shows="accept",
        ),
        *shared.SOLDER_TERMINAL,
        *shared.CLEAN,
    ),
    tools=shared.TERMINAL_TOOLS,
    cautions=shared.CAUTIONS_WIRE,
    rule=PassRule(allowed_rejects=1, pass_mark=Decimal(90), rework_allowed=1),
    photographs_wanted=True,
)

PIERCED = ExerciseContent(
    code="EX-PIERCE",
    title="Pierced terminal",
    summary="10 pierced terminals with one wire each",
    purpose=(
        "To pass a wire through an eye and close it round the terminal's edge, so that it holds "
        "before any solder does."
    ),
    drawing="exercise-pierced",
    stages=STAGES,
    positions=(
        *positions(
            6,
            "pierced",
            AWG_22_ETFE,
            TERMINALS,
            forming="through the eye, about 180° round one edge, at least 90°",
        ),
        *positions(
            4,
            "pierced",
            AWG_24_ETFE,
            TERMINALS,
            first=7,
            forming="through the eye, about 180° round the other edge, at least 90°",
        ),
    ),
    steps=(
        *shared.STRIP,
        *shared.TIN,
        Step(
            "formed",
            "Look that the eye is open and clean, and that the whole wire goes through it: no "
            "strand is left outside or cut away to make it fit.",
            drawing="exercise-pierced",
        ),
        Step(
            "formed",
            "Push the wire through until its insulation is about one overall diameter away, and "
            "bend it at least a quarter turn round the edge behind the eye; half a turn holds "
            "it while you solder.",
            "IPC J-STD-001, 6.3.4 (read in an excerpt)",
            drawing="pierced-wrap-inside-accept",
            shows="accept",
        ),
        Step(
            "formed",
            "Press the wire against both faces with smooth pliers, without bending the terminal, "
            "and cut the end so that it does not stand out past the edge.",
            cautions=("eyes",),
        ),
        *shared.SOLDER_TERMINAL,
        Step(
            "soldered",
            "See that solder has run through the eye: both faces are wetted, and the wire's "
            "outline shows on each.",
            drawing="wetting-accept",
            shows="accept",
        ),
        *shared.CLEAN,
    ),
    tools=shared.TERMINAL_TOOLS,
    cautions=shared.CAUTIONS_WIRE,
    rule=PassRule(allowed_rejects=1, pass_mark=Decimal(90), rework_allowed=1),
    photographs_wanted=True,
)

"""Exercises to begin with: wire, terminals, cups, holes, a board of everything, and lead-free."""

from decimal import Decimal

from . import STAGES, ExerciseContent, PassRule, Step, ToolNeeded
from . import steps as shared
from .layout import CUPS, HOLES, NO_CLEARANCE, TERMINALS, WIRES, positions
from .lead_free import lead_free
from .terminals import BIFURCATED, HOOK, PIERCED, TURRET_ONE, TURRET_TWO
from .wires import AWG_20_PTFE, AWG_22_ETFE, AWG_22_PTFE, LEAD_22, LEAD_24

WIRE = ExerciseContent(
    code="EX-WIRE",
    title="Strip and tin",
    summary="10 pieces of stranded wire, stripped to 8 mm and tinned",
    purpose=(
        "Every soldered joint begins with a wire end that is whole, in its lay and tinned where "
        "it should be: this is practised until it needs no thought."
    ),
    drawing="exercise-wire",
    stages=("prepared", "cleaned"),
    positions=(
        *positions(6, "wire", AWG_22_ETFE, WIRES, forming="straight", clearance=""),
        *positions(4, "wire", AWG_20_PTFE, WIRES, first=7, forming="straight", clearance=""),
    ),
    steps=(
        *shared.STRIP,
        Step(
            "prepared",
            "On PTFE insulation a thermal stripper runs hotter than on other kinds: turn the "
            "wire between its jaws, and keep them on it only until the insulation parts.",
            drawing="insulation-charred",
            shows="reject",
            cautions=("hot", "ptfe"),
        ),
        *shared.TIN,
        Step(
            "prepared",
            "Measure the stripped length on a rule, not by eye, and lay the pieces in order.",
            drawing="strip-length-accept",
            shows="accept",
        ),
        Step(
            "cleaned",
            "Wipe flux off the tinned end and look at the coat: strands must show.",
            drawing="tinning-thin",
            shows="accept",
            cautions=("solvent", "fire", "lead"),
        ),
    ),
    tools=(
        shared.IRON,
        ToolNeeded("tip", "Chisel tip, 2 to 3 mm"),
        shared.BRUSHES,
        shared.STRIPPER,
        shared.THERMAL,
        shared.RULE,
        shared.CUTTER,
        shared.TWEEZERS,
        shared.SOLDER,
        shared.MAGNIFIER,
        shared.LAMP,
        shared.CLEANING,
    ),
    cautions=shared.CAUTIONS_WIRE,
    rule=PassRule(allowed_rejects=0, pass_mark=Decimal(90), rework_allowed=0),
    photographs_wanted=False,
)

CUP = ExerciseContent(
    code="EX-CUP",
    title="Solder cup",
    summary="14 solder cups with one wire each",
    purpose="To fill a cup just to its lip, with the wire at the bottom and the wall clean.",
    drawing="exercise-cup",
    stages=STAGES,
    positions=positions(14, "cup", AWG_22_PTFE, CUPS, forming="straight, to the bottom of the cup"),
    steps=(
        *shared.STRIP,
        *shared.TIN,
        Step(
            "prepared",
            "Where the cup is plated with thick gold, tin it and draw the solder out again, "
            "twice, so that the joint is not made on gold.",
            "IPC J-STD-001, 4.5.1, as quoted: gold thicker than 2.54 µm comes off first",
            cautions=("hot", "fume"),
        ),
        Step(
            "formed",
            "Try the wire dry: every strand goes in, none is cut away to make it fit, and it "
            "reaches the bottom. Mark the insulation's end against the lip.",
            shared.J_STD_CUP,
            drawing="cup-seated-accept",
            shows="accept",
        ),
        shared.READY_TIP,
        shared.TIP_HEAT,
        Step(
            "soldered",
            "Cut a length of solder that will fill the cup, drop it in, and melt it with the "
            "tip on the outside of the wall.",
            cautions=("hot", "fume", "lead"),
        ),
        Step(
            "soldered",
            "Slide the wire in slowly along the back wall until it stands on the bottom and the "
            "mark meets the lip; take the heat away and hold still until it has set.",
            drawing="cup-fill-accept",
            shows="accept",
            cautions=("hot", "ptfe"),
        ),
        Step(
            "soldered",
            "Solder should show in the inspection hole and follow the slope of the lip; a film "
            "outside is wiped off while it is hot.",
            drawing="cup-hole-accept",
            shows="accept",
            cautions=("hot",),
        ),
        *shared.CLEAN,
    ),
    tools=(
        shared.IRON,
        shared.CUP_TIP,
        shared.BRUSHES,
        shared.THERMAL,
        shared.CUTTER,
        shared.TWEEZERS,
        shared.SOLDER,
        ToolNeeded("bench", "Holder that keeps the connector still and the cups level"),
        shared.MAGNIFIER,
        shared.LAMP,
        shared.CLEANING,
    ),
    cautions=shared.CAUTIONS_WIRE,
    rule=PassRule(allowed_rejects=1, pass_mark=Decimal(90), rework_allowed=1),
    photographs_wanted=True,
)

HOLE_STEPS = (
    Step(
        "prepared",
        "Look at both leads under magnification: smooth marks from a tool may stay, a nick may "
        "not. Tin dull leads before they are bent.",
        drawing="lead-nicked",
        shows="reject",
    ),
    Step(
        "formed",
        "Hold the lead next to the body while you bend it, so that the bend begins clear of "
        "the body and the seal takes no strain.",
        drawing="lead-bend-accept",
        shows="accept",
    ),
    Step(
        "formed",
        "Centre the part between its lands, then cut the leads before soldering: a cut after it "
        "jolts the joint.",
        drawing="lead-length-accept",
        shows="accept",
        cautions=("eyes",),
    ),
    Step(
        "soldered",
        "Lay the tip on land and lead together. Feed solder opposite it until it has risen "
        "through the hole and made a fillet on the far side.",
        drawing="hole-fill-accept",
        shows="accept",
        cautions=("hot", "fume", "lead"),
    ),
    Step(
        "soldered",
        "Stop feeding while the lead's end still shows, and lift the tip along the lead. If the "
        "land grows dark or moves, the tip was there too long.",
        drawing="board-unharmed-reject",
        shows="reject",
        cautions=("hot",),
    ),
)

HOLE = ExerciseContent(
    code="EX-HOLE",
    title="Plated through-hole",
    summary="16 leads of 8 dummy parts in plated holes",
    purpose="To fill a plated hole from one side, with a fillet on both, and harm no land.",
    drawing="exercise-hole",
    stages=STAGES,
    positions=(
        *positions(
            8,
            "hole",
            LEAD_22,
            HOLES,
            forming="bent square, straight through, not clinched",
            clearance=NO_CLEARANCE,
        ),
        *positions(
            8,
            "hole",
            LEAD_24,
            HOLES,
            first=9,
            forming="bent square, straight through, not clinched",
            clearance=NO_CLEARANCE,
        ),
    ),
    steps=(
        *HOLE_STEPS[:3],
        shared.READY_TIP,
        shared.TIP_HEAT,
        *HOLE_STEPS[3:],
        *shared.CLEAN,
    ),
    tools=(
        shared.IRON,
        shared.SMALL_TIP,
        shared.BRUSHES,
        shared.CUTTER,
        shared.PLIERS,
        shared.RULE,
        shared.SOLDER,
        shared.MAGNIFIER,
        shared.LAMP,
        shared.CLEANING,
    ),
    cautions=shared.CAUTIONS_HOLE,
    rule=PassRule(allowed_rejects=1, pass_mark=Decimal(90), rework_allowed=1),
    photographs_wanted=False,
)

MIXED = ExerciseContent(
    code="EX-MIX",
    title="Mixed board",
    summary="8 turrets, 6 solder cups and 6 plated holes on one board",
    purpose=(
        "To change from one kind of joint to the next with the right tip and heat each time, as "
        "real work asks; made alone, and used to re-certify."
    ),
    drawing="exercise-mixed",
    stages=STAGES,
    positions=(
        *positions(
            8, "turret", AWG_22_ETFE, TERMINALS, forming="wrapped about 225°, flat on the base"
        ),
        *positions(
            6, "cup", AWG_20_PTFE, CUPS, first=9, forming="straight, to the bottom of the cup"
        ),
        *positions(
            6,
            "hole",
            LEAD_22,
            HOLES,
            first=15,
            forming="bent square, straight through, not clinched",
            clearance=NO_CLEARANCE,
        ),
    ),
    steps=(
        *shared.STRIP,
        *shared.TIN,
        *HOLE_STEPS[:1],
        Step(
            "formed",
            "Form everything before anything is soldered, lowest parts first: leads into their "
            "holes, wires round their turrets, and a dry try in every cup.",
            drawing="exercise-mixed",
            cautions=("eyes",),
        ),
        Step(
            "soldered",
            "Change the tip with the kind of joint. Begin with the holes, go on with the "
            "turrets, and end with the cups, so that no hand rests on finished work.",
            cautions=("hot",),
        ),
        *shared.SOLDER_TERMINAL,
        *HOLE_STEPS[3:],
        *shared.CLEAN,
    ),
    tools=(
        *shared.TERMINAL_TOOLS,
        shared.CUP_TIP,
        shared.SMALL_TIP,
        shared.THERMAL,
        shared.RULE,
    ),
    cautions=shared.CAUTIONS_WIRE,
    rule=PassRule(allowed_rejects=1, pass_mark=Decimal(90), rework_allowed=0),
    photographs_wanted=True,
)

LEAD_FREE = tuple(lead_free(exercise) for exercise in (TURRET_ONE, CUP, HOLE))

EXERCISES = (
    WIRE,
    TURRET_ONE,
    TURRET_TWO,
    BIFURCATED,
    HOOK,
    PIERCED,
    CUP,
    HOLE,
    MIXED,
    *LEAD_FREE,
)

"""Steps and tools that several exercises share."""

from . import Step, ToolNeeded

NEETS = "US Navy NEETS module 4, answers A23–A24"
STP = "US Army STP 11-25R13, A-9"
J_STD_CUP = "IPC J-STD-001, 6.3.5 (read in an excerpt)"

IRON = ToolNeeded("iron", "Temperature-controlled iron, earthed, with its stand")
LARGE_TIP = ToolNeeded("tip", "Chisel tip about as wide as the terminal's post")
CUP_TIP = ToolNeeded("tip", "Chisel tip about as wide as the cup")
SMALL_TIP = ToolNeeded("tip", "Small chisel tip about as wide as the land")
STRIPPER = ToolNeeded("mechanical_stripper", "Mechanical stripper with the die for this wire")
THERMAL = ToolNeeded("thermal_stripper", "Thermal stripper with a length stop, under extraction")
MAGNIFIER = ToolNeeded("magnifier", "Microscope or magnifier, 4× to 10×")
LAMP = ToolNeeded("lamp", "Lamp that gives at least 1000 lx on the work")
RULE = ToolNeeded("gauge", "Steel rule or graticule with 0.5 mm divisions")
CUTTER = ToolNeeded("bench", "Flush cutter")
PLIERS = ToolNeeded("bench", "Round-nose pliers with smooth jaws")
TWEEZERS = ToolNeeded("bench", "Anti-wicking tweezers that fit the wire")
SOLDER = ToolNeeded("bench", "Rosin-cored tin-lead solder wire, 0.5 to 0.8 mm")
SOLDER_LEAD_FREE = ToolNeeded("bench", "Flux-cored lead-free solder wire, 0.5 to 0.8 mm")
CLEANING = ToolNeeded("bench", "Solvent, lint-free wipes and a soft brush")
BRUSHES = ToolNeeded("bench", "Dry stainless-steel brush and damp sponge for the tip")

TERMINAL_TOOLS = (
    IRON,
    LARGE_TIP,
    BRUSHES,
    STRIPPER,
    CUTTER,
    PLIERS,
    SOLDER,
    MAGNIFIER,
    LAMP,
    CLEANING,
)

STRIP = (
    Step(
        "prepared",
        "Choose the stripper: a mechanical one whose die is made for this wire, or a thermal one "
        "with its stop set to the length. Knives and V-notched blades are not used at all, since "
        "they nick strands.",
        drawing="strand-nicked",
        shows="reject",
        cautions=("eyes", "ptfe"),
    ),
    Step(
        "prepared",
        "Strip one trial end and look at every strand under magnification; go on only when "
        "none is marked.",
        STP,
        drawing="strand-sound",
        shows="accept",
    ),
    Step(
        "prepared",
        "Close strands that have opened by turning them the way they already lie, without "
        "touching them with bare fingers.",
        STP,
        drawing="strand-birdcage",
        shows="reject",
    ),
)

TIN = (
    Step(
        "prepared",
        "Tin the outer part only, about half of what is bare, and leave bare strands next to "
        "the insulation, so that the wire can bend there.",
        NEETS,
        drawing="tinning-gap",
        shows="accept",
        cautions=("hot", "fume"),
    ),
    Step(
        "prepared",
        "Melt solder towards the insulation first, then draw it away and off the end, so that "
        "none is driven under the insulation.",
        drawing="tinning-no-gap",
        shows="reject",
        cautions=("lead",),
    ),
)

READY_TIP = Step(
    "soldered",
    "Before each joint brush the tip dry, which takes off scale, then touch it to the damp "
    "sponge, which takes off the oxide film. It must be bright when it meets the joint.",
    cautions=("hot", "energy"),
)

TIP_HEAT = Step(
    "soldered",
    "Set the tip for tin-lead to about 280 to 320 °C, and change to a larger tip before you go "
    "higher: mass carries the heat, and heat alone burns flux and board. Guidance, not a limit: "
    "the setting of your own work instruction comes first.",
    "ESA PSS-01-738, 3.5.7, at second hand: 280 °C advised, 320 °C at most; shops use up to 370 °C "
    "(common practice)",
    cautions=("fume",),
)

TIP_HEAT_LEAD_FREE = Step(
    "soldered",
    "Set the tip for this lead-free alloy about 30 °C above what you use for tin-lead, 310 to "
    "350 °C: it melts near 220 °C instead of 183 °C and spreads more slowly. Guidance, not a "
    "limit: the setting of your own work instruction comes first.",
    "Common practice; melting points of J-STD-006 alloys from memory",
    cautions=("fume",),
)

SOLDER_TERMINAL = (
    READY_TIP,
    TIP_HEAT,
    Step(
        "soldered",
        "Lay the flat of the tip where the most metal is, base and post together, and melt a "
        "little solder there: this bridge carries the heat across.",
        drawing="wetting-accept",
        shows="accept",
        cautions=("hot", "fume"),
    ),
    Step(
        "soldered",
        "Feed solder from the far side, so that it runs towards the heat. Take the solder away "
        "first, then wipe the tip off along the post.",
        drawing="fillet-concave",
        shows="accept",
        cautions=("lead",),
    ),
    Step(
        "soldered",
        "Two to five seconds do. If it has not flowed by then, stop and let it cool; look for "
        "dirt, a dry tip or too small a tip.",
        drawing="surface-cold-reject",
        shows="reject",
    ),
    Step(
        "soldered",
        "Nothing moves until the shine settles: count two after the iron leaves.",
        drawing="surface-moved-reject",
        shows="reject",
    ),
)

CLEAN = (
    Step(
        "cleaned",
        "When the joint is cold, brush it with a little solvent and lift the flux off with a "
        "wipe before the solvent dries. Judge only what is clean.",
        drawing="joint-clean-accept",
        shows="accept",
        cautions=("solvent", "fire"),
    ),
    Step(
        "cleaned",
        "Look for clippings, single strands and balls of solder, also under the wires: a loose "
        "strand can short a board long after it left the bench.",
        "US Navy NEETS module 4, answer A34",
        drawing="board-loose-reject",
        shows="reject",
        cautions=("lead",),
    ),
)

CAUTIONS_WIRE = ("hot", "eyes", "fume", "lead", "ptfe", "solvent", "energy")
CAUTIONS_HOLE = ("hot", "eyes", "fume", "lead", "solvent", "energy")

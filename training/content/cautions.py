"""What can hurt somebody at the bench. Exercise pages and printed sheets carry these."""

from django.utils.translation import gettext_noop as _

from . import Caution

CAUTIONS = (
    Caution(
        code="hot",
        title=_("Hot tip, hot work"),
        text=_(
            "A tip at soldering temperature burns the moment it is touched, and the work stays "
            "hot after it. Park the iron in its stand, let work cool before you pick it up, and "
            "never catch a falling iron."
        ),
        source="Common practice; a US Army manual asks for thermal gloves where heat is handled.",
    ),
    Caution(
        code="eyes",
        title=_("Eyes"),
        text=_(
            "Wear eye protection whenever you clip, strip, solder or lift a wire off a terminal: "
            "cut ends fly, and springing strands flick solder. Hold the end that falls."
        ),
        source="US Army TM 10-8145-222-23, warning on goggles or face shield; common practice.",
    ),
    Caution(
        code="fume",
        title=_("Flux fume"),
        text=_(
            "Fume of rosin flux is a leading cause of asthma at work. Switch the extraction on "
            "before the iron, draw the fume off at the tip, keep your head out of the plume, and "
            "do not overheat the flux. Tell your supervisor about a tight chest or a wheeze."
        ),
        source="UK HSE, asthma and solderers; HSE research report RR900.",
    ),
    Caution(
        code="lead",
        title=_("Lead"),
        text=_(
            "Tin-lead solder leaves lead on hands and bench. Nothing is eaten, drunk or smoked "
            "here; wash your hands with soap before a break and before going home, and leave "
            "work clothes at work. Dross and wipes go into the marked bin."
        ),
        source=(
            "29 CFR 1910.1025 (lead at work); US Army TM 10-8145-222-23; IPC J-STD-001 draft, "
            "4.2, read at second hand; the bin is common practice."
        ),
    ),
    Caution(
        code="ptfe",
        title=_("PTFE and other fluoropolymer insulation"),
        text=_(
            "Overheated PTFE gives off fume that causes a fever hours later, and much hotter can "
            "harm the lungs. Strip thermally only under extraction, no hotter than the insulation "
            "needs to part, keep the iron off it, and keep tobacco away from hands that held it."
        ),
        source=(
            "Medical literature, read at second hand: fever from about 300 to 450 °C; sources "
            "disagree on where it begins, 260 or 300 °C. The sentence on tobacco is from memory."
        ),
    ),
    Caution(
        code="solvent",
        title=_("Solvents and flux"),
        text=_(
            "Cleaning solvents burn and dry the skin, and liquid flux can inflame it. Keep the "
            "bottle shut and the iron away from it, ventilate, wear the gloves named on the "
            "safety data sheet, and put used wipes into the closed bin."
        ),
        source="Common practice; a university safety sheet on flux and skin.",
    ),
    Caution(
        code="energy",
        title=_("Stored energy"),
        text=_(
            "Never solder on anything that is switched on or charged. Disconnect it, let "
            "capacitors discharge and check that they have. Use an earthed iron with a sound "
            "lead; wear a wrist strap only where no high voltage can be touched."
        ),
        source="Common practice.",
    ),
)

CLOSING = _(
    "Follow the governing standard, your local rules and your licensed safety practice: this "
    "program records training and does not replace them."
)

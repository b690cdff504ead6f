"""What can hurt somebody at the bench. Exercise pages and printed sheets carry these.

Each ends with whose word comes before it: this program gives no medical and no legal advice.
"""

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
        brief=_("The iron goes into its stand; let work cool; never catch a falling iron."),
        defers_to=_("Your local rules on tools and gloves come first."),
        source="Common practice; a US Army manual asks for thermal gloves where heat is handled.",
    ),
    Caution(
        code="eyes",
        title=_("Eyes"),
        text=_(
            "Wear eye protection whenever you clip, strip, solder or lift a wire off a terminal: "
            "cut ends fly, and springing strands flick solder. Hold the end that falls."
        ),
        brief=_("Wear eye protection: cut ends fly. Hold the end that falls."),
        defers_to=_("Your local rules on eye protection come first."),
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
        brief=_("Extraction on at the tip, head out of the plume."),
        defers_to=_("Your local rules and your occupational health service come first."),
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
        brief=_("Nothing to the mouth here; wash your hands with soap before a break."),
        defers_to=_("The law on lead at work and your local rules come first."),
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
        brief=_("Strip hot only under extraction, keep the iron off the insulation."),
        defers_to=_("The safety data sheet of the wire and your local rules come first."),
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
        brief=_("Bottle shut, gloves as on the data sheet, wipes into the closed bin."),
        defers_to=_("The safety data sheet and your local rules come first."),
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
        brief=_("Earthed iron with a sound lead; never on anything switched on or charged."),
        defers_to=_("Your local rules on electrical work come first."),
        source="Common practice.",
    ),
    Caution(
        code="burn",
        title=_("If somebody is burnt"),
        text=_(
            "Cool the burn at once under cool running water for twenty minutes; no ice, no cream, "
            "and pull off nothing that sticks, neither solder nor cloth. Take rings and watches "
            "off while it cools, cover it loosely with something clean, and fetch your "
            "first-aider. Rinse an eye that solder, flux or solvent got into with clean water at "
            "once. A burn that is large, deep, or on face, eyes or hands goes to a doctor, and so "
            "does anything in an eye."
        ),
        brief=_("Cool running water at once, for twenty minutes, and fetch the first-aider."),
        defers_to=_(
            "Your first-aider, your site's first-aid rules and licensed medical advice come first."
        ),
        source=(
            "Public first-aid advice, from memory; courses differ on how long to cool, and ten to "
            "twenty minutes are taught. Check with your own first-aid training."
        ),
        goes_with="hot",
    ),
    Caution(
        code="fire",
        title=_("Fire: solvent and hot iron"),
        text=_(
            "Solvent vapour catches fire at a hot tip. Keep open solvent and wet wipes away from "
            "the iron, clean only what has cooled, put wipes into the closed metal bin, and know "
            "where the extinguisher and the way out are. Switch the iron off before you leave it."
        ),
        brief=_("Solvent stays away from the iron; clean only what has cooled."),
        defers_to=_(
            "Your site's fire rules and the solvent's safety data sheet come first; raise the "
            "alarm before you fight a fire."
        ),
        source="Common practice.",
        goes_with="solvent",
    ),
    Caution(
        code="esd",
        title=_("Static charge, and the strap check"),
        text=_(
            "A charge that you do not feel can spoil a part. Before the first board of a shift "
            "put on the wrist strap, tight on bare skin, test it on the tester, and enter the "
            "result where your site keeps it. A strap that fails is changed and tested again "
            "before anything is touched. Work on the earthed mat."
        ),
        brief=_("Strap on and tested before a board is touched."),
        defers_to=_(
            "Your site's ESD control programme comes first, and no strap is worn where high "
            "voltage can be touched."
        ),
        source=(
            "ANSI/ESD S20.20, listed by NASA's workmanship programme; that straps are tested daily "
            "and how is from memory: check in the document."
        ),
        goes_with="energy",
    ),
    Caution(
        code="expecting",
        title=_("New and expectant mothers, and lead"),
        text=_(
            "Lead harms an unborn or a breast-fed child. Whoever is expecting, nursing or hopes "
            "for a child asks to be moved away from tin-lead work; nobody has to give reasons "
            "before the class. The instructor offers the lead-free exercises, at a bench, "
            "with irons, tips and sponges that have seen no lead."
        ),
        brief=_("Whoever is expecting or nursing asks for lead-free work."),
        defers_to=_(
            "The law on lead and on maternity, your site's risk assessment and licensed medical "
            "advice come first."
        ),
        source=(
            "Common practice; laws on lead and on maternity at work bar or limit such work in many "
            "countries, from memory: ask what holds where you are."
        ),
        goes_with="lead",
    ),
)

CLOSING = _(
    "Follow the governing standard, your local rules and your licensed safety practice: this "
    "program records training and does not replace them."
)

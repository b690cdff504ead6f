"""Courses to begin with, day by day."""

from . import CourseContent, LessonContent

TERMINALS = CourseContent(
    code="HS-TERM",
    title="Hand soldering of terminals",
    summary=(
        "Three days at the bench for people who have not soldered to a high-reliability "
        "standard before: wire, turrets, bifurcated, hook and pierced terminals, cups and plated "
        "holes."
    ),
    days=3,
    lessons=(
        LessonContent(
            1,
            "Welcome, vision test, safety",
            45,
            "Check that everybody's vision test is current before anybody begins. Hot tips and "
            "burns, eyes, fume, lead, solvents and fire, stored energy: show where extraction, "
            "stand, bin, wash-basin, cold water, first-aider and extinguisher are. Everybody "
            "tests their wrist strap and enters it. Say that whoever is expecting or nursing is "
            "moved from tin-lead work for the asking. The governing standard, local rules and "
            "licensed safety practice come first.",
            kind="demonstration",
        ),
        LessonContent(
            1,
            "What a sound joint is",
            60,
            "Wetting, fillet, clearance and why each is asked for. Walk through the criteria "
            "with the drawings, then pass round good and bad pieces under the microscope.",
            kind="reading",
        ),
        LessonContent(
            1,
            "The iron and its tip",
            30,
            "Choose a tip by the mass to be heated, seat it fully, tin it as it first warms. "
            "Brush, damp sponge, then the joint; back into the stand tinned.",
            kind="demonstration",
        ),
        LessonContent(
            1,
            "Strip and tin",
            180,
            "Match the die to the wire, strip a trial end, look at it; tin so that bare strands "
            "are left next to the insulation.",
            "EX-WIRE",
        ),
        LessonContent(
            1,
            "Judge your own first board",
            45,
            "Each trainee judges their own wires against the criteria before the instructor "
            "does, and the two readings are compared.",
            kind="judging",
        ),
        LessonContent(
            2,
            "Turret, one wire",
            180,
            "Wrap, heat the greater mass, build the bridge, feed from the far side, leave with "
            "a wipe.",
            "EX-TUR-1",
        ),
        LessonContent(
            2,
            "Turret, two wires",
            90,
            "Thicker wire first and lowest, both from one side, insulation against insulation.",
            "EX-TUR-2",
        ),
        LessonContent(
            2,
            "Bifurcated terminals",
            90,
            "Through the slot, down to the base, round one post.",
            "EX-BIF",
        ),
        LessonContent(
            3, "Hook terminals", 75, "In the arc of the hook, away from its end.", "EX-HOOK"
        ),
        LessonContent(
            3,
            "Pierced terminals",
            60,
            "Look into the eye first, pass the whole wire through, close it round the edge so "
            "that it holds by itself, and see solder on both faces.",
            "EX-PIERCE",
        ),
        LessonContent(
            3,
            "Solder cups",
            90,
            "Measured solder in the cup, wire to the bottom, hold it still until it sets.",
            "EX-CUP",
        ),
        LessonContent(
            3,
            "Plated through-holes",
            90,
            "Heat land and lead together, let solder rise through the hole.",
            "EX-HOLE",
        ),
        LessonContent(
            3,
            "Written test",
            45,
            "Criteria, materials and safety, with the criteria at hand.",
            kind="test",
        ),
        LessonContent(
            3,
            "Results and what comes next",
            30,
            "Go through each board's reasons. Say who needs which exercise again, and by when a "
            "certificate can be proposed.",
            kind="reading",
        ),
    ),
)

RECERTIFICATION = CourseContent(
    code="HS-RECERT",
    title="Re-certification day",
    summary=(
        "One day for people whose certificate is about to end: what has changed, what went "
        "wrong most, and one mixed board made alone."
    ),
    days=1,
    lessons=(
        LessonContent(
            1,
            "Vision, safety, what has changed",
            45,
            "Vision tests current, cautions repeated, changes in the criteria since the last "
            "certificate.",
            kind="reading",
        ),
        LessonContent(
            1,
            "What fails most, and why",
            45,
            "The site's own figures: the criteria that failed most since last time, with their "
            "drawings and one piece of each.",
            kind="reading",
        ),
        LessonContent(
            1,
            "The mixed board",
            240,
            "Made alone and without help; questions about the drawing are answered.",
            "EX-MIX",
        ),
        LessonContent(
            1,
            "Written test",
            30,
            "Shorter than the first one; the criteria may be used.",
            kind="test",
        ),
        LessonContent(
            1,
            "Judging together",
            30,
            "Look at each other's boards under the criteria, then at the instructor's reading.",
            kind="judging",
        ),
    ),
)

LEAD_FREE = CourseContent(
    code="HS-LF",
    title="Lead-free, for those who know tin-lead",
    summary=(
        "One day for people who solder with tin-lead to a high-reliability standard and are to "
        "use a lead-free alloy: what changes, what does not, and three boards."
    ),
    days=1,
    lessons=(
        LessonContent(
            1,
            "What changes without lead",
            45,
            "It melts near 220 °C instead of 183 °C, spreads more slowly and sets duller. Pass "
            "round sound dull joints beside overheated ones, and walk through the criterion for "
            "the surface of each alloy. Keep tips, sponges and bins apart. Fume, heat and "
            "solvents are what they were; the governing standard, local rules and licensed "
            "safety practice come first.",
            kind="demonstration",
        ),
        LessonContent(
            1,
            "Turret, lead-free",
            120,
            "A larger tip before a hotter one; more flux, and time for the alloy to run. Do not "
            "heat again for the sake of shine.",
            "EX-TUR-1-LF",
        ),
        LessonContent(
            1,
            "Solder cups, lead-free",
            75,
            "The measured solder melts later: bring the heat to the wall and wait for it.",
            "EX-CUP-LF",
        ),
        LessonContent(
            1,
            "Plated through-holes, lead-free",
            90,
            "Filling a hole takes longer: look at the component side by quarters, and at the "
            "land for harm from heat.",
            "EX-HOLE-LF",
        ),
        LessonContent(
            1,
            "Judging together",
            30,
            "Look at each other's boards under the criteria, dull joints first, then at the "
            "instructor's reading.",
            kind="judging",
        ),
    ),
)

COURSES = (TERMINALS, RECERTIFICATION, LEAD_FREE)

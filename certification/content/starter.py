"""The scopes and schemes to begin with.

The figures are those of published programmes for soldering by hand where one is known, and else
common practice. What was read at second hand or is from memory says so.
"""

from django.utils.translation import gettext_noop as _

from . import AskedContent, SchemeContent, ScopeContent

OWN_GROUPS = _(
    "Common practice: terminals, cups, holes and wire are certified apart. Group them as your "
    "governing standard does."
)
ROLES = _(
    "NASA’s programme of certifying people (slides of 2011) names operators, inspectors and "
    "instructors."
)
KINDS = (
    ("TERM", ("turret", "bifurcated", "hook", "pierced")),
    ("CUP", ("cup",)),
    ("HOLE", ("hole",)),
    ("WIRE", ("wire",)),
)
OPERATORS, INSPECTORS, INSTRUCTORS = "OP", "INSP", "IN"
TITLES = {
    "TERM-OP": _("Terminals, operator"),
    "CUP-OP": _("Solder cups, operator"),
    "HOLE-OP": _("Plated through-holes, operator"),
    "WIRE-OP": _("Wire preparation, operator"),
    "TERM-INSP": _("Terminals, inspector"),
    "CUP-INSP": _("Solder cups, inspector"),
    "HOLE-INSP": _("Plated through-holes, inspector"),
    "WIRE-INSP": _("Wire preparation, inspector"),
    "TERM-IN": _("Terminals, instructor"),
    "CUP-IN": _("Solder cups, instructor"),
    "HOLE-IN": _("Plated through-holes, instructor"),
    "WIRE-IN": _("Wire preparation, instructor"),
}

SCOPES = tuple(
    ScopeContent(
        code=f"{kind}-{ending}",
        title=TITLES[f"{kind}-{ending}"],
        level=level,  # type: ignore[arg-type]
        joint_types=joint_types,
        source_note=OWN_GROUPS if ending == OPERATORS else ROLES,
    )
    for ending, level in (
        (OPERATORS, "operator"),
        (INSPECTORS, "inspector"),
        (INSTRUCTORS, "instructor"),
    )
    for kind, joint_types in KINDS
)

TWO_YEARS = _(
    "NASA’s programme (slides of 2011): 2 years. Trade and space-agency certificates run 2 years "
    "too (read at second hand)."
)
SAME_DAY = _("Common practice. Many schemes end on the last day of that month instead.")
WINDOW = _(
    "Common practice. One trade policy allows the last 6 months and counts from the old end "
    "(read at second hand); NASA’s programme names no window."
)
VISION = _(
    "Common practice: yearly, as near vision is for non-destructive testing (ISO 9712, from "
    "memory). NASA’s programme asks for a new result before each training, so every 24 months."
)
ABSENCE = _("NASA’s programme (slides of 2011): no more than 6 months away from the work.")
NO_ABSENCE = _(
    "Left open: NASA’s programme asks at most 6 months away of every role (slides of 2011). Set "
    "it if your standard does, and then record their work within the scope."
)
STEPS = _("Common practice.")
ISSUES = _(
    "ISO/IEC 17024, 9.4 (from memory): whoever trained or examined somebody does not decide alone."
)
GRADERS = _("Common practice: whoever judges others’ work is certified for such work.")
ATTEMPTS = _(
    "Left open: no figure for soldering by hand was found. ISO 9712:2012, 11.2.2, allows two more "
    "tries; one body for welders asks for training after the second failure (read at second hand)."
)
WAITING = _(
    "Left open: no figure for soldering by hand was found. ISO 9712:2012, 11.2.2, asks for 7 days "
    "between tries."
)
TRAINING_AGAIN = _("Common practice: a class. Count practice boards too if your standard does.")
WRITTEN_TEST = _(
    "Left open: no written test comes along for it. Name the one that your standard asks for, once "
    "it is published."
)
WRITTEN_MONTHS = _("Left open: no figure was found. Set the months if your standard gives some.")
BOARDS = _(
    "Common practice: one board of each exercise, in a year. The number of boards is not in any "
    "document that was read for this."
)
BOARDS_OF_GRADERS = _(
    "Common practice: whoever judges shows the work first. Add the written test and the judging "
    "of known joints that your standard asks for."
)

OF_OPERATORS = _("Left open: whether graders need standing is asked of operators’ scopes alone.")

REMINDED = (90, 60, 30, 14, 7, 1)
SHARED_SOURCES = {
    "validity_months": TWO_YEARS,
    "expiry_rule": SAME_DAY,
    "renewal_window_days": WINDOW,
    "vision_months": VISION,
    "reminder_steps": STEPS,
    "instructor_may_issue": ISSUES,
    "grader_needs_standing": GRADERS,
    "attempts": ATTEMPTS,
    "wait_days": WAITING,
    "retraining_boards": TRAINING_AGAIN,
    "written_test": WRITTEN_TEST,
    "written_test_months": WRITTEN_MONTHS,
}


def _asked(scope: str, *exercises: str) -> tuple[AskedContent, ...]:
    return tuple(AskedContent(scope=scope, exercise=exercise) for exercise in exercises)


FOR_OPERATORS = SchemeContent(
    code="HS-OP",
    title=_("Hand soldering, operators"),
    validity_months=24,
    renewal_window_days=90,
    vision_months=12,
    max_absence_months=6,
    reminder_steps=REMINDED,
    instructor_may_issue=False,
    grader_needs_standing=True,
    scopes=tuple(f"{kind}-{OPERATORS}" for kind, _types in KINDS),
    requirements=(
        *_asked("TERM-OP", "EX-WIRE", "EX-TUR-1", "EX-TUR-2", "EX-BIF", "EX-HOOK", "EX-PIERCE"),
        *_asked("CUP-OP", "EX-WIRE", "EX-CUP"),
        *_asked("HOLE-OP", "EX-HOLE"),
        *_asked("WIRE-OP", "EX-WIRE"),
    ),
    sources=SHARED_SOURCES | {"max_absence_months": ABSENCE, "requirements": BOARDS},
)


def _for_graders(code: str, title: str, ending: str) -> SchemeContent:
    return SchemeContent(
        code=code,
        title=title,
        validity_months=24,
        renewal_window_days=90,
        vision_months=12,
        max_absence_months=0,
        reminder_steps=REMINDED,
        instructor_may_issue=False,
        grader_needs_standing=False,
        scopes=tuple(f"{kind}-{ending}" for kind, _types in KINDS),
        requirements=(
            *_asked(f"TERM-{ending}", "EX-MIX"),
            *_asked(f"CUP-{ending}", "EX-MIX"),
            *_asked(f"HOLE-{ending}", "EX-MIX"),
            *_asked(f"WIRE-{ending}", "EX-WIRE"),
        ),
        sources=SHARED_SOURCES
        | {
            "max_absence_months": NO_ABSENCE,
            "requirements": BOARDS_OF_GRADERS,
            "grader_needs_standing": OF_OPERATORS,
        },
    )


FOR_INSPECTORS = _for_graders("HS-INSP", _("Hand soldering, inspectors"), INSPECTORS)
FOR_INSTRUCTORS = _for_graders("HS-IN", _("Hand soldering, instructors"), INSTRUCTORS)

SCHEMES = (FOR_INSTRUCTORS, FOR_INSPECTORS, FOR_OPERATORS)
"""In the order in which a new site publishes them: the first graders are certified first."""

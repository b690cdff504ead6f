"""Criteria and judgements in words: units, limits, the word for a state."""

from datetime import datetime
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from assessments.domain.scoring import RuleLine
from assessments.models import CannotTell, Criterion, Joint, Judgement
from assessments.services.judgements import measured_verdict
from people.presenters import quantities
from people.presenters.days import format_short_instant

WINDOW = 0.6  # of a photograph's width and height round a marked place


def plain(value: Decimal | str | None) -> str:
    """A decimal as one would write it: without needless noughts, in the reader's own marks."""
    if not isinstance(value, Decimal):
        return ""  # What a template makes of a value that is not there.
    return quantities.format_decimal(value)


def with_unit(value: Decimal, unit: str) -> str:
    return quantities.with_unit(plain(value), unit)


def kind_shown(criterion: Criterion) -> str:
    """How a criterion is judged, or how severe it is: what a line of a list has room for."""
    severity = criterion.get_severity_display()
    if not criterion.is_measured:
        return severity
    if criterion.severity == Criterion.Severity.CRITICAL:
        return f"{_('measured')}, {severity}"
    return _("measured")


def how_shown(judgement: Judgement) -> str:
    """How it was judged; of what is measured and was judged by eye also why."""
    how = str(judgement.get_how_display())
    if not judgement.by_eye_because:
        return how
    return _("%(how)s, because “%(reason)s”") % {"how": how, "reason": judgement.by_eye_because}


def value_shown(judgement: Judgement, unit: str) -> str:
    """A judgement's value: as it was read, or of marks with the decimals that mean something."""
    if judgement.value is None:
        return ""
    if judgement.how != Judgement.How.MARKS:
        return with_unit(judgement.value, unit)
    return quantities.with_unit(_of_marks(judgement)[0], unit)


def uncertainty_shown(judgement: Judgement, unit: str) -> str:
    """The expanded uncertainty beside it."""
    if judgement.uncertainty is None:
        return ""
    if judgement.how != Judgement.How.MARKS:
        return with_unit(judgement.uncertainty, unit)
    return quantities.with_unit(_of_marks(judgement)[1] or "0", unit)


def measured_shown(judgement: Judgement, unit: str) -> str:
    """``253 ± 4 °``: the value that was judged with its uncertainty; empty without a value."""
    if judgement.value is None:
        return ""
    if judgement.uncertainty is None:
        return value_shown(judgement, unit)
    return f"{value_shown(judgement, unit)} ± {uncertainty_shown(judgement, unit)}"


def _of_marks(judgement: Judgement) -> tuple[str, str | None]:
    spread = judgement.standard_uncertainty
    return quantities.format_with_uncertainty(
        float(judgement.value or 0), None if spread is None else float(spread)
    )


def unit_word(unit: str) -> str:
    """The unit alone, as a label: ``°``, ``%``, ``mm``, conductor diameters ``d``."""
    return {
        "d": _("conductor diameters"),
        "D": _("overall diameters"),
        "ratio": _("ratio"),
    }.get(unit, quantities.unit_sign(unit))


def unit_sign(unit: str) -> str:
    """The unit as it stands behind a figure: ``°``, ``%``, ``mm``, ``D``; nothing for a ratio."""
    return quantities.unit_sign(unit)


def criterion_limits(criterion: Criterion) -> str:
    """The limits of a measured criterion: ``180° to 270°``, ``at most 2 D``."""
    low, high, unit = criterion.low, criterion.high, criterion.unit
    if low is not None and high is not None:
        limits = _("%(low)s to %(high)s") % {
            "low": with_unit(low, unit),
            "high": with_unit(high, unit),
        }
    elif low is not None:
        limits = _("at least %(low)s") % {"low": with_unit(low, unit)}
    elif high is not None:
        limits = _("at most %(high)s") % {"high": with_unit(high, unit)}
    else:
        return ""
    if unit == "ratio":
        return _("sagitta over chord %(limits)s") % {"limits": limits}
    if criterion.datum == Criterion.Datum.TERMINAL:
        return _("%(limits)s from the terminal") % {"limits": limits}
    if criterion.datum == Criterion.Datum.SOLDER:
        return _("%(limits)s from the solder") % {"limits": limits}
    return limits


def criterion_verdict(judgement: Judgement) -> str:
    """What the value of a judgement says of its criterion's limits; nothing without a value."""
    return measured_verdict(judgement.criterion, judgement) or ""


def photo_window(judgement: Judgement) -> str:
    """What of a photograph to show for a judgement, as a viewBox: the marked place, or all.

    The window keeps the photograph's shape and stays inside it.
    """
    photo = judgement.photo
    if photo is None:
        return "0 0 0 0"
    wide, high = photo.upright_width, photo.upright_height
    if judgement.mark_x is None or judgement.mark_y is None:
        return f"0 0 {wide} {high}"
    across, down = wide * WINDOW, high * WINDOW
    left = min(max(judgement.mark_x - across / 2, 0), wide - across)
    top = min(max(judgement.mark_y - down / 2, 0), high - down)
    return f"{left:.1f} {top:.1f} {across:.1f} {down:.1f}"


def joint_name(joint: Joint) -> str:
    """A joint by its position, and by its rework where it was made again."""
    if joint.make == 1:
        return joint.position.name
    return _("%(joint)s, rework %(n)s") % {"joint": joint.position.name, "n": joint.make - 1}


def make_name(make: int) -> str:
    """The first make of a joint is its first attempt; each later one is a rework, counted."""
    return _("first attempt") if make == 1 else _("rework %(n)d") % {"n": make - 1}


def verdict_name(state: Any) -> str:
    """The word for a joint's state, for those who do not see its shape."""
    return {
        "open": _("open"),
        "accepted": _("accepted"),
        "accepted_with_remarks": _("accepted with remarks"),
        "rejected": _("rejected"),
        "not_applicable": _("not asked for"),
    }.get(str(state), str(state))


def overwritten_says(row: Judgement | CannotTell) -> str:
    """What an act replaced that its grader was not shown, and what it says now."""
    replaced = row.replaced or {}
    was = str(Judgement.Outcome(replaced["outcome"]).label)
    if replaced["note"]:
        was = f"{was} (“{replaced['note']}”)"
    at = datetime.fromisoformat(replaced["judged_at"])
    now = (
        Judgement.Outcome(row.outcome).label
        if isinstance(row, Judgement)
        else _("open, and asks for %(asks)s") % {"asks": row.get_asks_display()}
    )
    return _(
        "%(place)s, %(criterion)s was %(was)s, judged in another window on %(at)s; now: %(now)s."
    ) % {
        "place": joint_name(row.joint) if row.joint else _("Whole board"),
        "criterion": row.criterion.title,
        "was": was,
        "at": format_short_instant(at, row.grading.board.site.time_zone),
        "now": now,
    }


def rule_name(rule: str) -> str:
    """A rule of the board's result, in words."""
    return {
        "stages_signed": _("Every stage signed"),
        "joints_present": _("Every required joint judged"),
        "board_judged": _("No criterion of the whole board open"),
        "no_critical_rejection": _("No critical rejection"),
        "rejects_allowed": _("Rejected joints"),
        "score_reached": _("Score"),
    }.get(rule, rule)


def rule_asked(line: RuleLine) -> str:
    """What a rule asks for, as it reads in a table."""
    if line.rule == "rejects_allowed":
        return _("at most %(n)s") % {"n": line.asked}
    if line.rule == "score_reached":
        return _("at least %(n)s") % {"n": line.asked}
    return line.asked

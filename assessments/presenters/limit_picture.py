"""Limits of a criterion above what was measured: a small picture with its sentence."""

from collections.abc import Callable
from decimal import Decimal

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from assessments.domain.limit_effect import heaps
from assessments.models import Criterion
from assessments.queries.limit_effect import EffectOnRecords
from people.presenters import quantities

LEFT, RIGHT, GROUND, HIGHEST = 8.0, 352.0, 72.0, 58.0
HEAPS = 30


def limit_picture(criterion: Criterion, earlier: Criterion, found: EffectOnRecords) -> SafeString:
    """Draw where the measured joints lie, the limits of the draft, and those before, dashed.

    What would be judged otherwise is hollow.
    """
    values = [float(value) for value, _key in found.values]
    limits = [limit for limit in (criterion.low, criterion.high) if limit is not None]
    before = [
        limit
        for limit in (earlier.low, earlier.high)
        if limit is not None and earlier.unit == criterion.unit and limit not in limits
    ]
    every = [*values, *map(float, limits), *map(float, before)]
    begin, end = min(every), max(every)
    spread = (end - begin) or max(abs(begin), 1.0)
    begin, end = begin - 0.06 * spread, end + 0.06 * spread

    def x(number: float) -> float:
        return LEFT + (RIGHT - LEFT) * (number - begin) / (end - begin)

    turned = set(found.effect.judged_otherwise)
    counted = heaps(
        [(float(value), key in turned) for value, key in found.values], begin, end, HEAPS
    )
    most = max((heap.joints for heap in counted), default=0) or 1
    bars = []
    for heap in counted:
        height = HIGHEST * heap.joints / most
        hollow = HIGHEST * heap.turned / most
        if heap.joints > heap.turned:
            bars.append(("heap", x(heap.begin), GROUND - height, height - hollow))
        if heap.turned:
            bars.append(("turns", x(heap.begin), GROUND - hollow, hollow))
    width = (RIGHT - LEFT) / HEAPS - 2
    band = (
        x(float(criterion.low)) if criterion.low is not None else LEFT,
        x(float(criterion.high)) if criterion.high is not None else RIGHT,
    )
    return format_html(
        '<svg class="limit-line limits" viewBox="0 0 360 112" role="img" aria-label="{}">'
        '<rect class="band" x="{}" y="10" width="{}" height="62"/>{}'
        '<path class="scale" d="M8 72H352"/>{}{}</svg>',
        said(found),
        f"{band[0]:.1f}",
        f"{max(band[1] - band[0], 0):.1f}",
        format_html_join(
            "",
            '<rect class="{}" x="{}" y="{}" width="{}" height="{}"/>',
            (
                (kind, f"{left + 1:.1f}", f"{top:.1f}", f"{width:.1f}", f"{height:.1f}")
                for kind, left, top, height in bars
            ),
        ),
        _lines("limit", limits, criterion.unit, x, 96),
        _lines("earlier", before, criterion.unit, x, 110),
    )


def _lines(
    kind: str, limits: list[Decimal], unit: str, x: Callable[[float], float], baseline: int
) -> SafeString:
    return format_html_join(
        "",
        '<path class="{0}" d="M{1} 4V82"/><text x="{1}" y="{2}" text-anchor="{3}">{4}</text>',
        (
            (
                kind,
                f"{x(float(limit)):.1f}",
                str(baseline),
                _anchor(x(float(limit))),
                quantities.with_unit(quantities.format_decimal(limit), unit),
            )
            for limit in limits
        ),
    )


def _anchor(place: float) -> str:
    if place < LEFT + 24:
        return "start"
    return "end" if place > RIGHT - 24 else "middle"


def said(found: EffectOnRecords) -> str:
    """The effect in sentences."""
    effect = found.effect
    if not effect.joints:
        return _("No joint was measured and signed under the revision before.")
    parts = [
        ngettext(
            "%(n)d joint was measured under the revision before.",
            "%(n)d joints were measured under the revision before.",
            effect.joints,
        )
        % {"n": effect.joints}
    ]
    rejected, accepted = len(effect.now_rejected), len(effect.now_accepted)
    unclear = len(effect.unclear)
    counted = [
        (
            rejected,
            ngettext(
                "%(n)d accepted one would now be rejected.",
                "%(n)d accepted ones would now be rejected.",
                rejected,
            ),
        ),
        (
            accepted,
            ngettext(
                "%(n)d rejected one would now be accepted.",
                "%(n)d rejected ones would now be accepted.",
                accepted,
            ),
        ),
        (
            unclear,
            ngettext(
                "%(n)d lies too close to call, and counts as it was judged.",
                "%(n)d lie too close to call, and count as they were judged.",
                unclear,
            ),
        ),
    ]
    parts += [text % {"n": n} for n, text in counted if n]
    if found.is_cut:
        parts.append(_("Only the latest are counted: there are more."))
    if not effect.judged_otherwise:
        parts.append(_("None would be judged otherwise."))
    return " ".join(parts)


def boards_said(found: EffectOnRecords) -> str:
    """What it would have meant for boards, in sentences; empty where no joint turns."""
    if not found.boards:
        return ""
    parts = [
        ngettext(
            "Of %(n)d board with such a joint, %(fail)d would have failed and %(pass)d passed.",
            "Of %(n)d boards with such a joint, %(fail)d would have failed and %(pass)d passed.",
            found.boards_read,
        )
        % {"n": found.boards_read, "fail": len(found.would_fail), "pass": len(found.would_pass)}
    ]
    if found.boards_read < found.boards:
        parts.append(_("%(n)d more were not added up.") % {"n": found.boards - found.boards_read})
    if found.not_converted:
        parts.append(
            ngettext(
                "%(n)d joint of unknown diameter is left out.",
                "%(n)d joints of unknown diameter are left out.",
                found.not_converted,
            )
            % {"n": found.not_converted}
        )
    parts.append(_("Signed gradings stay as they are."))
    return " ".join(parts)

"""How far a plan of classes lies above what no plan can undercut, drawn to scale."""

import math

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

LEFT, RIGHT = 8.0, 352.0
MOST_TICKS = 8


def gap_line(value: int, bound: int, worked_out: int) -> SafeString:
    """Days without the right against the bound; empty where the two are one."""
    if value == bound:
        return SafeString("")
    end = _round_above(value)
    said = _(
        "This plan: %(value)d days without the right. No plan can have fewer than %(bound)d. As "
        "worked out: %(worked_out)d."
    ) % {"value": value, "bound": bound, "worked_out": worked_out}

    def x(days: float) -> float:
        return LEFT + (RIGHT - LEFT) * days / end

    step = _step(end)
    ticks = SafeString("".join(f"M{x(tick):.1f} 30V34" for tick in range(0, end + 1, step)))
    texts = [(x(bound), "middle", _("%(n)d at least") % {"n": bound}), (x(value), "middle", value)]
    if x(value) - x(bound) < 72:
        texts = [(x(bound) - 4, "end", texts[0][2]), (x(value) + 4, "start", value)]
    if texts[0][0] < 60:
        texts[0] = (LEFT, "start", texts[0][2])
        if x(value) < 100:
            texts[1] = (LEFT + 92, "start", value)
    return format_html(
        '<svg class="limit-line" viewBox="0 0 360 54" role="img" aria-label="{}">'
        '<rect class="band" x="{}" y="12" width="{}" height="18"/>'
        '<path class="scale" d="M{} 30H{}{}"/><path class="limit" d="M{} 8V38"/>'
        '<path class="gap" d="M{} 21H{}"/><path class="value" d="M{} 13V29"/>{}</svg>',
        said,
        LEFT,
        f"{x(bound) - LEFT:.1f}",
        LEFT,
        RIGHT,
        ticks,
        f"{x(bound):.1f}",
        f"{x(bound):.1f}",
        f"{x(value):.1f}",
        f"{x(value):.1f}",
        format_html_join(
            "",
            '<text x="{}" y="51" text-anchor="{}">{}</text>',
            ((f"{at:.1f}", anchor, text) for at, anchor, text in texts),
        ),
    )


def _step(end: int) -> int:
    power = 10 ** max(0, math.floor(math.log10(end / MOST_TICKS)))
    return next(factor * power for factor in (1, 2, 5, 10) if end / (factor * power) <= MOST_TICKS)


def _round_above(value: int) -> int:
    """A round end of the scale with a little room beyond the value."""
    step = _step(max(1, math.ceil(value * 1.15)))
    return math.ceil(value * 1.15 / step) * step

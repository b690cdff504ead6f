"""The limit line: a measured value, its uncertainty and its limits, drawn to scale."""

from __future__ import annotations

import math
from dataclasses import dataclass

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from .quantities import format_number, format_with_uncertainty, unit_sign, with_unit

LEFT, RIGHT = 8.0, 352.0
MAX_TICKS = 16
MIN_SPREAD = 1e-9  # Closer than this, relative to their size, numbers are drawn as one.


@dataclass(frozen=True)
class LimitLine:
    """A value with standard uncertainty ``u`` against ``low`` and ``high``; None is open."""

    value: float | None
    u: float | None
    low: float | None
    high: float | None
    unit: str = ""

    @property
    def expanded(self) -> float:
        """The expanded uncertainty, twice the standard one."""
        return 2 * self.u if self.u is not None and self.u > 0 else 0.0

    def verdict(self) -> str:
        """``within``, ``outside``, ``too_close``, or empty where there is nothing to compare."""
        if self.value is None or (self.low is None and self.high is None):
            return ""
        low = -math.inf if self.low is None else self.low
        high = math.inf if self.high is None else self.high
        if self.value - self.expanded >= low and self.value + self.expanded <= high:
            return "within"
        if self.value + self.expanded < low or self.value - self.expanded > high:
            return "outside"
        return "too_close"

    def span(self) -> tuple[float, float]:
        """The ends of the scale: everything that is drawn, and a little room at either side."""
        numbers = [limit for limit in (self.low, self.high) if limit is not None]
        if self.value is not None:
            numbers += [self.value - self.expanded, self.value + self.expanded]
        if not numbers:
            return 0.0, 1.0
        start, end = min(numbers), max(numbers)
        margin = 0.18 * (end - start)
        if end - start <= MIN_SPREAD * max(abs(start), abs(end), 1.0):
            margin = 0.1 * abs(start) if abs(start) > MIN_SPREAD else 1.0
        return start - margin, end + margin

    def x(self, number: float) -> float:
        """Where a number lies on the drawing."""
        start, end = self.span()
        return LEFT + (RIGHT - LEFT) * (number - start) / (end - start)

    def ticks(self) -> list[float]:
        """Round numbers along the scale, at most sixteen."""
        start, end = self.span()
        degrees = unit_sign(self.unit) == "°"
        step = _step((end - start) / MAX_TICKS, degrees=degrees)
        first = math.ceil(start / step)
        return [number * step for number in range(first, math.floor(end / step) + 1)]

    def description(self) -> str:
        """The same in words, for whoever does not see the drawing."""
        words = {
            "within": _("within"),
            "outside": _("outside"),
            "too_close": _("too close to call"),
        }
        limits = self._limits_text()
        if self.value is None:
            return limits or _("not measured")
        value, expanded = format_with_uncertainty(self.value, self.u)
        text = with_unit(value, self.unit)
        if expanded is not None:
            text = f"{text} ± {with_unit(expanded, self.unit)}"
        if limits:
            text = f"{text}, {limits}: {words[self.verdict()]}"
        return text

    def _limits_text(self) -> str:
        low = "" if self.low is None else with_unit(format_number(self.low), self.unit)
        high = "" if self.high is None else with_unit(format_number(self.high), self.unit)
        if low and high:
            return _("between %(low)s and %(high)s is asked") % {"low": low, "high": high}
        if low:
            return _("at least %(low)s is asked") % {"low": low}
        if high:
            return _("at most %(high)s is asked") % {"high": high}
        return ""

    def svg(self) -> SafeString:
        """The drawing."""
        parts = [self._band(), self._scale(), self._limits(), self._value()]
        return format_html(
            '<svg class="limit-line" viewBox="0 0 360 54" role="img" aria-label="{}">{}</svg>',
            self.description(),
            format_html_join("", "{}", ((part,) for part in parts)),
        )

    def _band(self) -> SafeString:
        if self.low is None and self.high is None:
            return SafeString("")
        left = LEFT if self.low is None else self.x(self.low)
        right = RIGHT if self.high is None else self.x(self.high)
        width = f"{max(right - left, 0):.1f}"
        return format_html(
            '<rect class="band" x="{}" y="12" width="{}" height="18"/>', f"{left:.1f}", width
        )

    def _scale(self) -> SafeString:
        marks = "".join(f"M{self.x(tick):.1f} 30V34" for tick in self.ticks())
        return format_html(
            '<path class="scale" d="M{} 30H{}{}"/>', f"{LEFT:g}", f"{RIGHT:g}", marks
        )

    def _limits(self) -> SafeString:
        limits = [limit for limit in (self.low, self.high) if limit is not None]
        near = len(limits) == 2 and abs(self.x(limits[1]) - self.x(limits[0])) < 64
        places = ((-4, "end"), (4, "start")) if near else ((0, "middle"), (0, "middle"))
        return format_html_join(
            "",
            '<path class="limit" d="M{0} 8V38"/><text x="{1}" y="51" text-anchor="{2}">{3}</text>',
            (
                (
                    f"{self.x(limit):.1f}",
                    f"{self.x(limit) + shift:.1f}",
                    anchor,
                    with_unit(format_number(limit), self.unit),
                )
                for limit, (shift, anchor) in zip(limits, places, strict=False)
            ),
        )

    def _value(self) -> SafeString:
        if self.value is None:
            return SafeString("")
        middle = self.x(self.value)
        spread = SafeString("")
        if self.expanded:
            spread = format_html(
                '<path class="spread" d="M{} 21H{}"/>',
                f"{self.x(self.value - self.expanded):.1f}",
                f"{self.x(self.value + self.expanded):.1f}",
            )
        return format_html('{}<path class="value" d="M{} 13V29"/>', spread, f"{middle:.1f}")


def _step(minimum: float, *, degrees: bool) -> float:
    if degrees and minimum > 1:
        for step in (5, 10, 15, 30, 45, 90, 180, 360):
            if step >= minimum:
                return float(step)
    power = 10.0 ** math.floor(math.log10(minimum))
    return next(factor * power for factor in (1, 2, 5, 10) if factor * power >= minimum)

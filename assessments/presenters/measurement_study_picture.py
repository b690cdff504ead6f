"""What the spread of readings is made of, as bars: by variances filled, by ranges hollow.

Drawn in three widths like the life of a certificate; the same stands in a table beside it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

WIDTHS = {"wide": 1120, "middle": 720, "narrow": 352}
GUTTERS = {"wide": 210, "middle": 170, "narrow": 0}
SIZE = {"wide": 13, "middle": 12, "narrow": 12}
NUMBER = 56  # room for a share behind the longest bar
BAR = 14
TICKS = (0, 25, 50, 75, 100)


@dataclass(frozen=True, slots=True)
class Bars:
    """One component: its name, and its share of the total variance by both methods."""

    label: str
    by_variances: float
    by_ranges: float | None
    shares: tuple[str, str]


def pictures(rows: Sequence[Bars], title: str) -> list[tuple[str, SafeString]]:
    """The picture in each width, by its name."""
    return [(name, _svg(rows, title, name)) for name in WIDTHS]


def _svg(rows: Sequence[Bars], title: str, name: str) -> SafeString:
    left, size = GUTTERS[name], SIZE[name]
    room = WIDTHS[name] - left - NUMBER
    parts: list[SafeString] = []
    y = 22.0
    for row in rows:
        if left:
            parts.append(_text(0, y + BAR, row.label, "row", size))
        else:
            parts.append(_text(0, y + 10, row.label, "row", size))
            y += 16
        bars = [("by-variances", row.by_variances, row.shares[0])]
        if row.by_ranges is not None:
            bars.append(("by-ranges", row.by_ranges, row.shares[1]))
        for css, share, said in bars:
            wide = max(room * share, 1.5)
            parts.append(
                format_html(
                    '<rect class="{}" x="{}" y="{}" width="{}" height="{}"/>',
                    css,
                    left + 0.5,
                    round(y, 1),
                    round(wide, 1),
                    BAR,
                )
            )
            parts.append(_text(left + wide + 6, y + BAR - 3, said, "share", size))
            y += BAR + 3
        y += 10
    grid = [
        format_html(
            '<path class="grid" d="M{} 16V{}"/>{}',
            round(left + room * tick / 100 + 0.5, 1),
            round(y - 6, 1),
            _text(left + room * tick / 100 + 2, 12, f"{tick}\u00a0%", "tick", size),
        )
        for tick in TICKS
    ]
    return format_html(
        '<svg class="life-picture study-bars is-{}" viewBox="0 0 {} {}" role="img"'
        ' aria-label="{}">{}{}</svg>',
        name,
        WIDTHS[name],
        round(y),
        title,
        _joined(grid),
        _joined(parts),
    )


def _text(x: float, y: float, words: Any, css: str, size: int) -> SafeString:
    return format_html(
        '<text class="{}" x="{}" y="{}" font-size="{}">{}</text>',
        css,
        round(x, 1),
        round(y, 1),
        size,
        words,
    )


def _joined(parts: Sequence[SafeString]) -> SafeString:
    return format_html_join("", "{}", ((part,) for part in parts))

"""One figure a board, from left to right as the boards were handed in, drawn in two widths:
one for the column that it stands in, and one for a phone.

The same figures stand in a table beside it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

LEFT, TOP, BOTTOM, RIGHT = 48, 20, 250, 12
HEIGHT = 294
BOARDS = {"wide": 12, "middle": 8, "narrow": 5}
WIDTHS = {"wide": 680, "middle": 460, "narrow": 340}
STEPS = (1, 2, 5)


@dataclass(frozen=True, slots=True)
class Point:
    """A board's figure, and between which limits the true one lies where that is known.

    ``below`` are the two short lines of words that stand under it.
    """

    value: float
    below: tuple[str, str]
    limits: tuple[float, float] | None = None


def top_of(points: Iterable[Point], most: float | None = None) -> float:
    """Where the axis ends: the first of 1, 2, 5, 10 … that leaves room for every figure.

    Examples
    --------
    >>> top_of([Point(12, ("", "")), Point(3, ("", ""), (1, 31))]), top_of([])
    (50.0, 1.0)
    >>> top_of([Point(90, ("", ""))], most=100)
    100
    """
    highest = max((point.limits[1] if point.limits else point.value for point in points), default=0)
    power = 1.0
    while True:
        for step in STEPS:
            if step * power >= highest:
                return min(step * power, most) if most else step * power
        power *= 10


def pictures(
    points: Sequence[Point],
    *,
    title: str,
    unit: str,
    most: float | None = None,
    column: str = "wide",
) -> list[tuple[str, SafeString]]:
    """The picture in each width, by its name: of the last boards as many as it has room for.

    ``column`` is ``wide`` or ``middle``.
    """
    return [
        (name, _svg(name, points[-BOARDS[name] :], title=title, unit=unit, most=most))
        for name in (column, "narrow")
    ]


def _svg(
    name: str, points: Sequence[Point], *, title: str, unit: str, most: float | None
) -> SafeString:
    top, right = top_of(points, most), WIDTHS[name] - RIGHT
    scale = (BOTTOM - TOP) / top
    room = (right - LEFT) / BOARDS[name]
    grid = [
        format_html(
            '<path class="grid" d="M{} {}H{}"/>{}',
            LEFT,
            round(BOTTOM - tick * scale, 1),
            right,
            _text(LEFT - 8, BOTTOM - tick * scale + 4, _tick(tick, unit, top), "end"),
        )
        for tick in (0, top / 5, 2 * top / 5, 3 * top / 5, 4 * top / 5, top)
    ]
    marks = [
        _mark(point, LEFT + room * (place + 0.5), scale, is_last=place == len(points) - 1)
        for place, point in enumerate(points)
    ]
    return format_html(
        '<svg class="chart progress-chart is-{}" viewBox="0 0 {} {}" role="img"'
        ' aria-label="{}">{}<path class="axis" d="M{} {}H{}"/>{}</svg>',
        name,
        WIDTHS[name],
        HEIGHT,
        title,
        _joined(grid),
        LEFT,
        BOTTOM,
        right,
        _joined(marks),
    )


def _tick(tick: float, unit: str, top: float) -> str:
    shown = f"{tick:g}"
    return f"{shown}\u00a0{unit}" if tick == top else shown


def _mark(point: Point, x: float, scale: float, *, is_last: bool) -> SafeString:
    y = BOTTOM - point.value * scale
    whisker: SafeString | str = ""
    if point.limits is not None:
        low, high = (round(BOTTOM - limit * scale, 1) for limit in point.limits)
        left = round(x - 5, 1)
        whisker = format_html(
            '<path class="whisker{}" d="M{} {}V{}M{} {}h10M{} {}h10"/>',
            " whisker-now" if is_last else "",
            *(round(x, 1), low, high, left, low, left, high),
        )
    return format_html(
        '{}<circle class="{}" cx="{}" cy="{}" r="5"/>{}{}',
        whisker,
        "dot-now" if is_last else "dot",
        round(x, 1),
        round(y, 1),
        _text(x, 270, point.below[0], "middle"),
        _text(x, 287, point.below[1], "middle"),
    )


def _text(x: float, y: float, words: Any, anchor: str) -> SafeString:
    return format_html(
        '<text x="{}" y="{}" text-anchor="{}">{}</text>', round(x, 1), round(y, 1), anchor, words
    )


def _joined(parts: Sequence[SafeString]) -> SafeString:
    return format_html_join("", "{}", ((part,) for part in parts))

"""Months ahead as a picture: what ends in each month as filled bars, places free as hollow ones.

One row for each scope, with the certificates to renew; below them vision tests and work to be
done, and one row for each course with the places of its classes. All rows have one scale, so
that a tall bar means the same everywhere; where there are many rows, all are lower. Drawn in
three widths, like the life of a certificate.
"""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from django.utils.html import format_html
from django.utils.safestring import SafeString

from people.presenters.days import format_month, format_year

from .months_ahead import Overview, Places

WIDTHS = {"wide": 1120, "middle": 720, "narrow": 352}
GUTTERS = {"wide": 210, "middle": 170, "narrow": 0}
SIZE = {"wide": 13, "middle": 12, "narrow": 12}
TALLEST, LOWEST = 34, 12
HIGH = 400  # What the rows should take together.
NUMBER, GAP = 15, 8
LETTER = 0.56


def pictures(overview: Overview, title: str) -> list[tuple[str, SafeString]]:
    """The picture in each width, by its name; empty where nothing falls due."""
    if overview.is_empty:
        return []
    return [(name, _Drawing(overview, title, name).svg()) for name in WIDTHS]


class _Drawing:
    def __init__(self, overview: Overview, title: str, name: str) -> None:
        self._overview, self._title, self._name = overview, title, name
        self._size = SIZE[name]
        self._left, self._right = float(GUTTERS[name]), float(WIDTHS[name])
        self._column = (self._right - self._left) / len(overview.months)
        self._most = max(
            [count for row in overview.scopes for count in row.ends.values()]
            + [count for row in overview.kinds for count in row.ends.values()]
            + [places.planned for row in overview.courses for places in row.places.values()]
        )
        rows = len(overview.scopes) + len(overview.kinds) + len(overview.courses)
        room = HIGH / rows - NUMBER - GAP - (0 if self._left else 12)
        self._tallest = min(max(room, LOWEST), TALLEST)
        self._parts: list[SafeString] = []
        self._y = 40.0

    def svg(self) -> SafeString:
        for row in self._overview.scopes:
            self._row(row.scope.title, row.ends, {})
        for kind in self._overview.kinds:
            self._row(kind.word, kind.ends, {})
        for course in self._overview.courses:
            self._row(course.word, {}, course.places)
        return format_html(
            '<svg class="life-picture months is-{}" viewBox="0 0 {} {}" role="img"'
            ' aria-label="{}">{}{}</svg>',
            self._name,
            WIDTHS[self._name],
            round(self._y + 4),
            self._title,
            _joined(self._head()),
            _joined(self._parts),
        )

    def _head(self) -> Iterable[SafeString]:
        """Months above, with a line down where a year begins."""
        every = 1 if self._column >= 26 else 2 if self._column >= 14 else 3
        for place, month in enumerate(self._overview.months):
            x = self._left + self._column * place
            if month.month == 1 or place == 0:
                yield self._written(x + 2, 14, format_year(month), "year")
                if place:
                    yield format_html(
                        '<path class="grid" d="M{} 4V{}"/>', round(x, 1), round(self._y, 1)
                    )
            if place % every == 0:
                yield self._written(x + 2, 30, format_month(month), "tick")

    def _row(self, label: str, ends: dict[date, int], places: dict[date, Places]) -> None:
        if self._left > 50:
            label_y = self._y + NUMBER + self._tallest - 4
            self._parts += [
                self._written(0, label_y - 15 * (lines - place - 1), words, "row")
                for lines, place, words in self._wrapped(label)
            ]
        else:
            self._parts.append(self._written(0, self._y + 12, label, "row"))
            self._y += 12
        base = self._y + NUMBER + self._tallest
        for place, month in enumerate(self._overview.months):
            x = self._left + self._column * place
            self._bars(x, base, ends.get(month, 0), places.get(month))
        self._parts.append(
            format_html(
                '<path class="ground" d="M{} {}H{}"/>',
                round(self._left, 1),
                round(base, 1),
                round(self._right, 1),
            )
        )
        self._y = base + GAP

    def _wrapped(self, label: str) -> Sequence[tuple[int, int, str]]:
        """A label in as many lines as its room asks for, each with their number and its place."""
        room = (self._left - 14) / (self._size * LETTER)
        lines: list[str] = []
        for word in label.split():
            if lines and len(lines[-1]) + 1 + len(word) <= room:
                lines[-1] += f" {word}"
            else:
                lines.append(word)
        return [(len(lines), place, words) for place, words in enumerate(lines)]

    def _bars(self, x: float, base: float, ends: int, places: Places | None) -> None:
        width = min(self._column / 2 - 2, 22)
        if ends:
            self._bar(x + 1, base, width, ends, "due")
        if places is not None and places.planned:
            self._bar(x + 1, base, width, places.planned, "planned", places.free)
            taken = self._tall(places.planned) * min(places.taken, places.planned)
            if places.taken:
                tall = taken / places.planned
                self._rect(x + 1, base - tall, width, tall, "taken")

    def _tall(self, count: int) -> float:
        return max(self._tallest * count / self._most, 3.0)

    def _bar(
        self, x: float, base: float, width: float, count: int, css: str, said: int | None = None
    ) -> None:
        tall = self._tall(count)
        self._rect(x, base - tall, width, tall, css)
        words = str(count if said is None else said)
        if len(words) * self._size * LETTER <= self._column - 2:
            self._parts.append(
                format_html(
                    '<text class="{}" x="{}" y="{}" font-size="{}" text-anchor="middle">{}</text>',
                    f"{css}-number",
                    round(x + width / 2, 1),
                    round(base - tall - 3, 1),
                    self._size,
                    words,
                )
            )

    def _rect(self, x: float, y: float, width: float, height: float, css: str) -> None:
        self._parts.append(
            format_html(
                '<rect class="{}" x="{}" y="{}" width="{}" height="{}"/>',
                css,
                round(x, 1),
                round(y, 1),
                round(width, 1),
                round(height, 1),
            )
        )

    def _written(self, x: float, y: float, words: Any, css: str) -> SafeString:
        return format_html(
            '<text class="{}" x="{}" y="{}" font-size="{}">{}</text>',
            css,
            round(x, 1),
            round(y, 1),
            self._size,
            words,
        )


def _joined(parts: Iterable[SafeString]) -> SafeString:
    # Each part was escaped when it was made.
    return SafeString("".join(parts))

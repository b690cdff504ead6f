"""The life of a certificate as a picture: standing as a band, what it rests on in rows below.

Time runs from left to right. What lies ahead of today is drawn hollow, since it holds only if
nothing changes. Every picture is drawn in three widths, so that its words can be read on a
phone, on paper and at a desk; the page shows one of them.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from people.presenters.days import format_month, format_unbroken_day, format_year

WIDTHS = {"wide": 1120, "middle": 720, "narrow": 352}
GUTTERS = {"wide": 132, "middle": 112, "narrow": 8}
SIZE = {"wide": 13, "middle": 12, "narrow": 12}
EDGE = 8  # Room at the right for what ends on the last day.
LETTER = 0.56  # How wide a letter is on average, of the size of the type.
BOLD_LETTER = 0.61
TICK_ROOM = 62
TICK_MONTHS = (1, 3, 6, 12, 24, 60, 120)

BAND = 28
FILLED = {"certified": "certified", "expired": "expired", "never_certified": "never"}
PATTERNED = {
    "suspended": "bars",
    "revoked": "crossed",
    "vision_not_current": "hatched",
    "not_current": "hatched",
    "practice_lapsed": "dashed",
}
PATTERNS = {
    "bars": (8, 8, "M2 0V8M6 0V8", "is-reject"),
    "crossed": (8, 8, "M0 0L8 8M8 0L0 8", "is-reject"),
    "hatched": (7, 7, "M-1 8L8 -1M-2 2L2 -2M5 9L9 5", "is-caution"),
    "dashed": (16, 8, "M2 4H10", "is-caution"),
}


@dataclass(frozen=True, slots=True)
class Bar:
    """Days of one standing; ``last_day`` is None where nothing known ends them."""

    first_day: date
    last_day: date | None
    standing: str
    word: str
    shape: str
    tone: str


@dataclass(frozen=True, slots=True)
class Mark:
    """Something on a day of a certificate, with a shape and a word."""

    day: date
    shape: str
    tone: str
    word: str
    is_gone: bool = False


@dataclass(frozen=True, slots=True)
class Paper:
    """One certificate: the days it was issued for, and its last one after every event."""

    number: str
    issued_on: date
    period_through: date
    last_day: date
    marks: tuple[Mark, ...] = ()
    is_gone: bool = False


@dataclass(frozen=True, slots=True)
class Test:
    """A vision test, and through which day a pass keeps; None for one that was failed."""

    day: date
    through: date | None


@dataclass(frozen=True, slots=True)
class Life:
    """Everything in the picture. ``tests`` and ``practice`` are None where they have no row."""

    title: str
    today: date
    asked: date
    bars: Sequence[Bar]
    papers: Sequence[Paper] = ()
    tests: Sequence[Test] | None = None
    practice: Sequence[date] | None = None

    def days(self) -> tuple[date, date]:
        """The first and the last day drawn."""
        first = min(
            [bar.first_day for bar in self.bars] + [paper.issued_on for paper in self.papers]
        )
        ahead = [self.today, self.asked]
        ahead += [paper.last_day for paper in self.papers] + [
            paper.period_through for paper in self.papers
        ]
        ahead += [bar.first_day for bar in self.bars]
        first, last = min(first, self.asked, self.today), max(ahead)
        room = timedelta(days=max((last - first).days // 40, 10))
        return first - room, last + room


def pictures(life: Life, ids: str = "") -> list[tuple[str, SafeString]]:
    """The picture in each width, by its name; empty where there is nothing to draw.

    ``ids`` begins the ids within, where a page has several pictures.
    """
    if not life.bars and not life.papers:
        return []
    return [(name, _Drawing(life, name, ids).svg()) for name in WIDTHS]


class _Words:
    """Places words below a row so that none runs into another, or into the line to another."""

    def __init__(self, size: int, left: float, right: float, lines: int = 3) -> None:
        self._size, self._left, self._right = size, left, right
        self._taken: list[list[tuple[float, float]]] = [[] for _line in range(lines)]
        self._leaders: list[tuple[float, int]] = []

    def width(self, word: str) -> float:
        return len(word) * self._size * LETTER

    def place(self, x: float, word: str, leftward: bool = False) -> tuple[float, int] | None:
        """Where a word begins and on which line; None where there is no room for it.

        ``leftward`` leaves the room to its right to another that comes soon.
        """
        width = self.width(word)
        starts = (x - width / 2, x - 6, x - width + 6)
        for line in range(len(self._taken)):
            for start in reversed(starts) if leftward else starts:
                start = min(max(start, self._left), self._right - width)
                if start >= self._left - 0.5 and self._is_free(x, start, start + width, line):
                    self._taken[line].append((start, start + width))
                    self._leaders.append((x, line))
                    return start, line
        return None

    def _is_free(self, x: float, start: float, end: float, line: int) -> bool:
        beside = all(end + 8 <= first or start >= last + 8 for first, last in self._taken[line])
        above = [interval for taken in self._taken[:line] for interval in taken]
        leader = all(x < first - 2 or x > last + 2 for first, last in above)
        others = all(
            other < start - 2 or other > end + 2 for other, below in self._leaders if below > line
        )
        return beside and leader and others

    @property
    def lines_used(self) -> int:
        return max((place + 1 for place, taken in enumerate(self._taken) if taken), default=0)


class _Drawing:
    def __init__(self, life: Life, name: str, ids: str) -> None:
        self._life, self._name, self._ids = life, name, f"{ids}{name}"
        self._size = SIZE[name]
        self._first, self._last = life.days()
        self._left, self._right = float(GUTTERS[name]), float(WIDTHS[name] - EDGE)
        self._parts: list[SafeString] = []
        self._texts: list[SafeString] = []
        self._y = 26.0

    def svg(self) -> SafeString:
        self._standing()
        for paper in self._life.papers:
            self._paper(paper)
        if self._life.tests is not None:
            self._tests(self._life.tests)
        if self._life.practice is not None:
            self._practice(self._life.practice)
        bottom = self._y
        under = [self._ticks(bottom), *self._patterns()]
        days = self._days(bottom)
        # Words come last, so that no line runs through them.
        return format_html(
            '<svg class="life-picture is-{}" viewBox="0 0 {} {}" role="img" aria-label="{}">'
            "{}{}{}{}</svg>",
            self._name,
            WIDTHS[self._name],
            round(bottom + 22),
            self._life.title,
            _joined(under),
            _joined(self._parts),
            days,
            _joined(self._texts),
        )

    # Where things are

    def _x(self, day: date) -> float:
        whole = (self._last - self._first).days
        gone = min(max((day - self._first).days, 0), whole)
        return round(self._left + (self._right - self._left) * gone / whole, 1)

    def _after(self, day: date | None) -> float:
        """The end of a day that is included; the edge where there is none."""
        if day is None or day >= self._last:
            return self._right
        return self._x(day + timedelta(days=1))

    def _row(self, label: str, css: str = "") -> None:
        """Name a row: at its left, or above it where the picture is narrow."""
        if self._left > 50:
            self._text(0, self._y + 14, label, f"row {css}".strip())
        else:
            self._text(0, self._y + 9, label, f"row {css}".strip())
            self._y += 14

    def _text(self, x: float, y: float, words: Any, css: str = "") -> None:
        self._texts.append(
            format_html(
                '<text class="{}" x="{}" y="{}" font-size="{}">{}</text>',
                css,
                round(x, 1),
                round(y, 1),
                self._size,
                words,
            )
        )

    def _draw(self, css: str, path: str) -> None:
        self._parts.append(format_html('<path class="{}" d="{}"/>', css, path))

    def _shape(self, x: float, y: float, shape: str, tone: str, side: int = 12) -> None:
        self._parts.append(
            format_html(
                '<use class="sign {}" href="#m-{}" x="{}" y="{}" width="{}" height="{}"/>',
                tone,
                shape,
                round(x - side / 2, 1),
                round(y - side / 2, 1),
                side,
                side,
            )
        )

    # The rows

    def _standing(self) -> None:
        self._row(_("Standing"), "strong")
        top, words = self._y, _Words(self._size, self._left, self._right)
        narrow: list[tuple[float, Bar]] = []
        for bar in self._life.bars:
            start, end = self._x(bar.first_day), self._after(bar.last_day)
            now = min(max(self._after(self._life.today), start), end)
            if now > start:
                self._block(bar.standing, start, now, top)
            if end > now:
                self._block(bar.standing, now, end, top, ahead=True)
            # Words stand where their ground is one: all behind today, or all ahead of it.
            room = len(bar.word) * self._size * BOLD_LETTER + 32
            if max(now - start, end - now) < room:
                narrow.append(((start + end) / 2, bar))
                continue
            at = start if now - start >= room else now
            solid = bar.standing == "certified" and at < now
            self._shape(at + 14, top + BAND / 2, bar.shape, "on-solid" if solid else bar.tone)
            self._text(at + 24, top + BAND / 2 + 4.5, bar.word, "on-solid" if solid else "in-band")
        self._y = top + BAND
        for x, bar in narrow:
            self._word_below(words, x, bar.word, self._y)
        self._y += 8 + 15 * words.lines_used + 4

    def _block(
        self, standing: str, start: float, end: float, top: float, ahead: bool = False
    ) -> None:
        width = max(end - start, 1.5)
        tone = " ahead" if ahead else ""
        pattern = PATTERNED.get(standing)
        if pattern is not None:
            self._parts.append(
                format_html(
                    '<rect class="block {}{}" x="{}" y="{}" width="{}" height="{}"'
                    ' fill="url(#{}-{})"/>',
                    PATTERNS[pattern][3],
                    tone,
                    round(start, 1),
                    round(top, 1),
                    round(width, 1),
                    BAND,
                    self._ids,
                    pattern,
                )
            )
            return
        css = FILLED.get(standing, "never")
        if css == "never":
            self._draw(f"never{tone}", f"M{start:.1f} {top + BAND / 2:.1f}H{start + width:.1f}")
            return
        self._parts.append(
            format_html(
                '<rect class="block {}{}" x="{}" y="{}" width="{}" height="{}"/>',
                css,
                tone,
                round(start, 1),
                round(top, 1),
                round(width, 1),
                BAND,
            )
        )

    def _word_below(
        self, words: _Words, x: float, word: str, y: float, leftward: bool = False
    ) -> None:
        spot = words.place(x, word, leftward)
        if spot is None:
            return
        start, line = spot
        self._draw("leader", f"M{x:.1f} {y + 1:.1f}V{y + 6 + 15 * line:.1f}")
        self._text(start, y + 17 + 15 * line, word, "below")

    def _paper(self, paper: Paper) -> None:
        self._row(paper.number, "is-gone" if paper.is_gone else "")
        y = self._y + 10
        start, now = self._x(paper.issued_on), self._after(self._life.today)
        period, last = self._after(paper.period_through), self._after(paper.last_day)
        css = "paper is-gone" if paper.is_gone else "paper"
        kept = min(period, last)
        if start < min(now, kept):
            self._draw(css, f"M{start:.1f} {y:.1f}H{min(now, kept):.1f}")
        if max(now, start) < kept:
            self._draw(f"{css} ahead", f"M{max(now, start):.1f} {y:.1f}H{kept:.1f}")
        if last > period:
            self._draw(f"{css} extended", f"M{period:.1f} {y:.1f}H{last:.1f}")
        elif last < period:
            self._draw(f"{css} cut", f"M{last:.1f} {y:.1f}H{period:.1f}")
        self._draw("edge", f"M{start:.1f} {y - 6:.1f}v12M{last:.1f} {y - 6:.1f}v12")
        words = _Words(self._size, self._left, self._right)
        for place, mark in enumerate(paper.marks):
            x = self._x(mark.day)
            after = self._x(paper.marks[place + 1].day) if place + 1 < len(paper.marks) else None
            is_close = after is not None and after - x < words.width(mark.word) / 2 + 16
            self._shape(x, y, mark.shape, f"{mark.tone}{' is-gone' if mark.is_gone else ''}", 14)
            if mark.is_gone:
                self._draw("struck", f"M{x - 9:.1f} {y + 7:.1f}L{x + 9:.1f} {y - 7:.1f}")
            self._word_below(words, x, mark.word, y + 6, leftward=is_close)
        through = _("through %(day)s") % {"day": format_unbroken_day(paper.last_day)}
        self._word_below(words, last, through, y + 6)
        issued = _("issued %(day)s") % {"day": format_unbroken_day(paper.issued_on)}
        self._word_below(words, start, issued, y + 6)
        self._y = y + 14 + 15 * words.lines_used + 6

    def _tests(self, tests: Iterable[Test]) -> None:
        self._row(_("Vision test"))
        y = self._y + 10
        now = self._after(self._life.today)
        for test in tests:
            if test.through is None or test.through < self._first:
                continue
            start, end = self._x(test.day), self._after(test.through)
            if start < min(now, end):
                self._draw("current", f"M{start:.1f} {y:.1f}H{min(now, end):.1f}")
            if max(now, start) < end:
                self._draw("current ahead", f"M{max(now, start):.1f} {y:.1f}H{end:.1f}")
        for test in tests:
            if test.day >= self._first:
                passed = test.through is not None
                shape, tone = ("accept", "is-accept") if passed else ("reject", "is-reject")
                self._shape(self._x(test.day), y, shape, tone)
        self._y = y + 22

    def _practice(self, days: Sequence[date]) -> None:
        """How often such work was done: the days in each month as the height of a bar."""
        self._row(_("Practice"))
        height = 26
        base = self._y + height
        months: dict[date, int] = {}
        for day in days:
            if day >= self._first:
                months[day.replace(day=1)] = months.get(day.replace(day=1), 0) + 1
        most = max(months.values(), default=1)
        for month, count in sorted(months.items()):
            start = self._x(max(month, self._first))
            end = self._x(_months_later(month, 1))
            width = max(end - start - 1, 1.5)
            tall = 4 + (height - 4) * count / most
            self._parts.append(
                format_html(
                    '<rect class="work" x="{}" y="{}" width="{}" height="{}"/>',
                    round(start, 1),
                    round(base - tall, 1),
                    round(width, 1),
                    round(tall, 1),
                )
            )
        self._draw("ground", f"M{self._left:.1f} {base:.1f}H{self._right:.1f}")
        self._y = base + 10

    # Time

    def _ticks(self, bottom: float) -> SafeString:
        per_month = (self._right - self._left) / max((self._last - self._first).days, 1) * 30.4
        step = next(
            (months for months in TICK_MONTHS if months * per_month >= TICK_ROOM), TICK_MONTHS[-1]
        )
        ticks: list[SafeString] = []
        month = date(self._first.year, 1, 1)
        if step > 12:
            month = month.replace(year=month.year - month.year % (step // 12))
        while month <= self._last:
            x = self._x(month)
            if month >= self._first and x <= self._right - 24:
                is_year = month.month == 1 or step >= 12
                css = "tick year" if is_year else "tick"
                ticks.append(
                    format_html(
                        '<path class="grid" d="M{} 20V{}"/>'
                        '<text class="{}" x="{}" y="14" font-size="{}">{}</text>',
                        x,
                        round(bottom, 1),
                        css,
                        x,
                        self._size,
                        format_year(month) if is_year else format_month(month),
                    )
                )
            month = _months_later(month, step)
        return _joined(ticks)

    def _days(self, bottom: float) -> SafeString:
        """The day asked about, and today where that is another."""
        asked, today = self._life.asked, self._life.today
        lines = [(asked, "asked", format_unbroken_day(asked))]
        if asked != today:
            lines.insert(0, (today, "today", _("today")))
        else:
            lines[0] = (asked, "asked", _("today, %(day)s") % {"day": format_unbroken_day(today)})
        parts, words = [], _Words(self._size, self._left, self._right, lines=1)
        for day, css, word in reversed(lines):
            x = self._x(day)
            parts.append(
                format_html('<path class="{}" d="M{} 20V{}"/>', css, x, round(bottom + 4, 1))
            )
            spot = words.place(x, word)
            if spot is not None:
                parts.append(
                    format_html(
                        '<text class="{}" x="{}" y="{}" font-size="{}">{}</text>',
                        f"{css}-word",
                        round(spot[0], 1),
                        round(bottom + 18, 1),
                        self._size,
                        word,
                    )
                )
        return _joined(parts)

    def _patterns(self) -> Iterator[SafeString]:
        used = {PATTERNED[bar.standing] for bar in self._life.bars if bar.standing in PATTERNED}
        for name in sorted(used):
            width, height, path, tone = PATTERNS[name]
            yield format_html(
                '<pattern id="{}-{}" width="{}" height="{}" patternUnits="userSpaceOnUse">'
                '<path class="pattern {} {}" d="{}"/></pattern>',
                self._ids,
                name,
                width,
                height,
                name,
                tone,
                path,
            )


def _joined(parts: Iterable[SafeString]) -> SafeString:
    # Each part was escaped when it was made.
    return SafeString("".join(parts))


def _months_later(day: date, months: int) -> date:
    years, month = divmod(day.month - 1 + months, 12)
    return day.replace(year=day.year + years, month=month + 1)

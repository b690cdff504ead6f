"""A question such as "stamp 47 on 3 May 2026", taken apart into a number or name and a day."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

MONTHS = {
    name: number
    for number, names in enumerate(
        (
            ("january", "jan"),
            ("february", "feb"),
            ("march", "mar"),
            ("april", "apr"),
            ("may",),
            ("june", "jun"),
            ("july", "jul"),
            ("august", "aug"),
            ("september", "sep", "sept"),
            ("october", "oct"),
            ("november", "nov"),
            ("december", "dec"),
        ),
        start=1,
    )
    for name in names
}
YEARS_BACK = 8  # As far as the 29th of February can lie.

ISO = re.compile(r"(?<![\w-])(?P<year>\d{4})-(?P<month>\d{1,2})-(?P<day>\d{1,2})(?![\w-])")
FIGURES = re.compile(
    r"(?<![\w./-])(?P<first>\d{1,2})(?P<mark>[./-])(?P<second>\d{1,2})(?P=mark)(?P<year>\d{4})(?![\w/-])"
)
AFTER_A_WORD = r"(\.?\s+|\s*[:#]\s*)"


class Kind(StrEnum):
    """What the number was said to be."""

    STAMP = "stamp"
    UNIT = "unit"
    PERSON = "person"
    EITHER = "either"


@dataclass(frozen=True, slots=True)
class Words:
    """The words of a question in one language, each in small letters.

    Attributes
    ----------
    stamp, unit, person : tuple of str
        What stands before a number and says what it is.
    asking : tuple of str
        How a question begins.
    joining : tuple of str
        What stands before a day or a name.
    """

    stamp: tuple[str, ...] = ()
    unit: tuple[str, ...] = ()
    person: tuple[str, ...] = ()
    asking: tuple[str, ...] = ()
    joining: tuple[str, ...] = ()


ENGLISH = Words(
    stamp=("stamp", "mark"),
    unit=("unit", "serial", "traveller", "work order", "order", "wo"),
    person=("employee number", "employee", "operator", "person", "badge"),
    asking=tuple(
        f"who {did}{it}"
        for did in ("was", "is", "held", "had", "made", "did")
        for it in ("", " it")
    ),
    joining=("on", "of", "from"),
)


class _Patterns:
    """What the words of a language and the English ones look for."""

    def __init__(self, words: Words) -> None:
        def either(name: str) -> str:
            known = {*getattr(ENGLISH, name), *getattr(words, name)} - {""}
            longest_first = sorted(known, key=lambda word: (-len(word), word))
            return "|".join(re.escape(word).replace(r"\ ", "[ -]") for word in longest_first)

        def find(pattern: str) -> re.Pattern[str]:
            return re.compile(pattern, re.IGNORECASE)

        self.kinds = {
            kind: find(rf"^({either(kind.value)}){AFTER_A_WORD}")
            for kind in (Kind.STAMP, Kind.UNIT, Kind.PERSON)
        }
        self.asking = find(rf"^({either('asking')})\b[\s:,]*")
        joining = either("joining")
        self.joining = find(rf"^[\s,;:?]+|[\s,;:?]+$|^({joining})\s+|\s+({joining})$")

    def trimmed(self, text: str) -> str:
        while (shorter := self.joining.sub("", text)) != text:
            text = shorter
        return text


class Trouble(StrEnum):
    NO_SUCH_DAY = "no_such_day"
    TWO_WAYS = "two_ways"
    NO_NUMBER = "no_number"


class NotUnderstood(ValueError):
    """The question has no answer; ``text`` is the part that is the trouble."""

    def __init__(self, trouble: Trouble, text: str) -> None:
        super().__init__(f"{trouble}: {text}")
        self.trouble = trouble
        self.text = text


@dataclass(frozen=True, slots=True)
class Question:
    """A stamp's mark, the number of a unit, work order or person, or a name, and a day if any.

    ``written`` is the number with the word before it that says what it is: some number their
    work orders so.
    """

    number: str
    day: date | None
    kind: Kind
    written: str


def read_question(
    text: str,
    today: date,
    months: Mapping[str, int] | None = None,
    words: Words = ENGLISH,
) -> Question:
    """Take a question apart.

    Parameters
    ----------
    text : str
        A number or name with or without a day, in any order: ``47 2026-05-03``,
        ``stamp 47 on 3 May 2026``, ``May 3, 2026 47``, ``unit SN-0419``, ``operator 20031 on
        3 May``. A day without its year is the latest such day up to today.
    today : date
    months : mapping of str to int, optional
        Names of months in the reader's language, in small letters, beside the English ones.
    words : Words, optional
        The words of the reader's language, beside the English ones.

    Returns
    -------
    Question

    Raises
    ------
    NotUnderstood
        If the day does not exist, could be read in two ways, or stands alone.

    Examples
    --------
    >>> found = read_question("stamp 47 on 3 May 2026", date(2026, 11, 25))
    >>> found.number, found.day.isoformat(), found.kind.value
    ('47', '2026-05-03', 'stamp')
    """
    patterns = _Patterns(words)
    text = " ".join(text.split())
    day, rest = _day_in(text, today, MONTHS | dict(months or {}), patterns)
    rest = patterns.asking.sub("", patterns.trimmed(rest))
    as_written = number = patterns.trimmed(rest)
    kind = Kind.EITHER
    for named, pattern in patterns.kinds.items():
        without = pattern.sub("", number)
        if without and without != number:
            number, kind = patterns.trimmed(without), named
    if not number:
        raise NotUnderstood(Trouble.NO_NUMBER, text)
    return Question(number, day, kind, as_written)


def _day_in(
    text: str, today: date, months: Mapping[str, int], patterns: _Patterns
) -> tuple[date | None, str]:
    """The day that a text names, if any, and the text without it."""
    if match := ISO.search(text):
        day = _day(match, int(match["year"]), int(match["month"]), int(match["day"]))
    elif (match := FIGURES.search(text)) and not _is_all_there_is(match, text, patterns):
        day = _day(match, int(match["year"]), *_month_and_day(match))
    else:
        tried = (re.search(pattern, text, re.IGNORECASE) for pattern in _with_names(months))
        match = next((candidate for candidate in tried if candidate), None)
        if match is None:
            return None, text
        month, number = months[match["month"].lower()], int(match["day"])
        year = match.groupdict().get("year")
        if year is not None:
            day = _day(match, int(year), month, number)
        else:
            day = _latest(match, today, month, number)
    return day, f"{text[: match.start()]} {text[match.end() :]}".strip()


def _is_all_there_is(match: re.Match[str], text: str, patterns: _Patterns) -> bool:
    """Whether figures joined by hyphens are the number itself: some number their units so."""
    rest = patterns.trimmed(f"{text[: match.start()]} {text[match.end() :]}")
    rest = patterns.asking.sub("", rest)
    return match["mark"] == "-" and not (
        rest and all(pattern.sub("", f"{rest} ") for pattern in patterns.kinds.values())
    )


def _with_names(months: Mapping[str, int]) -> tuple[str, ...]:
    """Patterns of days with the month's name; those that name a year go first."""
    names = "|".join(re.escape(name) for name in sorted(months, key=len, reverse=True))
    month = rf"(?P<month>{names})\.?"
    number, likely = r"(?P<day>\d{1,2})", r"(?P<day>0?[1-9]|[12]\d|3[01])"
    ends, year = r"(?:st|nd|rd|th|\.)?", r",? ?(?P<year>\d{4})(?!\w)"
    return (
        rf"(?<!\w){month} ?{number}{ends}{year}",
        rf"(?<!\w){number}{ends} ?{month}{year}",
        rf"(?<!\w){likely}{ends} ?{month}(?!\w)",
        rf"(?<!\w){month} ?{likely}{ends}(?!\w)",
    )


def _month_and_day(match: re.Match[str]) -> tuple[int, int]:
    """Full stops stand in days that begin with the day; with others both ways are written."""
    first, second = int(match["first"]), int(match["second"])
    if match["mark"] != "." and first != second and max(first, second) <= 12:
        raise NotUnderstood(Trouble.TWO_WAYS, match[0])
    if match["mark"] != "." and second > 12:
        return first, second
    return second, first


def _day(match: re.Match[str], year: int, month: int, day: int) -> date:
    try:
        return date(year, month, day)
    except ValueError:
        raise NotUnderstood(Trouble.NO_SUCH_DAY, match[0].strip()) from None


def _latest(match: re.Match[str], today: date, month: int, day: int) -> date:
    for year in range(today.year, today.year - YEARS_BACK - 1, -1):
        try:
            latest = date(year, month, day)
        except ValueError:
            continue
        if latest <= today:
            return latest
    raise NotUnderstood(Trouble.NO_SUCH_DAY, match[0].strip())

"""What a cell of a workbook shows: its value under its number format.

A workbook keeps 377 and the format ``00000`` apart, and whoever filled in the sheet saw 00377.
What cannot be shown without knowing the program, the width of the column or the language that
it is looked at in is refused, since a number read otherwise may be somebody else's.
"""

import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Context, Decimal, InvalidOperation

GENERAL = "General"
TEXT = "@"
BUILT_IN = {
    0: GENERAL,
    1: "0",
    2: "0.00",
    3: "#,##0",
    4: "#,##0.00",
    9: "0%",
    10: "0.00%",
    11: "0.00E+00",
    12: "# ?/?",
    13: "# ??/??",
    37: "#,##0 ;(#,##0)",
    38: "#,##0 ;[Red](#,##0)",
    39: "#,##0.00;(#,##0.00)",
    40: "#,##0.00;[Red](#,##0.00)",
    41: "_(* #,##0_);_(* (#,##0);_(* -_);_(@_)",
    42: "_($* #,##0_);_($* (#,##0);_($* -_);_(@_)",
    43: "_(* #,##0.00_);_(* (#,##0.00);_(* -??_);_(@_)",
    44: "_($* #,##0.00_);_($* (#,##0.00);_($* -??_);_(@_)",
    48: "##0.0E+0",
    49: TEXT,
} | dict.fromkeys((*range(14, 23), *range(27, 37), *range(45, 48), *range(50, 59)), "yyyy-mm-dd")
"""The formats that a workbook names by number alone (ECMA-376-1, 18.8.30); all days are alike."""

DIGITS_KEPT = 15
"""A spreadsheet program keeps no more digits of a number."""
MOST_GENERAL_CHARACTERS = 11
"""What is longer is shown rounded, or with an exponent, under the general format."""

TOKEN = re.compile(
    r'"(?P<quoted>[^"]*)"|\\(?P<escaped>.)|_(?P<space>.)|\[(?P<bracket>[^\]]*)\]'
    r"|(?P<digit>[0#])|(?P<point>\.)|(?P<comma>,)|(?P<general>General)|(?P<text>@)"
    r"|(?P<next>;)|(?P<plain>[-+():!^&'~{}<>= $])|(?P<other>.)",
    re.IGNORECASE | re.DOTALL,
)
QUOTED = re.compile(r'"[^"]*"|\\.|_.|\[[^\]]*\]', re.DOTALL)
DAY_LETTERS = re.compile(r"[dmyhs]", re.IGNORECASE)
ELAPSED = re.compile(r"\[(?:h+|m+|s+)\]", re.IGNORECASE)
COLOUR = re.compile(
    r"black|blue|cyan|green|magenta|red|white|yellow|colou?r ?\d{1,2}", re.IGNORECASE
)
LAST_SERIAL = 2958465
FIRST_SERIAL = 61
"""1 March 1900: before it, programs count days differently."""


class CannotShow(ValueError):
    """What the cell shows cannot be known exactly; says what it holds."""


@dataclass(frozen=True, slots=True)
class Token:
    kind: str
    text: str


def holds_days(number_format: str) -> bool:
    """Whether a number under this format is a day or a time."""
    if ELAPSED.search(number_format):
        return True
    return bool(DAY_LETTERS.search(QUOTED.sub("", number_format)))


def day_of(text: str, *, from_1904: bool) -> datetime:
    """The instant, on no clock, that a number under a day's format stands for.

    Raises
    ------
    CannotShow
        If it is a time of no day, or lies where no calendar of a spreadsheet program goes.
    """
    serial = _number(text)
    if from_1904:
        serial += 1462
    if not FIRST_SERIAL <= serial < LAST_SERIAL + 1:
        raise CannotShow("holds a time without a day, or a day that cannot be")
    whole, part = divmod(serial, 1)
    milliseconds = round(part * 86_400_000)
    return datetime(1899, 12, 30) + timedelta(  # noqa: DTZ001 - the cell is on no clock
        days=int(whole), milliseconds=milliseconds
    )


def shown_number(text: str, number_format: str) -> str:
    """Write a number as its cell shows it.

    Parameters
    ----------
    text : str
        The number as the workbook keeps it, such as ``377`` or ``3.77E2``.
    number_format : str
        No format of days.

    Raises
    ------
    CannotShow
        If the cell shows it rounded, or in a way that depends on who looks.

    Examples
    --------
    >>> shown_number("377", "00000")
    '00377'
    >>> shown_number("377", '"P-"0000')
    'P-0377'
    """
    number = _number(text)
    if number_format.lower() in ("general", "", TEXT):
        return _general(number)
    sections = _sections(number_format)
    tokens, negative = sections[0], number < 0
    if number < 0 and len(sections) > 1:
        tokens, negative = sections[1], False
    elif number == 0 and len(sections) > 2:
        tokens = sections[2]
    shown = _in_section(abs(number), tokens)
    if not shown:
        raise CannotShow(f"holds {text} and shows nothing")
    return f"-{shown}" if negative else shown


def shown_text(text: str, number_format: str) -> str:
    """Write a text as its cell shows it; raise CannotShow as `shown_number` does."""
    if TEXT not in number_format or number_format == TEXT:
        if number_format.count(";") >= 3 and len(_sections(number_format)) > 3:
            raise CannotShow(f"holds {text!r} and shows something else")
        return text
    tokens = _sections(number_format)[-1]
    if not any(token.kind == "text" for token in tokens):
        return text
    if any(token.kind not in ("text", "literal") for token in tokens):
        raise CannotShow(f"holds {text!r} in the format {number_format}")
    return "".join(text if token.kind == "text" else token.text for token in tokens).strip()


def _number(text: str) -> Decimal:
    try:
        number = Decimal(text.strip())
    except InvalidOperation:
        number = Decimal("nan")
    if not number.is_finite() or number.adjusted() > 300:
        raise CannotShow(f"holds {text[:40]!r}, which is no number")
    if number.adjusted() >= DIGITS_KEPT:
        raise CannotShow(f"holds {text}, more digits than a number keeps")
    return Context(prec=DIGITS_KEPT).plus(number)


def _general(number: Decimal) -> str:
    shown = _plainly(number)
    if len(shown.lstrip("-")) > MOST_GENERAL_CHARACTERS or 0 < abs(number) < Decimal("0.0001"):
        raise CannotShow(f"holds {shown} and shows it shortened")
    return shown


def _plainly(number: Decimal) -> str:
    shown = f"{number:f}"
    if "." in shown:
        shown = shown.rstrip("0").rstrip(".")
    return "0" if shown in ("-0", "") else shown


def _sections(number_format: str) -> list[list[Token]]:
    """The tokens of a format, apart for positive and negative numbers, zero and text."""
    sections: list[list[Token]] = [[]]
    for match in TOKEN.finditer(number_format):
        kind, text = match.lastgroup or "", match[match.lastgroup or 0]
        if kind == "next":
            sections.append([])
        elif kind == "bracket":
            sections[-1] += _of_bracket(text)
        elif kind == "space":
            sections[-1].append(Token("literal", " "))
        elif kind in ("quoted", "escaped", "plain"):
            sections[-1].append(Token("literal", text))
        else:
            sections[-1].append(Token(kind, text))
    return sections


def _of_bracket(text: str) -> list[Token]:
    """A colour or a language shows nothing, a currency its sign; a condition is not followed."""
    if text.startswith("$"):
        sign = text[1:].partition("-")[0]
        return [Token("literal", sign)] if sign else []
    return [] if COLOUR.fullmatch(text) else [Token("other", text)]


def _in_section(number: Decimal, tokens: list[Token]) -> str:
    plain = _plainly(number)
    if any(token.kind in ("other", "text") for token in tokens):
        raise CannotShow(f"holds {plain} in a format that cannot be followed")
    if any(token.kind == "general" for token in tokens):
        if any(token.kind in ("digit", "point", "comma") for token in tokens):
            raise CannotShow(f"holds {plain} in a format that cannot be followed")
        return "".join(
            _general(number) if token.kind == "general" else token.text for token in tokens
        ).strip()
    points = [index for index, token in enumerate(tokens) if token.kind == "point"]
    if len(points) > 1:
        raise CannotShow(f"holds {plain} in a format that cannot be followed")
    end = points[0] if points else len(tokens)
    before, after = tokens[:end], tokens[end:]
    places = sum(token.kind == "digit" for token in after)
    if not places and not any(token.kind == "digit" for token in before):
        raise CannotShow(f"holds {plain} and shows none of it")
    whole, _point, fraction = plain.partition(".")
    if len(fraction) > places:
        raise CannotShow(f"holds {plain} and shows it rounded")
    return (_before_point(whole, before) + _after_point(fraction, after)).strip()


def _before_point(whole: str, tokens: list[Token]) -> str:
    """Fill placeholders from the right; the first of them takes all that is left."""
    digits = "" if whole == "0" else whole
    placeholders = [token.text for token in tokens if token.kind == "digit"]
    zeros = placeholders.index("0") if "0" in placeholders else len(placeholders)
    digits = digits.rjust(len(placeholders) - zeros, "0")
    if any(token.kind == "comma" for token in tokens):
        last = max((i for i, token in enumerate(tokens) if token.kind == "digit"), default=-1)
        scales = any(token.kind == "comma" for token in tokens[last:])
        if scales or len(digits) > 3:
            raise CannotShow(f"holds {whole} and sets its thousands apart")
    shown: list[str] = []
    left = len(placeholders)
    for token in reversed(tokens):
        if token.kind == "literal":
            shown.append(token.text)
        elif token.kind == "digit":
            left -= 1
            taken = digits if not left else digits[-1:]
            digits = digits[: len(digits) - len(taken)]
            shown.append(taken)
    return "".join(reversed(shown))


def _after_point(fraction: str, tokens: list[Token]) -> str:
    shown: list[str] = []
    place = 0
    for token in tokens:
        if token.kind == "digit":
            digit = fraction[place : place + 1]
            shown.append(digit or ("0" if token.text == "0" else ""))
            place += 1
        elif token.kind == "comma":
            raise CannotShow("shows a number in thousands")
        else:
            shown.append(token.text)
    return "".join(shown)

"""What a reader may know of how somebody stands: the one rule about lapses.

Why somebody's standing lapsed may be their eyes, which is theirs and their instructor's to
know. So everything that ends by itself or is given up (the period, the practice, the vision
test) is one and the same to everybody else: were the others told apart, what is left over
would be the vision test. For the same reason such a reader learns of an end the day and not
the kind, and with a lapse neither a certificate nor a restriction.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

from .answers import Span, Standing

NOT_CURRENT = "not_current"
"""What every lapse is called to whoever may not know which it is."""

SEE_INSTRUCTOR = "see_instructor"
"""What every kind of end is called to whoever may not know which it is."""

LAPSES = frozenset({Standing.EXPIRED, Standing.PRACTICE_LAPSED, Standing.VISION_NOT_CURRENT})
"""What a standing that ended by itself becomes."""


class Reader(StrEnum):
    """Who reads, by how much of somebody's standing is theirs to know."""

    IN_FULL = "in_full"
    """The person, and instructors and quality at their site."""
    LINE_LEAD = "line_lead"
    """Who sees how somebody stands and not how it lapsed: line leads, copies of mails, a
    calendar that others look at."""
    BENCH_CHECK = "bench_check"
    """Kiosks and programs that ask whether somebody may do some work."""
    WEB_HOOK = "web_hook"
    """Systems that are told of changes: whether somebody is certified or suspended."""


@dataclass(frozen=True, slots=True)
class Disclosure:
    """What may be told of one standing.

    Attributes
    ----------
    standing : str
        The word for it: its own, or `NOT_CURRENT`.
    reason : bool
        Whether the rule that decided may be told.
    certificate : bool
        Whether the certificate's number may be told.
    """

    standing: str
    reason: bool
    certificate: bool


def reader_for(*, in_full: bool) -> Reader:
    """The reader of a page, mail or file that shows how somebody stands."""
    return Reader.IN_FULL if in_full else Reader.LINE_LEAD


def may_know(standing: Standing | str, reader: Reader) -> Disclosure:
    """Say what a reader may be told of a standing.

    Examples
    --------
    >>> may_know("vision_not_current", Reader.LINE_LEAD)
    Disclosure(standing='not_current', reason=False, certificate=False)
    >>> may_know("vision_not_current", Reader.IN_FULL).standing
    'vision_not_current'
    """
    standing = Standing(standing)
    if reader is Reader.IN_FULL:
        return Disclosure(standing.value, reason=True, certificate=True)
    if reader is Reader.WEB_HOOK:
        named = standing in (Standing.CERTIFIED, Standing.SUSPENDED)
        return Disclosure(standing.value if named else NOT_CURRENT, False, True)
    lapsed = standing in LAPSES
    word = NOT_CURRENT if lapsed else standing.value
    if reader is Reader.BENCH_CHECK:
        return Disclosure(word, False, certificate=standing is Standing.CERTIFIED)
    return Disclosure(word, reason=not lapsed, certificate=not lapsed)


def end_kind_for(kind: str, reader: Reader) -> str:
    """The kind of an end to come as a reader may know it: its own, or `SEE_INSTRUCTOR`.

    Examples
    --------
    >>> end_kind_for("vision", Reader.LINE_LEAD), end_kind_for("certificate", Reader.LINE_LEAD)
    ('see_instructor', 'see_instructor')
    """
    return kind if reader is Reader.IN_FULL else SEE_INSTRUCTOR


def spans_for(spans: Iterable[Span], reader: Reader) -> list[Span]:
    """Spans as a reader may know them: one lapse after another is one, and names no certificate."""
    shown: list[Span] = []
    for span in spans:
        if may_know(span.standing, reader).certificate:
            shown.append(span)
        elif shown and not may_know(shown[-1].standing, reader).certificate:
            shown[-1] = replace(shown[-1], last_day=span.last_day)
        else:
            shown.append(replace(span, certificate_number="", restriction=""))
    return shown

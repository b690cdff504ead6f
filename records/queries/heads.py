"""The end of the trail, as it leaves the house, and where one that came back stands in it.

Who rewrites the whole chain, or cuts its end off, leaves a chain that fits by itself. It no
longer holds the ends that were printed, mailed and filed before.
"""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime

from records.domain.chain import SHORT_DIGITS, short_form
from records.models import TrailEntry

SHORT = re.compile(rf"(\d{{1,18}})-([0-9a-f]{{{SHORT_DIGITS},64}})")
HASH = re.compile(rf"[0-9a-f]{{{SHORT_DIGITS},64}}")


@dataclass(frozen=True, slots=True)
class Head:
    """An entry that was once the last: its number, hash and instant."""

    number: int
    entry_hash: str
    recorded_at: datetime

    def __str__(self) -> str:
        return short_form(self.number, self.entry_hash)


class NotAHead(ValueError):
    """A text that names no end of a trail."""


def head_at(at: datetime) -> Head | None:
    """The last entry that had been recorded by an instant; None where there was none."""
    entry = TrailEntry.objects.filter(recorded_at__lte=at).order_by("-number").first()
    return _head_of(entry)


def _head_of(entry: TrailEntry | None) -> Head | None:
    return None if entry is None else Head(entry.number, entry.entry_hash, entry.recorded_at)


def printed_head(at: datetime) -> str:
    """The same in its short form, as it is printed; empty where nothing was recorded yet."""
    return str(head_at(at) or "")


def find_head(text: str) -> Head | None:
    """Where an end of the trail, that was printed or sent before, stands in it now.

    Parameters
    ----------
    text : str
        The short form (``1234-0123456789abcdef``), or a hash or its first sixteen digits.

    Returns
    -------
    Head or None
        None where no entry has that hash, or the numbered one has another.

    Raises
    ------
    NotAHead
        If the text is neither.
    """
    text = text.strip().lower()
    entries = TrailEntry.objects.order_by("number")
    if match := SHORT.fullmatch(text):
        entries = entries.filter(number=int(match[1]), entry_hash__startswith=match[2])
    elif HASH.fullmatch(text):
        entries = entries.filter(entry_hash__startswith=text)
    else:
        raise NotAHead(
            f"{text!r} is no end of a trail: give it as it is printed, as in "
            "1234-0123456789abcdef, or a hash of sixteen to sixty-four digits."
        )
    entry = entries.first()
    return _head_of(entry)


HeadSource = Callable[[], Iterable[tuple[str, str]]]

_sources: list[HeadSource] = []


def register_heads(source: HeadSource) -> None:
    """Have ends of the trail that were kept elsewhere looked up at every verification.

    The source yields for each what to call it in a report, and its short form or hash.
    """
    if source not in _sources:
        _sources.append(source)


def kept_heads() -> Iterable[tuple[str, str]]:
    for source in _sources:
        yield from source()

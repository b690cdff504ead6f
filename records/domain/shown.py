"""What a page shows of what will be signed: carried by the page, compared before the signature.

The digest alone decides whether what would be signed is what was shown. Beside it the page
carries what it showed line by line, so that a difference can be told and not only found.
"""

import base64
import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from .canonical import canonical_text, instant_text, sha256_of_text

MOST_BYTES = 4 * 1024 * 1024
"""What a page may say unpacked, so that no few bytes unpack to fill the memory."""


class NotReadable(ValueError):
    """A text that no page of ours carried."""


def digest_of(content: Mapping[str, Any]) -> str:
    """SHA-256 of what would be signed, as canonical JSON.

    Examples
    --------
    >>> digest_of({"a": 1})[:16]
    '015abd7f5cc57a2d'
    """
    return sha256_of_text(canonical_text(content))


@dataclass(frozen=True, slots=True)
class Line:
    """One thing that a page says: in words, and when somebody last said so, if it tells."""

    says: str
    when: str = ""


@dataclass(frozen=True, slots=True)
class Change:
    """One line as it was shown and as it is; empty where it was not, or is not any more."""

    what: str
    was: str
    now: str
    when: str = ""


@dataclass(frozen=True, slots=True)
class Shown:
    """What a page shows of what will be signed.

    Attributes
    ----------
    digest : str
        `digest_of` what would be signed.
    at : datetime
        When it was looked up.
    lines : dict of str to Line
        What is said of what, in the order in which differences are told.
    """

    digest: str
    at: datetime
    lines: Mapping[str, Line] = field(default_factory=dict)

    def as_text(self) -> str:
        """What a page carries in a form.

        Examples
        --------
        >>> from datetime import UTC
        >>> shown = Shown("0" * 64, datetime(2026, 5, 3, tzinfo=UTC), {"E09": Line("accept")})
        >>> shown_in(shown.as_text()) == shown
        True
        """
        lines = [[what, line.says, line.when] for what, line in self.lines.items()]
        text = json.dumps([self.digest, instant_text(self.at), lines], separators=(",", ":"))
        return base64.b64encode(zlib.compress(text.encode(), 9)).decode()


def shown_in(text: str) -> Shown:
    """Read what `Shown.as_text` wrote.

    Raises
    ------
    NotReadable
        If it did not write this.
    """
    try:
        unpack = zlib.decompressobj()
        packed = base64.b64decode(text, validate=True)
        plain = unpack.decompress(packed, MOST_BYTES)
        if not unpack.eof:
            raise NotReadable("It says too much, or its end is missing.")
        digest, at, lines = json.loads(plain)
        said = {str(what): Line(str(says), str(when)) for what, says, when in lines}
        shown = Shown(str(digest), datetime.fromisoformat(at), said)
        instant_text(shown.at)
    except (ValueError, TypeError, OverflowError, RecursionError, zlib.error) as error:
        raise NotReadable(str(error)) from error
    return shown


def changes(before: Shown, now: Shown) -> list[Change]:
    """What is said otherwise than it was, line by line, in the order of what is said now.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2026, 5, 3, tzinfo=UTC)
    >>> before = Shown("a", at, {"E09": Line("accept", "14:30"), "E10": Line("accept", "14:31")})
    >>> now = Shown("b", at, {"E09": Line("reject", "14:39"), "E11": Line("accept", "14:40")})
    >>> for change in changes(before, now):
    ...     print(change.what, repr(change.was), repr(change.now), change.when or "<gone>")
    E09 'accept' 'reject' 14:39
    E11 '' 'accept' 14:40
    E10 'accept' '' <gone>
    """
    nothing = Line("")
    told = [
        Change(what, before.lines.get(what, nothing).says, line.says, line.when)
        for what, line in now.lines.items()
        if line != before.lines.get(what, nothing)
    ]
    return told + [
        Change(what, line.says, "")
        for what, line in before.lines.items()
        if what not in now.lines and line != nothing
    ]

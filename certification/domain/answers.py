"""The words in which the register answers who may do what on a day."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class Standing(StrEnum):
    CERTIFIED = "certified"
    REVOKED = "revoked"
    SUSPENDED = "suspended"
    EXPIRED = "expired"
    VISION_NOT_CURRENT = "vision_not_current"
    PRACTICE_LAPSED = "practice_lapsed"
    NEVER_CERTIFIED = "never_certified"
    UNKNOWN_PERSON = "unknown_person"


class Rule(StrEnum):
    """The rule that decided an answer."""

    WITHIN_PERIOD = "within_period"
    WITHIN_EXTENSION = "within_extension"
    REVOKED = "revoked"
    SUSPENDED = "suspended"
    PERIOD_OVER = "period_over"
    EXTENSION_OVER = "extension_over"
    ENDED = "ended"
    NO_VISION_TEST = "no_vision_test"
    VISION_FAILED = "vision_failed"
    VISION_TOO_OLD = "vision_too_old"
    PRACTICE_GAP = "practice_gap"
    NO_CERTIFICATE = "no_certificate"
    NO_SUCH_PERSON = "no_such_person"

    @property
    def standing(self) -> Standing:
        return _STANDING_BY_RULE[self]


_STANDING_BY_RULE = {
    Rule.WITHIN_PERIOD: Standing.CERTIFIED,
    Rule.WITHIN_EXTENSION: Standing.CERTIFIED,
    Rule.REVOKED: Standing.REVOKED,
    Rule.SUSPENDED: Standing.SUSPENDED,
    Rule.PERIOD_OVER: Standing.EXPIRED,
    Rule.EXTENSION_OVER: Standing.EXPIRED,
    Rule.ENDED: Standing.EXPIRED,
    Rule.NO_VISION_TEST: Standing.VISION_NOT_CURRENT,
    Rule.VISION_FAILED: Standing.VISION_NOT_CURRENT,
    Rule.VISION_TOO_OLD: Standing.VISION_NOT_CURRENT,
    Rule.PRACTICE_GAP: Standing.PRACTICE_LAPSED,
    Rule.NO_CERTIFICATE: Standing.NEVER_CERTIFIED,
    Rule.NO_SUCH_PERSON: Standing.UNKNOWN_PERSON,
}

# No older certificate is asked once a newer one stands like this.
DECIDING = frozenset({Rule.WITHIN_PERIOD, Rule.WITHIN_EXTENSION, Rule.SUSPENDED, Rule.REVOKED})


class EndKind(StrEnum):
    CERTIFICATE = "certificate"
    VISION = "vision"
    PRACTICE = "practice"


@dataclass(frozen=True, slots=True)
class Span:
    """Days on which standing, certificate, restriction and rule stay the same, ends included.

    ``last_day`` is None where nothing that is known will change them. ``stands_since`` is the
    first day of all but the restriction: earlier than ``first_day`` where that alone changed.
    """

    first_day: date
    last_day: date | None
    standing: Standing
    certificate_number: str
    restriction: str
    rule: Rule
    stands_since: date


@dataclass(frozen=True, slots=True)
class Answer:
    """The standing on one day, and what it rests on.

    Attributes
    ----------
    standing : Standing
    certificate_number : str
        Of the certificate that answers; empty where there is none.
    restriction : str
        What alone it allows on the day: by the certificate itself, by an event, or both.
    rule : Rule
    facts_used : tuple of str
        ``certificate:``, ``event:`` or ``vision:`` with the number or id, or ``practice:``
        with the day. These facts alone give the same answer.
    changes_on : date or None
        The first later day on which standing, certificate or restriction differs, as far as
        is known.
    """

    standing: Standing
    certificate_number: str
    restriction: str
    rule: Rule
    facts_used: tuple[str, ...]
    changes_on: date | None


UNKNOWN_PERSON = Answer(Standing.UNKNOWN_PERSON, "", "", Rule.NO_SUCH_PERSON, (), None)
"""The answer about somebody of whom the register knows nothing."""


@dataclass(frozen=True, slots=True)
class End:
    """Something that will end a standing by itself.

    Attributes
    ----------
    kind : EndKind
    last_day : date
        The last good day as far as this is concerned.
    source : str
        ``certificate:`` and its number; ``vision:`` and the id of the test; ``practice:``
        with the certificate's number and the day from which the rest is counted.
    """

    kind: EndKind
    last_day: date
    source: str

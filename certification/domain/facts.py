"""What the register says of one person and one scope, and what of it was known when."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from enum import StrEnum

ALWAYS_KNOWN = datetime.min.replace(tzinfo=UTC)
"""The recorded instant of a fact that is taken as it is, whenever it is asked about."""


class EventKind(StrEnum):
    SUSPENDED = "suspended"
    REINSTATED = "reinstated"
    REVOKED = "revoked"
    ENDED = "ended"
    EXTENDED = "extended"
    RESTRICTED = "restricted"
    UNRESTRICTED = "unrestricted"
    VOIDED = "voided"


class ExpiryRule(StrEnum):
    SAME_DAY = "same_day"
    END_OF_MONTH = "end_of_month"


@dataclass(frozen=True, slots=True)
class SchemeFigures:
    """The figures of one scheme revision.

    Attributes
    ----------
    validity_months : int
    expiry_rule : ExpiryRule
        Whether the last day is then moved to the end of its month.
    renewal_window_days : int
        How many days before the end of the certificate it renews a new one may be issued
        and still run from that end.
    vision_months : int
        How old the vision test may be; 0 asks for none.
    max_absence_months : int
        How long the work may rest; 0 sets no limit.
    """

    validity_months: int
    expiry_rule: ExpiryRule = ExpiryRule.SAME_DAY
    renewal_window_days: int = 0
    vision_months: int = 0
    max_absence_months: int = 0


@dataclass(frozen=True, slots=True)
class CertificateFact:
    """A certificate; ``renews`` is the number of the one it says it renews, or empty."""

    number: str
    figures: SchemeFigures
    issued_on: date
    renews: str
    recorded_at: datetime
    withdrawn_at: datetime | None = None
    restriction: str = ""


@dataclass(frozen=True, slots=True)
class EventFact:
    """What happened to a certificate.

    ``until`` is set where it was extended; ``restriction`` says what alone is allowed, where
    it was restricted.
    """

    event_id: str
    certificate_number: str
    kind: EventKind
    effective_on: date
    recorded_at: datetime
    voids: str = ""
    until: date | None = None
    authority: str = ""
    reason: str = ""
    restriction: str = ""


@dataclass(frozen=True, slots=True)
class VisionFact:
    test_id: str
    tested_on: date
    passed: bool
    recorded_at: datetime
    withdrawn_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class PracticeFact:
    performed_on: date
    recorded_at: datetime
    withdrawn_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Facts:
    """All facts that bear on one person and one scope, in any order.

    The vision tests are the person's, whatever the scope. All instants are aware.
    """

    certificates: Sequence[CertificateFact] = ()
    events: Sequence[EventFact] = ()
    vision_tests: Sequence[VisionFact] = ()
    practice: Sequence[PracticeFact] = ()


def known(facts: Facts, at: datetime | None = None) -> Facts:
    """Keep the facts that stand, as they were known at an instant.

    Parameters
    ----------
    facts : Facts
    at : datetime or None
        The instant, itself included. None is everything that is recorded.

    Returns
    -------
    Facts
        Without what was recorded later, withdrawn by then or voided by then, and without
        the voiding events themselves.
    """
    events = [event for event in facts.events if at is None or event.recorded_at <= at]
    return Facts(
        [fact for fact in facts.certificates if _stands(fact, at)],
        _without_voided(events),
        [test for test in facts.vision_tests if _stands(test, at)],
        [work for work in facts.practice if _stands(work, at)],
    )


def _stands(fact: CertificateFact | VisionFact | PracticeFact, at: datetime | None) -> bool:
    if at is None:
        return fact.withdrawn_at is None
    return fact.recorded_at <= at and (fact.withdrawn_at is None or fact.withdrawn_at > at)


def _without_voided(events: Sequence[EventFact]) -> list[EventFact]:
    """Drop the voiding events and those that they name on the same certificate."""
    voided = {
        (event.certificate_number, event.voids)
        for event in events
        if event.kind == EventKind.VOIDED
    }
    return [
        event
        for event in events
        if event.kind != EventKind.VOIDED
        and (event.certificate_number, event.event_id) not in voided
    ]

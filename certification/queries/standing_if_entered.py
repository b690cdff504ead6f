"""The standing that a certificate from elsewhere would give, by the engine that will give it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from certification.domain import standing as engine
from certification.domain.facts import known
from certification.domain.upkeep import PracticeRecord
from certification.models import Certificate, CertificateEvent

from . import standing_on_day, written_down

NOT_NUMBERED = "~"
"""Stands where the number will, after every number: of two issued on one day it is the later."""


@dataclass(frozen=True)
class IfEntered:
    """What the register would say with a certificate entered, and with work entered beside it.

    Attributes
    ----------
    certificate : Certificate
        Not saved, and without a number.
    ends : tuple of CertificateEvent
        By which the paper itself ends it sooner, if it does.
    work : tuple of date
        Days of work entered with it, the earliest first.
    line : Timeline
        Of everything that is recorded and of these.
    rests_through : date or None
        The last day through which work kept or keeps it alive; None where no work is asked for.
    today : date
        Where the person works.
    """

    certificate: Certificate
    ends: tuple[CertificateEvent, ...]
    work: tuple[date, ...]
    line: engine.Timeline
    rests_through: date | None
    today: date

    @property
    def answer(self) -> engine.Answer:
        """What the register would say today."""
        return self.line.on(self.today)

    @property
    def answers_itself(self) -> bool:
        """Whether it is this certificate by which the register would answer today."""
        return self.answer.certificate_number == NOT_NUMBERED

    @property
    def spans(self) -> list[engine.Span]:
        """How it would stand from today on; the last span is open."""
        return [
            span for span in self.line.spans if span.last_day is None or span.last_day >= self.today
        ]

    @property
    def work_is_missing(self) -> bool:
        """Whether too long a time without work would have ended it before today."""
        return self.rests_through is not None and self.rests_through < self.today

    def to_sign(self) -> dict[str, Any]:
        """What is signed of it and what its page shows, but for what only signing brings."""
        content = written_down.certificate_content(self.certificate, self.ends)
        unwritten = {"event": "", "certificate": "", "recorded_at": None}
        return {
            **content,
            "events": [{**line, **unwritten} for line in content["events"]],
            "certificate": "",
            "document": None,
            "recorded_at": None,
            "stands": [
                [span.first_day, span.last_day, span.standing.value, span.restriction]
                for span in self.line.spans
            ],
        }


def if_entered(
    certificate: Certificate,
    ends: Sequence[CertificateEvent],
    work: Sequence[date],
    today: date,
) -> IfEntered:
    """Ask the engine about everything recorded, as if these were recorded too."""
    facts = standing_on_day.every_fact(certificate.person, certificate.scope)
    figures = standing_on_day.figures_of(certificate.scheme_revision)
    fact = engine.CertificateFact(
        number=NOT_NUMBERED,
        figures=figures,
        issued_on=certificate.issued_on,
        renews="",
        recorded_at=engine.ALWAYS_KNOWN,
        restriction=certificate.restriction,
    )
    events = [
        engine.EventFact(
            event_id=f"{NOT_NUMBERED}{place}",
            certificate_number=NOT_NUMBERED,
            kind=engine.EventKind(event.kind),
            effective_on=event.effective_on,
            recorded_at=engine.ALWAYS_KNOWN,
            reason=event.reason,
        )
        for place, event in enumerate(ends)
    ]
    with_it = engine.Facts(
        [*facts.certificates, fact],
        [*facts.events, *events],
        facts.vision_tests,
        [*facts.practice, *(engine.PracticeFact(day, engine.ALWAYS_KNOWN) for day in work)],
    )
    rests_through = None
    if figures.max_absence_months:
        practice = PracticeRecord(known(with_it).practice)
        rests_through, _rests_from = practice.last_good_day(
            certificate.issued_on, figures.max_absence_months
        )
    return IfEntered(
        certificate,
        tuple(ends),
        tuple(sorted(work)),
        engine.timeline(with_it),
        rests_through,
        today,
    )

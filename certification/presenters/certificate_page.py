"""What the page of one certificate shows, and what may be done from it."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from assessments.access import outcomes_closed_to
from assessments.models import Board
from assessments.presenters.measured_by_words import by_eye_lines, tally_says
from assessments.queries.measured_by import MeasuredTally
from certification.domain.answers import Answer, Standing
from certification.domain.facts import EventFact, Facts
from certification.domain.periods import CertificateHistory, Restriction
from certification.domain.standing import timeline
from certification.models import Certificate, CertificateEvent
from certification.queries import names, standing_on_day
from certification.services import events as acts
from people.models import Role, User
from people.presenters.days import format_unbroken_day
from records.queries.heads import printed_head

from . import corrected_results
from .corrected_results import CorrectedLine
from .standing_words import ENDS, RULES

ACT_LABELS = {
    "suspend": _("Suspend"),
    "reinstate": _("Reinstate"),
    "restrict": _("Restrict"),
    "lift": _("Lift the restriction"),
    "extend": _("Extend"),
    "end": pgettext_lazy("a certificate", "End"),
    "revoke": _("Revoke"),
    "withdraw": _("Withdraw"),
}


DATED_BACK = ("suspend", "restrict", "extend", "end", "revoke")


@dataclass(frozen=True)
class EvidenceBoard:
    """A board as the certificate copied it when it was issued.

    ``is_closed`` says that the reader may still have to read it again, blind to how it went.
    ``measured`` says how many measured criteria were judged by what, ``by_eye`` which by eye.
    """

    number: str
    title: str
    purpose: Any
    judged_on: date
    joints: int
    rejected: int
    score: str | None
    signers: str
    is_closed: bool
    measured: str
    by_eye: list[tuple[str, str]]


@dataclass(frozen=True)
class EventLine:
    """One event, and the event that removed it, if any."""

    event: CertificateEvent
    removed_by: CertificateEvent | None
    may_remove: bool


@dataclass(frozen=True)
class ActLine:
    """Something quality can do to a certificate, or why it cannot be done today."""

    act: str
    label: Any
    refusal: str = ""
    may_be_dated_back: bool = False


@dataclass(frozen=True)
class CertificateScreen:
    certificate: Certificate
    today: date
    answer: Answer
    course: CertificateHistory | None
    ends: list[tuple[Any, date]]
    events: list[EventLine]
    boards: list[EvidenceBoard]
    papers: list[str]
    acts: list[ActLine]
    is_own: bool
    trail: str
    may_be_issued_again: bool = False
    corrected: CorrectedLine | None = None

    @property
    def possible(self) -> list[ActLine]:
        return [act for act in self.acts if not act.refusal]

    @property
    def not_possible(self) -> list[ActLine]:
        return [act for act in self.acts if act.refusal]

    @property
    def is_to_come(self) -> bool:
        """Whether its first day is still ahead."""
        return self.today < self.certificate.issued_on

    @property
    def answers_itself(self) -> bool:
        """Whether today's standing is this certificate's, and not another's."""
        return self.answer.certificate_number == self.certificate.number

    @property
    def ends_soon(self) -> bool:
        return self.answer.standing is Standing.CERTIFIED and any(
            0 <= (day - self.today).days <= 90 for _kind, day in self.ends
        )

    @property
    def rule_said(self) -> Any:
        return RULES[self.answer.rule]

    @property
    def restricted_by(self) -> EventFact | None:
        """The event that restricts it today, or on its first day if that is ahead."""
        day = max(self.today, self.certificate.issued_on)
        return self.course.restricted_by(day) if self.course else None

    @property
    def restriction(self) -> str:
        """What alone it allows then, by itself and by that event."""
        day = max(self.today, self.certificate.issued_on)
        return self.course.restriction_on(day) if self.course else self.certificate.restriction

    @property
    def good_through(self) -> date | None:
        """The last day after every event; None where there is none, or it was withdrawn."""
        return self.course.good_through if self.course else None


def build(certificate: Certificate, user: User, now: datetime | None = None) -> CertificateScreen:
    now = now or timezone.now()
    person, scope = certificate.person, certificate.scope
    today = person.site.today(now)
    facts = standing_on_day.facts_for(person, scope)
    line = timeline(facts)
    histories = standing_on_day.histories_in(facts)
    may_act = user.person_id != person.pk and user.has_role(Role.QUALITY, site=person.site_id)
    return CertificateScreen(
        certificate=certificate,
        today=today,
        answer=line.on(today),
        course=histories.get(certificate.number),
        ends=[(ENDS[end.kind], end.last_day) for end in line.ends_after(today)],
        events=_event_lines(certificate, may_act),
        boards=boards_of(certificate.evidence, user),
        papers=papers_of(certificate.evidence),
        acts=acts_on(certificate, facts, today) if may_act else [],
        is_own=user.person_id == person.pk,
        trail=printed_head(now),
        may_be_issued_again=may_act and certificate in names.bearing_another_name(person, today),
        corrected=corrected_results.line_of(certificate, user, now),
    )


@dataclass(frozen=True)
class Restricted:
    """What alone a certificate allows, by itself and by an event, to whoever is to change it."""

    own: str
    by_event: str
    since: date | None
    last_day: date | None
    ahead: tuple[Restriction, ...]


def restricted_now(certificate: Certificate, now: datetime) -> Restricted:
    """What restricts a certificate today, or on its first day if that is ahead, and then.

    What is ahead is part of it: it holds from its day on, whatever is said of the days before.
    """
    person = certificate.person
    day = max(person.site.today(now), certificate.issued_on)
    facts = standing_on_day.facts_for(person, certificate.scope)
    history = standing_on_day.histories_in(facts).get(certificate.number)
    restrictions = history.restrictions if history else ()
    now_on = next((one for one in restrictions if one.holds_on(day)), None)
    return Restricted(
        own=certificate.restriction,
        by_event=now_on.event.restriction if now_on else "",
        since=now_on.event.effective_on if now_on else None,
        last_day=now_on.last_day if now_on else None,
        ahead=tuple(one for one in restrictions if one.first_day > day),
    )


def _event_lines(certificate: Certificate, may_act: bool) -> list[EventLine]:
    events = list(
        certificate.events.select_related(
            "signature__signer", "signature__certificate", "voids"
        ).order_by("effective_on", "recorded_at", "event_id")
    )
    removed_by = {
        event.voids_id: event
        for event in events
        if event.kind == CertificateEvent.Kind.VOIDED
        and event.voids is not None
        and event.voids.kind != CertificateEvent.Kind.VOIDED
    }
    return [
        EventLine(
            event,
            removed_by.get(event.pk),
            may_act
            and event.kind != CertificateEvent.Kind.VOIDED
            and event.pk not in removed_by
            and event.part_of is None,
        )
        for event in events
    ]


def acts_on(certificate: Certificate, facts: Facts, today: date) -> list[ActLine]:
    """Everything quality can do, in the order of the labels, and why not where it cannot.

    ``facts`` are all that is recorded of the person and scope.
    """
    person, scope = certificate.person, certificate.scope
    histories = standing_on_day.histories_in(facts)
    history = histories.get(certificate.number)

    def why_not(kind: str) -> str:
        return acts.why_not(kind, person, scope, today, histories)

    refusals = {
        "suspend": why_not(CertificateEvent.Kind.SUSPENDED),
        "reinstate": why_not(CertificateEvent.Kind.REINSTATED),
        "restrict": why_not(CertificateEvent.Kind.RESTRICTED),
        "lift": why_not(CertificateEvent.Kind.UNRESTRICTED),
        "extend": acts.why_not_extend(certificate, history, today),
        "end": why_not(CertificateEvent.Kind.ENDED),
        "revoke": why_not(CertificateEvent.Kind.REVOKED),
        "withdraw": ""
        if history is not None
        else _now("Certificate %(number)s was withdrawn.") % {"number": certificate.number},
    }
    dated_back = history is not None and not standing_on_day.is_revoked_on(
        history, history.last_day
    )
    return [
        ActLine(
            act,
            label,
            refusals[act],
            bool(refusals[act]) and dated_back and act in DATED_BACK,
        )
        for act, label in ACT_LABELS.items()
    ]


def boards_of(evidence: Mapping[str, Any], user: User) -> list[EvidenceBoard]:
    """The boards in a copy of evidence, newest first, as the user may see them.

    That they passed is said by the certificate or proposal itself; how well is not, to whoever
    may give the other reading that was asked for.
    """
    return boards_of_each([evidence], user)[0]


def papers_of(evidence: Mapping[str, Any]) -> list[str]:
    """The written tests in a copy of evidence, each in a sentence."""
    return [
        _now(
            "Written test: %(title)s, paper %(number)s passed on %(day)s, %(right)d of %(of)d "
            "questions right."
        )
        % {**paper, "day": format_unbroken_day(date.fromisoformat(paper["passed_on"]))}
        for paper in evidence.get("written_tests", [])
    ]


def boards_of_each(evidence: Sequence[Mapping[str, Any]], user: User) -> list[list[EvidenceBoard]]:
    """The same of several copies, in one query for all of them."""
    numbers = [board["number"] for copy in evidence for board in copy.get("boards", [])]
    closed = outcomes_closed_to(user, numbers)
    return [_boards_of(copy, closed) for copy in evidence]


def _boards_of(evidence: Mapping[str, Any], closed: Collection[str]) -> list[EvidenceBoard]:
    purposes = dict(Board.Purpose.choices)
    return [
        EvidenceBoard(
            number=board["number"],
            title=board["title"],
            purpose=purposes.get(board["purpose"], board["purpose"]),
            judged_on=date.fromisoformat(board["judged_on"]),
            joints=board["joints"],
            rejected=board["rejected"],
            score=board["score"],
            signers=", ".join(dict.fromkeys(sign["by"] for sign in board["signatures"])),
            is_closed=board["number"] in closed,
            measured=tally_says(measured),
            by_eye=by_eye_lines(measured),
        )
        for board in evidence.get("boards", [])
        for measured in (MeasuredTally.from_json(board.get("measured", {})),)
    ]

"""Proposals that wait, each in full, as one list to decide under one proof."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from certification.exceptions import RequirementsNotMet
from certification.models import Proposal, StandingSpan
from certification.queries import graders, standing_on_day, written_down
from certification.queries.requirements import (
    Candidate,
    Requirement,
    Tallies,
    requirements_of,
    tallies_for,
    unmet,
)
from certification.services import certificates
from people.models import User
from people.queries.site_days import Days
from records.domain.shown import digest_of

from . import certificate_page
from . import period as period_said
from .certificate_page import EvidenceBoard

MOST_AT_ONCE = 50


@dataclass(frozen=True)
class DecideRow:
    """One proposal as it stands today.

    ``refusal`` is why it cannot be issued, empty if it can; ``shown`` is then the digest of the
    certificate that would be signed.
    """

    proposal: Proposal
    checked: Sequence[Requirement]
    boards: Sequence[EvidenceBoard]
    period: period_said.PeriodSaid
    restriction: str
    refusal: str
    shown: str
    days_waited: int

    @property
    def key(self) -> str:
        """What a tick sends."""
        return str(self.proposal.pk)

    @property
    def lacking(self) -> list[Requirement]:
        return unmet(self.checked)


@dataclass(frozen=True)
class DecideScreen:
    """The proposals that have waited longest, and how many wait in all."""

    rows: Sequence[DecideRow]
    waiting: int

    @property
    def issuable(self) -> list[DecideRow]:
        return [row for row in self.rows if not row.refusal]

    @property
    def more(self) -> int:
        return self.waiting - len(self.rows)


@dataclass(frozen=True)
class Waiting:
    """How many proposals wait, and since when the first of them has."""

    count: int
    since: datetime
    since_day: date  # At the site of whoever it is about.


def waiting(proposals: QuerySet[Proposal]) -> Waiting | None:
    """What is said of proposals that wait on a page about something else; None if none does."""
    found = list(
        proposals.order_by("recorded_at").values_list("recorded_at", "person__site__time_zone")
    )
    if not found:
        return None
    since, zone = found[0]
    return Waiting(len(found), since, since.astimezone(ZoneInfo(zone)).date())


def build(user: User, proposals: QuerySet[Proposal], days: Days) -> DecideScreen:
    """Ask everything of today, in the same queries for one as for fifty."""
    waiting = list(
        proposals.open()  # type: ignore[attr-defined]
        .select_related("person__site", "scope", "scheme_revision__scheme", "renews", "signature")
        .prefetch_related("scheme_revision__scopes")
        .order_by("recorded_at", "pk")[:MOST_AT_ONCE]
    )
    read = standing_on_day.read_for_many([(one.person_id, one.scope_id) for one in waiting])
    candidates = [
        Candidate(
            one.person,
            one.scope,
            one.scheme_revision,
            days.at(one.person.site_id),
            read[one.person_id, one.scope_id],
        )
        for one in waiting
    ]
    spans = {
        day: graders.grader_spans(user.person_id, day) for day in {one.day for one in candidates}
    }
    boards = certificate_page.boards_of_each([one.evidence for one in waiting], user)
    checked = requirements_of(candidates)
    tallies = tallies_for(of_one for of_one in checked if not unmet(of_one))
    rows = [
        _row(user, spans[one.day], proposal, one, of_one, on, tallies)
        for proposal, one, of_one, on in zip(waiting, candidates, checked, boards, strict=True)
    ]
    if len(rows) < MOST_AT_ONCE:
        return DecideScreen(rows, len(rows))
    return DecideScreen(rows, proposals.open().count())  # type: ignore[attr-defined]


def _shown(
    user: User,
    spans: Sequence[StandingSpan],
    proposal: Proposal,
    one: Candidate,
    checked: list[Requirement],
    tallies: Tallies,
) -> str:
    certificate = certificates.certificate_to_issue(
        proposal, user, checked, one.day, one.read, spans, tallies
    )
    return digest_of(written_down.certificate_to_sign(certificate))


def _row(
    user: User,
    spans: Sequence[StandingSpan],
    proposal: Proposal,
    one: Candidate,
    checked: list[Requirement],
    boards: Sequence[EvidenceBoard],
    tallies: Tallies,
) -> DecideRow:
    asked = (one.person, one.scope, one.revision)
    refusal = certificates.why_may_not_issue(user, one.person, one.revision, checked)
    if not refusal:
        try:
            certificates.refuse_unmet(*asked, checked, one.day, one.read)
        except RequirementsNotMet as error:
            refusal = str(error)
    period = certificates.period_if_issued(*asked, one.day, one.read)
    return DecideRow(
        proposal=proposal,
        checked=checked,
        boards=boards,
        period=period_said.said(*asked, period, one.read),
        restriction=certificates.with_restrictions_held(
            one.person, one.scope, one.day, proposal.restriction, one.read
        ),
        refusal=refusal,
        shown="" if refusal else _shown(user, spans, proposal, one, checked, tallies),
        days_waited=(one.day - one.person.site.today(proposal.recorded_at)).days,
    )

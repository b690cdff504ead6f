"""Proposals that wait, each in full, as one list to decide under one proof."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Min, QuerySet

from certification.domain.facts import Facts
from certification.exceptions import RequirementsNotMet
from certification.models import Proposal
from certification.queries import standing_on_day
from certification.queries.requirements import Candidate, Requirement, requirements_of, unmet
from certification.services import certificates
from people.models import User
from people.queries.site_days import Days

from . import certificate_page
from . import period as period_said
from .certificate_page import EvidenceBoard

MOST_AT_ONCE = 50


@dataclass(frozen=True)
class DecideRow:
    """One proposal as it stands today; ``refusal`` is why it cannot be issued, empty if it can."""

    proposal: Proposal
    checked: Sequence[Requirement]
    boards: Sequence[EvidenceBoard]
    period: period_said.PeriodSaid
    restriction: str
    refusal: str
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


def waiting(proposals: QuerySet[Proposal]) -> Waiting | None:
    """What is said of proposals that wait on a page about something else; None if none does."""
    found = proposals.aggregate(count=Count("pk"), since=Min("recorded_at"))
    return Waiting(**found) if found["count"] else None


def build(user: User, proposals: QuerySet[Proposal], days: Days) -> DecideScreen:
    """Ask everything of today, in the same queries for one as for fifty."""
    waiting = list(
        proposals.open()  # type: ignore[attr-defined]
        .select_related("person__site", "scope", "scheme_revision__scheme", "renews", "signature")
        .prefetch_related("scheme_revision__scopes")
        .order_by("recorded_at", "pk")[:MOST_AT_ONCE]
    )
    facts = standing_on_day.facts_for_many({one.person_id for one in waiting})
    candidates = [
        Candidate(
            one.person,
            one.scope,
            one.scheme_revision,
            days.at(one.person.site_id),
            facts.by_person_and_scope.get((one.person_id, one.scope_id), Facts()),
        )
        for one in waiting
    ]
    boards = certificate_page.boards_of_each([one.evidence for one in waiting], user)
    return DecideScreen(
        [
            _row(user, *each)
            for each in zip(waiting, candidates, requirements_of(candidates), boards, strict=True)
        ],
        len(waiting) if len(waiting) < MOST_AT_ONCE else proposals.open().count(),  # type: ignore[attr-defined]
    )


def _row(
    user: User,
    proposal: Proposal,
    one: Candidate,
    checked: list[Requirement],
    boards: Sequence[EvidenceBoard],
) -> DecideRow:
    asked = (one.person, one.scope, one.revision)
    refusal = certificates.why_may_not_issue(user, one.person, one.revision, checked)
    if not refusal:
        try:
            certificates.refuse_unmet(*asked, checked, one.day, one.facts)
        except RequirementsNotMet as error:
            refusal = str(error)
    period = certificates.period_if_issued(*asked, one.day, one.facts)
    return DecideRow(
        proposal=proposal,
        checked=checked,
        boards=boards,
        period=period_said.said(*asked, period, one.facts),
        restriction=certificates.with_restrictions_held(
            one.person, one.scope, one.day, proposal.restriction, one.facts
        ),
        refusal=refusal,
        days_waited=(one.day - one.person.site.today(proposal.recorded_at)).days,
    )

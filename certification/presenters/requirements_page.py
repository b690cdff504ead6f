"""What the page of one person and one scope shows: asked for, met, and what comes next."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from certification import access
from certification.domain.answers import Answer
from certification.exceptions import RequirementsNotMet
from certification.models import Proposal, SchemeRevision, Scope
from certification.queries import schemes_in_force as schemes
from certification.queries import standing_on_day
from certification.queries.requirements import (
    Requirement,
    candidate,
    requirements_of_one,
    unmet,
)
from certification.services import certificates
from people.models import Person, Role, User
from records.domain.shown import Shown

from . import period as period_said
from .path_picture import PathShown, path_shown
from .signing_shown import proposal_shown
from .standing_words import NEXT_STEPS, RULES


@dataclass(frozen=True)
class RequirementsScreen:
    """``refusal`` is why nobody can be proposed today; empty where everything is there."""

    person: Person
    scope: Scope
    today: date
    revision: SchemeRevision | None
    revisions: Sequence[SchemeRevision]
    answer: Answer
    found: Sequence[Requirement]
    period: certificates.ProspectivePeriod | None
    period_said: period_said.PeriodSaid | None
    refusal: str
    path: PathShown | None
    proposal: Proposal | None
    may_propose: bool
    may_enter: bool
    is_own: bool
    restriction_held: str

    @property
    def met(self) -> int:
        return len(self.found) - len(unmet(self.found))

    @property
    def rule_said(self) -> Any:
        return RULES[self.answer.rule]

    @property
    def next_step(self) -> Any:
        return NEXT_STEPS.get(self.answer.rule, "")


def build(
    person: Person, scope: Scope, user: User, scheme_name: str = "", now: datetime | None = None
) -> RequirementsScreen:
    """Ask everything of today, under the scheme named or else the one that comes first."""
    today = person.site.today(now)
    revisions = schemes.revisions_for(scope)
    revision = next((candidate for candidate in revisions if candidate.name == scheme_name), None)
    if revision is None and revisions:
        revision = revisions[0]
    one = candidate(person, scope, revision, today) if revision else None
    found = requirements_of_one(one) if one else []
    proposal = (
        Proposal.objects.open()
        .filter(person=person, scope=scope)
        .select_related("signature")
        .first()
    )
    period = certificates.period_if_issued(person, scope, revision, today) if revision else None
    is_own = user.person_id == person.pk
    return RequirementsScreen(
        person=person,
        scope=scope,
        today=today,
        revision=revision,
        revisions=revisions,
        answer=standing_on_day.answer(person, scope, today),
        found=found,
        period=period,
        period_said=period_said.said(person, scope, revision, period)
        if revision and period
        else None,
        refusal=_refusal(person, scope, revision, found, today),
        path=path_shown(one, found, is_proposed=proposal is not None)
        if one and any(line.exercise_code for line in found)
        else None,
        proposal=proposal,
        may_propose=access.may_propose(user, person),
        may_enter=not is_own and user.has_role(Role.QUALITY, site=person.site_id),
        is_own=is_own,
        restriction_held=certificates.with_restrictions_held(person, scope, today, ""),
    )


def shown(screen: RequirementsScreen, at: datetime) -> Shown:
    """What the page shows to whoever proposes; under a scheme alone."""
    assert screen.revision is not None  # noqa: S101 - nobody is proposed without a scheme
    return proposal_shown(screen.person, screen.scope, screen.revision, screen.found, at)


def _refusal(
    person: Person,
    scope: Scope,
    revision: SchemeRevision | None,
    lines: list[Requirement],
    today: date,
) -> str:
    if revision is None:
        return ""
    try:
        certificates.refuse_unmet(person, scope, revision, lines, today)
    except RequirementsNotMet as error:
        return str(error)
    return ""

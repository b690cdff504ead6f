"""Who meets a scheme, who does not yet and for want of what, as one list to propose from."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from certification.exceptions import RequirementsNotMet
from certification.models import Proposal, SchemeRevision, Scope
from certification.queries import standing_on_day, written_down
from certification.queries.candidates import Candidates, open_proposals
from certification.queries.requirements import (
    Candidate,
    PassedBoard,
    Requirement,
    Tallies,
    boards_counted,
    requirements_of,
    tallies_for,
    unmet,
)
from certification.services import certificates
from certification.services.proposals import proposal_to_make
from people.models import Person
from records.domain.shown import digest_of

from . import period as period_said


class State(StrEnum):
    """What can be done about a candidate today."""

    READY = "ready"
    PROPOSED = "proposed"
    HELD = "held"
    LACKING = "lacking"


@dataclass(frozen=True)
class Held:
    """A certificate that is good and not yet to be renewed."""

    number: str
    good_through: date
    opens_on: date


@dataclass(frozen=True)
class Row:
    """One person and one scope: what there is, what is lacking, and what it would come to.

    ``refusal`` is why nobody can be proposed though every requirement is met; ``shown`` the digest
    of what a proposal would sign, of somebody who can be.
    """

    candidate: Candidate
    checked: Sequence[Requirement]
    state: State
    refusal: str = ""
    period: period_said.PeriodSaid | None = None
    restriction: str = ""
    shown: str = ""
    proposal: Proposal | None = None
    held: Held | None = None

    @property
    def person(self) -> Person:
        return self.candidate.person

    @property
    def scope(self) -> Scope:
        return self.candidate.scope

    @property
    def revision(self) -> SchemeRevision:
        return self.candidate.revision

    @property
    def key(self) -> str:
        """What a tick sends: the person, the scope and the revision of the scheme."""
        return f"{self.person.pk}-{self.scope.pk}-{self.revision.pk}"

    @property
    def boards(self) -> list[PassedBoard]:
        return boards_counted(self.checked)

    @property
    def lacking(self) -> list[Requirement]:
        return unmet(self.checked)


@dataclass(frozen=True)
class CandidatesScreen:
    """Who meets a scheme, and the others with what they lack; each scope by scope, by name."""

    ready: Sequence[Row]
    others: Sequence[Row]
    has_more: bool = False

    @property
    def rows(self) -> list[Row]:
        return [*self.ready, *self.others]


def build(
    candidates: Candidates,
    scope: Scope | None = None,
    *,
    with_held: bool = True,
    to_sign: bool = True,
) -> CandidatesScreen:
    """Ask the scheme of everybody, in the same queries for one as for two hundred.

    But what would be signed of whoever is ready reads each of their boards by itself.

    Parameters
    ----------
    candidates : Candidates
    scope : Scope or None
        The only one that is asked about.
    with_held : bool
        Whether those are listed too whose certificate is not yet to be renewed.
    to_sign : bool
        Whether somebody is to be proposed from the list, so that it carries what would be signed.
    """
    rows = rows_of([one for one in candidates.found if scope in (None, one.scope)], to_sign=to_sign)
    others = [row for row in rows if row.state != State.READY]
    return CandidatesScreen(
        [row for row in rows if row.state == State.READY],
        [row for row in others if with_held or row.state != State.HELD],
        candidates.has_more,
    )


def rows_of(candidates: Sequence[Candidate], *, to_sign: bool = True) -> list[Row]:
    proposals = open_proposals(candidates)
    checked_of_each = requirements_of(candidates)
    ready = [checked for checked in checked_of_each if not unmet(checked)]
    tallies = tallies_for(ready) if to_sign else None
    return [
        _row(one, checked, proposals.get((one.person.pk, one.scope.pk)), tallies)
        for one, checked in zip(candidates, checked_of_each, strict=True)
    ]


def _row(
    one: Candidate,
    checked: list[Requirement],
    proposal: Proposal | None,
    tallies: Tallies | None,
) -> Row:
    """A line of the list; ``tallies`` are None where nothing is to be signed from it."""
    if proposal is not None:
        return Row(one, checked, State.PROPOSED, proposal=proposal)
    held = _held(one)
    if held is not None:
        return Row(one, checked, State.HELD, held=held)
    if unmet(checked):
        return Row(one, checked, State.LACKING)
    asked = (one.person, one.scope, one.revision)
    try:
        certificates.refuse_unmet(*asked, checked, one.day, one.read)
    except RequirementsNotMet as error:
        return Row(one, checked, State.LACKING, refusal=str(error))
    period = certificates.period_if_issued(*asked, one.day, one.read)
    return Row(
        one,
        checked,
        State.READY,
        period=period_said.said(*asked, period, one.read),
        restriction=certificates.with_restrictions_held(
            one.person, one.scope, one.day, "", one.read
        ),
        shown="" if tallies is None else _shown(one, checked, tallies),
    )


def _shown(one: Candidate, checked: list[Requirement], tallies: Tallies) -> str:
    asked = (one.person, one.scope, one.revision)
    made = proposal_to_make(*asked, checked, one.day, one.read, tallies)
    return digest_of(written_down.proposal_to_sign(made))


def _held(one: Candidate) -> Held | None:
    """The certificate that is good beyond the day on which its window for renewing opens."""
    window = timedelta(days=one.revision.renewal_window_days)
    good: list[Held] = []
    for history in standing_on_day.histories_in(one.read.facts).values():
        opens_on = history.period.valid_through - window
        if (
            history.certificate.issued_on <= one.day < opens_on
            and history.last_day >= one.day
            and history.revoked_on is None
        ):
            good.append(Held(history.certificate.number, history.last_day, opens_on))
    return max(good, key=lambda held: held.good_through, default=None)

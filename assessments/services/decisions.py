"""A third person decides where two graders differ."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from assessments.exceptions import AssessmentError, MayNotGrade, StageNotReady
from assessments.models import Board, Criterion, Grading, Judgement, StageSigning
from assessments.queries import (
    board_results,
    effective_judgements,
    grading_assignment,
    stage_to_sign,
    written_down,
)
from assessments.queries.effective_judgements import Place
from people.models import User
from records.services import trail
from records.services.shown import refuse_unless_shown

from .board_lock import lock_board
from .board_outcome import refresh_outcome
from .grading import refuse_unless_may_grade

SEEN = (Judgement.How.AT_BOARD, Judgement.How.PHOTOGRAPH)


@dataclass(frozen=True, slots=True)
class Decided:
    """What the third person says of one place, how they saw it, and why.

    From a photograph means from the one that a grader judged by.
    """

    outcome: str
    how: str = Judgement.How.AT_BOARD
    note: str = ""


def why_not_decide(board: Board, user: User) -> str:
    """Empty where the user may be the third person of a board, else why not."""
    if user.person_id is not None and user.person_id == board.person_id:
        return _("This is your own board. Somebody else has to judge it.")
    if user.pk in grading_assignment.of_board(board).signers:
        return _("You are one of those who judged this board, so a third person decides.")
    return ""


@transaction.atomic
def decide(
    *,
    board: Board,
    decider: User,
    decisions: Mapping[Place, Decided],
    proof: str,
    at: datetime,
    shown: str | None = None,
) -> Grading:
    """Decide every judgement on which two graders differ, and sign that; the result follows.

    Parameters
    ----------
    decisions : mapping of place to Decided
        One for each place of `effective_judgements.to_decide`, and for no other.
    proof : str
        What `people.services.proof.prove_identity` returned for this act. It signs the whole list,
        which was shown in full.
    shown : str, optional
        The digest of what the decider was shown (`presenters.stage_shown`).

    Raises
    ------
    ShownOtherwise
        If other judgements differ by now, or they say something else.
    MayNotGrade
        If the decider is one of the two, made the board, or may not judge it on this day.
    StageNotReady
        If nothing is left to decide, or the list is not the one that stands now.
    AssessmentError
        If a decision says nothing that a judgement can say.
    """
    refuse_unless_may_grade(decider, board, at)
    board = lock_board(board)
    if why := why_not_decide(board, decider):
        raise MayNotGrade(why)
    standing = effective_judgements.to_decide(board)
    if standing:
        refuse_unless_shown(shown, stage_to_sign.decisions_to_sign(board, standing))
    asked = _asked(board, standing, decisions)
    grading = _enter(board, decider, asked, decisions, at)
    stages = {disagreement.first.stage for disagreement in asked.values()}
    for stage in board.exercise.stage_list:
        if stage.value in stages:
            _sign(grading, stage.value, asked, proof, at)
    outcome = refresh_outcome(board, at)
    trail.record(
        actor=decider,
        act="differences decided",
        about=grading,
        payload={
            "board": board.number,
            "decided": len(asked),
            "complete": outcome.complete,
            "passed": outcome.passed,
        },
        at=at,
    )
    return grading


def _asked(
    board: Board,
    standing: Sequence[effective_judgements.Disagreement],
    decisions: Mapping[Place, Decided],
) -> dict[Place, effective_judgements.Disagreement]:
    """What waits for a decision; raises unless the decisions answer exactly that, in full."""
    asked = {_place(disagreement.first): disagreement for disagreement in standing}
    if not asked:
        raise StageNotReady(
            _("Nothing on %(board)s waits for a decision.") % {"board": board.number}
        )
    if asked.keys() != decisions.keys():
        raise StageNotReady(
            _("Decide each of the %(n)d judgements that differ, then sign them together.")
            % {"n": len(asked)}
        )
    if any(
        decided.outcome not in Judgement.Outcome.values or decided.how not in SEEN
        for decided in decisions.values()
    ):
        raise AssessmentError(
            _("Say accept, reject or not applicable of each, and how you saw it.")
        )
    for place, disagreement in asked.items():
        if not _may_be_decided(disagreement.first.criterion, decisions[place]):
            raise AssessmentError(
                _("%(code)s is measured: say in its note why you decide so.") % {"code": place[1]}
            )
        if decisions[place].how == Judgement.How.PHOTOGRAPH and disagreement.photo is None:
            raise AssessmentError(
                _("Neither grader judged %(code)s by a photograph, so take the board in hand.")
                % {"code": place[1]}
            )
    return asked


def _may_be_decided(criterion: Criterion, decided: Decided) -> bool:
    """Whether a decision says enough: between two measured readings it takes a reason."""
    is_told = bool(decided.note.strip()) or decided.outcome == Judgement.Outcome.NOT_APPLICABLE
    return is_told or not criterion.is_measured


def _enter(
    board: Board,
    decider: User,
    asked: Mapping[Place, effective_judgements.Disagreement],
    decisions: Mapping[Place, Decided],
    at: datetime,
) -> Grading:
    """The decider's own grading, with one judgement for each place."""
    first = next(iter(asked.values())).first.grading
    grading = Grading.objects.create(
        board=board,
        grader=decider,
        kind=Grading.Kind.DECISION,
        criteria_set_id=first.criteria_set_id,
        recorded_at=at,
    )
    Judgement.objects.bulk_create(
        Judgement(
            grading=grading,
            joint_id=place[0],
            criterion=disagreement.first.criterion,
            stage=disagreement.first.stage,
            outcome=decisions[place].outcome,
            how=decisions[place].how,
            photo=disagreement.photo if decisions[place].how == Judgement.How.PHOTOGRAPH else None,
            note=decisions[place].note.strip(),
            judged_at=at,
        )
        for place, disagreement in asked.items()
    )
    return grading


def _place(row: Judgement) -> Place:
    return row.joint_id, row.criterion.code


def _sign(
    grading: Grading,
    stage: str,
    asked: Mapping[Place, effective_judgements.Disagreement],
    proof: str,
    at: datetime,
) -> None:
    """Sign the decisions of one stage, with both readings that stood before the decider."""
    before = stage_to_sign.decided_between(
        disagreement for disagreement in asked.values() if disagreement.first.stage == stage
    )
    signing = StageSigning(
        grading=grading, stage=stage, signed_at=at, result={"decided": len(before)}
    )
    content = board_results.signed_content(signing) | {"decided_between": before}
    signing.signature = trail.sign(
        actor=grading.grader,
        meaning=written_down.DECIDED,
        about=grading,
        content=content,
        at=at,
        zone=grading.board.site.time_zone,
        proof=proof,
    )
    signing.save(force_insert=True)

"""Judging a board: start, judge, take back, sign, correct."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from assessments import ports as gates
from assessments.exceptions import AlreadySigned, AssessmentError, MayNotGrade, StageNotReady
from assessments.models import (
    Board,
    CriteriaSet,
    Criterion,
    Grading,
    Joint,
    Judgement,
    Measurement,
    Rework,
    StageSigning,
    UndoStep,
)
from assessments.queries import board_results, effective_judgements, grading_assignment
from assessments.queries.grading_assignment import gradings_of, open_among
from people.models import User
from records.services import trail as records
from training.models import Stage

from . import reading_requests
from .board_lock import hold
from .judgements import (
    Circumstances,
    hold_open,
    refuse_circumstances,
    refuse_if_not_asked,
    refuse_if_not_read,
    refuse_unexplained,
)
from .undo import remembered, undo, was_done

__all__ = [
    "Circumstances",
    "accept_the_rest",
    "correct_grading",
    "current_criteria_set",
    "gradings_of",
    "judge",
    "judge_held",
    "may_go_with_the_rest",
    "open_among",
    "open_grading",
    "refuse_unless_may_grade",
    "sign_stage",
    "start_grading",
    "start_own_reading",
    "undo",
    "was_done",
]


NEVER_SIGNED_SO = (Grading.Kind.OWN, Grading.Kind.DECISION)


def current_criteria_set() -> CriteriaSet:
    """The set a new grading uses; raise AssessmentError where none is published."""
    found = CriteriaSet.objects.current().first()
    if found is None:
        raise AssessmentError(
            _("No criteria set is published, so nothing can be judged. Ask quality to publish one.")
        )
    return found


def refuse_unless_may_grade(user: User, board: Board, at: datetime) -> None:
    """Raise MayNotGrade with the reason if this user may not judge this board today."""
    if user.person_id is not None and user.person_id == board.person_id:
        raise MayNotGrade(_("This is your own board. Somebody else has to judge it."))
    refusal = gates.may_grade(user=user, board=board, day=board.site.today(at))
    if refusal:
        raise MayNotGrade(refusal)


@transaction.atomic
def start_grading(*, board: Board, grader: User, at: datetime) -> Grading:
    """The grader's open reading of a board; begun if there is none.

    A board that nobody handed in is handed in by being judged.
    """
    refuse_unless_may_grade(grader, board, at)
    held = hold(board)
    gradings, makes = gradings_of(board), effective_judgements.makes_of(board)
    found = open_among(gradings, board, grader, makes)
    if found is not None:
        return found
    kind = grading_assignment.kind_to_begin(board, gradings, grader, makes)
    if held.handed_in_at is None:
        board.handed_in_at = at
        board.save(update_fields=["handed_in_at"])
    if kind == Grading.Kind.REWORK:  # Handed in by being judged, as a board is.
        Rework.objects.filter(joint__board=board, handed_in_at__isnull=True).update(handed_in_at=at)
    return Grading.objects.create(
        board=board,
        grader=grader,
        kind=kind,
        criteria_set=grading_assignment.set_of(grading_assignment.Seats(board, gradings))
        or current_criteria_set(),
        recorded_at=at,
    )


def open_grading(board: Board, grader: User) -> Grading | None:
    """The grader's reading that still has stages to sign and was not replaced."""
    return open_among(gradings_of(board), board, grader)


@transaction.atomic
def start_own_reading(*, board: Board, trainee: User, at: datetime) -> Grading:
    """A trainee's reading of their own board: kept apart and never counted."""
    if trainee.person_id is None or trainee.person_id != board.person_id:
        raise MayNotGrade(_("Only whoever made a board can judge it for themselves."))
    hold(board)
    found = board.gradings.filter(kind=Grading.Kind.OWN, grader=trainee).first()
    if found is not None:
        return found
    if StageSigning.objects.filter(grading__board=board).exists():
        raise AlreadySigned(
            _("An instructor has signed a stage of this board, so your own reading is over.")
        )
    return Grading.objects.create(
        board=board,
        grader=trainee,
        kind=Grading.Kind.OWN,
        criteria_set=current_criteria_set(),
        recorded_at=at,
    )


@transaction.atomic
def judge(
    *,
    grading: Grading,
    criterion: Criterion,
    joint: Joint | None,
    outcome: str,
    seen: Circumstances,
    at: datetime,
    key: UUID | None = None,
) -> Judgement | None:
    """Judge one joint (or the board, with `joint` None) under one criterion.

    Parameters
    ----------
    key : UUID, optional
        What the browser calls this act. One that was done already is not done again, and
        None is returned.

    Raises
    ------
    AlreadySigned
        If the stage is signed, or the grading was replaced.
    AssessmentError
        If the criterion is not asked of the joint, or how it was seen does not hold together.
    """
    hold_open(grading, criterion.stage)
    if was_done(grading, key):
        return None
    return judge_held(
        grading=grading,
        criterion=criterion,
        joint=joint,
        outcome=outcome,
        seen=seen,
        at=at,
        key=key,
    )


def judge_held(
    *,
    grading: Grading,
    criterion: Criterion,
    joint: Joint | None,
    outcome: str,
    seen: Circumstances,
    at: datetime,
    key: UUID | None = None,
    is_first: bool = False,
) -> Judgement:
    """Judge under a grading that is held open to the end of the transaction.

    Parameters
    ----------
    is_first : bool
        That nothing is judged there yet is known, and need not be looked up.
    """
    refuse_if_not_asked(grading, criterion, joint)
    refuse_if_not_read(grading, criterion.stage, joint)
    marks = measured_before(grading, criterion, joint)
    if seen.measured is not None:
        if marks is None or marks.pk != seen.measured:
            raise AssessmentError(
                _("This place was measured anew meanwhile. Look at the later measurement.")
            )
        seen = seen.by_marks(marks)
    refuse_circumstances(seen, grading.board)
    refuse_unexplained(criterion, outcome, seen, marks)
    there = Judgement.objects.filter(grading=grading, joint=joint, criterion=criterion)
    earlier = None if is_first else there.first()
    before = remembered(earlier, joint.pk if joint else None, criterion.pk)
    UndoStep.objects.create(
        grading=grading, stage=criterion.stage, before=[before], done_at=at, key=key
    )
    # Nobody else adds the same row meanwhile: the grading is held.
    judgement = earlier or Judgement(grading=grading, joint=joint, criterion=criterion)
    judgement.stage = criterion.stage
    judgement.outcome = outcome
    judgement.how = seen.how
    judgement.magnification = seen.magnification
    judgement.photo = seen.photo
    judgement.mark_x, judgement.mark_y = seen.mark or (None, None)
    judgement.measurement = seen.measurement
    judgement.tool = seen.tool
    judgement.value = seen.value
    judgement.uncertainty = seen.uncertainty
    judgement.note = seen.note
    judgement.with_the_rest = False
    judgement.judged_at = at
    judgement.save()
    return judgement


def measured_before(
    grading: Grading, criterion: Criterion, joint: Joint | None
) -> Measurement | None:
    """What this grader last measured of the place under a measured criterion."""
    if not criterion.is_measured:
        return None
    return (
        Measurement.objects.filter(
            photo__board=grading.board_id,
            joint=joint,
            criterion=criterion,
            measured_by=grading.grader_id,
        )
        .select_related("photo")
        .first()
    )


@transaction.atomic
def accept_the_rest(
    *,
    grading: Grading,
    stage: str,
    joints: Iterable[Joint | None],
    seen: Circumstances,
    at: datetime,
    shown: Criterion | None = None,
    key: UUID | None = None,
) -> int:
    """Accept what is still open on these joints at a stage; return how many were accepted.

    Critical and measured criteria are never covered: each wants a judgement of its own.
    What is accepted is stored as accepted with the rest, and one undo takes it all back.

    Parameters
    ----------
    joints : iterable of Joint or None
        None is the whole board.
    shown : Criterion, optional
        The criterion the grader has before them. If it is open, it is accepted by a judgement
        of its own, whatever it is, before the rest.
    key : UUID, optional
        What the browser calls this act; one that was done already is not done again.
    """
    hold_open(grading, stage)
    done = was_done(grading, key)
    if done is not None:
        return len(done.before)
    judged = set(
        Judgement.objects.filter(grading=grading, stage=stage).values_list(
            "joint_id", "criterion_id"
        )
    )
    new = []
    for joint in joints:
        refuse_if_not_read(grading, stage, joint)
        for criterion in board_results.criteria_for(grading, stage, joint):
            is_shown = criterion == shown
            if (joint and joint.pk, criterion.pk) in judged:
                continue
            if not is_shown and not may_go_with_the_rest(criterion):
                continue
            new.append(
                Judgement(
                    grading=grading,
                    joint=joint,
                    criterion=criterion,
                    stage=stage,
                    outcome=Judgement.Outcome.ACCEPT,
                    how=seen.how,
                    magnification=seen.magnification,
                    photo=seen.photo,
                    with_the_rest=not is_shown,
                    judged_at=at,
                )
            )
    if not new:
        return 0
    refuse_circumstances(seen, grading.board)
    before = [remembered(None, one.joint_id, one.criterion_id) for one in new]
    UndoStep.objects.create(grading=grading, stage=stage, before=before, done_at=at, key=key)
    Judgement.objects.bulk_create(new)
    return len(new)


def may_go_with_the_rest(criterion: Criterion) -> bool:
    return criterion.severity != Criterion.Severity.CRITICAL and not criterion.is_measured


@transaction.atomic
def sign_stage(
    *, grading: Grading, stage: str, signer: User, proof: str, at: datetime
) -> StageSigning:
    """Sign one stage of a grading; from here on its judgements never change.

    Parameters
    ----------
    proof : str
        What `people.services.proof.prove_identity` returned for this act.

    Raises
    ------
    MayNotGrade
        If the signer is not the grader, or may not judge this board on this day.
    StageNotReady
        If a stage that comes before is not signed, a required joint is missing or a criterion
        is still open.
    AlreadySigned
        If the stage is signed already.
    """
    board = hold(grading.board)
    if signer.pk != grading.grader_id or grading.kind in NEVER_SIGNED_SO:
        raise MayNotGrade(_("Only whoever judged can sign, and an own reading is never signed."))
    refuse_unless_may_grade(signer, board, at)
    if stage not in board.exercise.stages:
        raise StageNotReady(_("This exercise does not ask for that stage."))
    hold_open(grading, stage)
    summary = board_results.stage_summary(grading, stage)
    if grading.kind == Grading.Kind.REWORK and not summary.joints:
        raise AlreadySigned(
            _("Nothing reworked is left to judge at the stage “%(stage)s” of this board.")
            % {"stage": Stage(stage).label}
        )
    if before := grading_assignment.Seats(board, gradings_of(board)).first_unsigned(grading, stage):
        raise StageNotReady(
            _("The stage “%(before)s” comes first and is not signed yet. Sign that one, then this.")
            % {"before": Stage(before).label}
        )
    if summary.missing:
        raise StageNotReady(
            _("These joints are asked for and missing: %(names)s.")
            % {"names": ", ".join(summary.missing)}
        )
    if summary.open_places:
        raise StageNotReady(
            _("Still open: %(places)s. Judge them, then sign.")
            % {"places": board_results.shortened(summary.open_places)}
        )
    board_results.judgements_left(grading, stage).delete()
    content = board_results.signed_content(grading, stage, summary)
    signature = records.sign(
        actor=signer,
        meaning="judged this stage against the criteria",
        about=grading,
        content=content,
        at=at,
        zone=board.site.time_zone,
        proof=proof,
    )
    signing = StageSigning.objects.create(
        grading=grading, stage=stage, signature=signature, signed_at=at, result=summary.as_json()
    )
    # The keys stay, so that what is sent again is known; what was replaced is over.
    grading.undo_steps.filter(stage=stage).update(before=[])
    outcome = board_results.refresh_outcome(board, at)
    reading_requests.note_answer(grading=grading, outcome=outcome, at=at)
    records.record(
        actor=signer,
        act="stage signed",
        about=grading,
        payload={
            "board": board.number,
            "stage": stage,
            "kind": str(grading.kind),
            "signature": signature.pk,
            "complete": outcome.complete,
            "passed": outcome.passed,
        },
        at=at,
    )
    return signing


@transaction.atomic
def correct_grading(*, grading: Grading, grader: User, reason: str, at: datetime) -> Grading:
    """Begin a grading that replaces a signed one, starting from its judgements.

    The earlier signatures stand until the new grading's stages are signed.

    Raises
    ------
    AssessmentError
        If nothing of the grading is signed yet, or no reason is given.
    AlreadySigned
        If it was replaced already.
    """
    refuse_unless_may_grade(grader, grading.board, at)
    hold(grading.board)
    # Whoever is judging in it is done first: nothing is left behind in a grading that is replaced.
    Grading.objects.select_for_update(no_key=True).only("pk").get(pk=grading.pk)
    grading_assignment.refuse_to_correct(grading, gradings_of(grading.board), grader)
    if not reason.strip():
        raise AssessmentError(_("Say why the earlier grading is wrong."))
    if not grading.signings.exists():
        raise AssessmentError(_("Nothing of that grading is signed: just change its judgements."))
    if Grading.objects.filter(replaces=grading).exists():
        raise AlreadySigned(_("That grading was replaced already. Correct the later one."))
    new = Grading.objects.create(
        board=grading.board,
        grader=grader,
        kind=grading.kind,
        criteria_set=grading.criteria_set,
        replaces=grading,
        reason=reason.strip(),
        recorded_at=at,
    )
    copies = list(grading.judgements.all())
    for copy in copies:
        copy.pk = None
        copy.grading = new
        copy._state.adding = True
    Judgement.objects.bulk_create(copies)
    records.record(
        actor=grader,
        act="correction begun",
        about=new,
        payload={"board": grading.board.number, "replaces": grading.pk, "reason": new.reason},
        at=at,
    )
    return new

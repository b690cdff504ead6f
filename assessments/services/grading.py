"""Judging a board: start, judge, take back, sign, correct."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from assessments import gates
from assessments.domain.verdict import Verdict, verdict
from assessments.exceptions import AlreadySigned, AssessmentError, MayNotGrade, StageNotReady
from assessments.models import (
    Board,
    CriteriaSet,
    Criterion,
    Grading,
    Joint,
    Judgement,
    Photo,
    StageSigning,
    UndoStep,
)
from records import services as records
from training.models import Stage, Tool, User

from . import outcomes

UNDO_DEPTH = 50


@dataclass(frozen=True, slots=True)
class Circumstances:
    """How a judgement was made: seen at the board, on a photograph, or with an instrument."""

    how: str = Judgement.How.AT_BOARD
    magnification: Decimal | None = None
    photo: Photo | None = None
    mark: tuple[float, float] | None = None
    tool: Tool | None = None
    value: Decimal | None = None
    uncertainty: Decimal | None = None
    note: str = ""


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
    found = open_grading(board, grader)
    if found is not None:
        return found
    left = outcomes.stages_to_sign(board)
    if not left:
        raise AlreadySigned(
            _("Every stage of %(board)s is signed. To change one, correct its grading.")
            % {"board": board.number}
        )
    if board.handed_in_at is None:
        board.handed_in_at = at
        board.save(update_fields=["handed_in_at"])
    return Grading.objects.create(
        board=board, grader=grader, criteria_set=current_criteria_set(), recorded_at=at
    )


def open_grading(board: Board, grader: User) -> Grading | None:
    """The grader's reading that still has stages to sign and was not replaced."""
    left = set(outcomes.stages_to_sign(board))
    candidates = (
        Grading.objects.counted()
        .filter(board=board, grader=grader, replaced_by__isnull=True)
        .select_related("criteria_set")
        .prefetch_related("signings")
    )
    for grading in candidates:
        signed = {signing.stage for signing in grading.signings.all()}
        if grading.replaces_id is not None:
            replaced = set(grading.replaces.signings.values_list("stage", flat=True))
            if replaced - signed:
                return grading
        if left - signed:
            return grading
    return None


@transaction.atomic
def start_own_reading(*, board: Board, trainee: User, at: datetime) -> Grading:
    """A trainee's reading of their own board: kept apart and never counted."""
    if trainee.person_id is None or trainee.person_id != board.person_id:
        raise MayNotGrade(_("Only whoever made a board can judge it for themselves."))
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


def _refuse_if_closed(grading: Grading, stage: str) -> None:
    if Grading.objects.filter(replaces=grading).exists():
        raise AlreadySigned(_("This grading was replaced by a later one. Judge in that one."))
    if grading.kind == Grading.Kind.OWN:
        if StageSigning.objects.filter(grading__board=grading.board_id).exists():
            raise AlreadySigned(
                _("An instructor has signed a stage of this board, so your own reading is over.")
            )
        return
    if grading.signings.filter(stage=stage).exists():
        raise AlreadySigned(
            _("The stage “%(stage)s” is signed and does not change. To change it, correct it.")
            % {"stage": Stage(stage).label}
        )
    taken = (
        StageSigning.objects.filter(grading__board=grading.board_id, stage=stage)
        .exclude(grading=grading)
        .exclude(grading=grading.replaces_id)
        .exists()
    )
    if taken and grading.replaces_id is None:
        raise AlreadySigned(
            _("Somebody else has signed the stage “%(stage)s” of this board.")
            % {"stage": Stage(stage).label}
        )


def _refuse_if_not_applicable(grading: Grading, criterion: Criterion, joint: Joint | None) -> None:
    board = grading.board
    fits = (
        criterion.criteria_set_id == grading.criteria_set_id
        and criterion.stage in board.exercise.stages
        and (not criterion.alloys or board.alloy in criterion.alloys)
    )
    if joint is None:
        fits = fits and criterion.of == Criterion.Of.BOARD
    else:
        fits = (
            fits
            and criterion.of == Criterion.Of.JOINT
            and joint.board_id == board.pk
            and joint.position.joint_type in criterion.joint_types
        )
    if not fits:
        raise AssessmentError(
            _("%(criterion)s is not asked of this joint.") % {"criterion": criterion.code}
        )


def measured_verdict(criterion: Criterion, seen: Circumstances) -> Verdict | None:
    """What a value read on an instrument says of a measured criterion; None without a value."""
    if not criterion.is_measured or seen.value is None:
        return None
    return verdict(seen.value, seen.uncertainty or Decimal(0), criterion.low, criterion.high)


def _refuse_unexplained(criterion: Criterion, outcome: str, seen: Circumstances) -> None:
    """A judgement that its own reading does not bear out has to say why."""
    said = measured_verdict(criterion, seen)
    borne_out = {
        None: True,
        Verdict.WITHIN: outcome != Judgement.Outcome.REJECT,
        Verdict.OUTSIDE: outcome != Judgement.Outcome.ACCEPT,
        Verdict.TOO_CLOSE: False,
    }[said]
    if not borne_out and not seen.note.strip():
        raise AssessmentError(
            _("The reading is %(verdict)s its limits. To judge so even then, say why in the note.")
            % {
                "verdict": {
                    Verdict.WITHIN: _("within"),
                    Verdict.OUTSIDE: _("outside"),
                    Verdict.TOO_CLOSE: _("too close to call against"),
                }[said]
            }
        )


def _refuse_circumstances(criterion: Criterion, seen: Circumstances, board: Board) -> None:
    if seen.photo is not None and seen.photo.board_id != board.pk:
        raise AssessmentError(_("That photograph belongs to another board."))
    from_photo = seen.how in (Judgement.How.PHOTOGRAPH, Judgement.How.MARKS)
    if from_photo and seen.photo is None:
        raise AssessmentError(
            _("Judged from a photograph, but none is on screen. Show one, or judge at the board.")
        )
    if seen.how == Judgement.How.INSTRUMENT and (seen.value is None or seen.tool is None):
        raise AssessmentError(
            _("A reading with an instrument needs its value and the tool it was read on.")
        )


def _remembered(judgement: Judgement | None, joint_id: int | None, criterion_id: int) -> dict:
    """What an undo needs to put back: the earlier judgement, or that there was none."""
    step: dict = {"joint": joint_id, "criterion": criterion_id, "was": None}
    if judgement is not None:
        step["was"] = {
            "stage": judgement.stage,
            "outcome": judgement.outcome,
            "how": judgement.how,
            "magnification": _text(judgement.magnification),
            "photo": judgement.photo_id,
            "mark_x": judgement.mark_x,
            "mark_y": judgement.mark_y,
            "tool": judgement.tool_id,
            "value": _text(judgement.value),
            "uncertainty": _text(judgement.uncertainty),
            "note": judgement.note,
            "with_the_rest": judgement.with_the_rest,
            "judged_at": judgement.judged_at.isoformat(),
        }
    return step


def _text(value: Decimal | None) -> str | None:
    return None if value is None else str(value)


def _remember(grading: Grading, stage: str, steps: list[dict], at: datetime) -> None:
    UndoStep.objects.create(grading=grading, stage=stage, before=steps, done_at=at)
    kept = UndoStep.objects.filter(grading=grading).order_by("-id")[UNDO_DEPTH:]
    UndoStep.objects.filter(id__in=list(kept.values_list("id", flat=True))).delete()


@transaction.atomic
def judge(
    *,
    grading: Grading,
    criterion: Criterion,
    joint: Joint | None,
    outcome: str,
    seen: Circumstances,
    at: datetime,
) -> Judgement:
    """Judge one joint (or the board, with `joint` None) under one criterion.

    Raises
    ------
    AlreadySigned
        If the stage is signed, or the grading was replaced.
    AssessmentError
        If the criterion is not asked of the joint, or how it was seen does not hold together.
    """
    _refuse_if_closed(grading, criterion.stage)
    _refuse_if_not_applicable(grading, criterion, joint)
    _refuse_circumstances(criterion, seen, grading.board)
    _refuse_unexplained(criterion, outcome, seen)
    earlier = Judgement.objects.filter(grading=grading, joint=joint, criterion=criterion).first()
    _remember(
        grading,
        criterion.stage,
        [_remembered(earlier, joint.pk if joint else None, criterion.pk)],
        at,
    )
    judgement, _created = Judgement.objects.update_or_create(
        grading=grading,
        joint=joint,
        criterion=criterion,
        defaults={
            "stage": criterion.stage,
            "outcome": outcome,
            "how": seen.how,
            "magnification": seen.magnification,
            "photo": seen.photo,
            "mark_x": seen.mark[0] if seen.mark else None,
            "mark_y": seen.mark[1] if seen.mark else None,
            "tool": seen.tool,
            "value": seen.value,
            "uncertainty": seen.uncertainty,
            "note": seen.note,
            "with_the_rest": False,
            "judged_at": at,
        },
    )
    return judgement


@transaction.atomic
def accept_the_rest(
    *,
    grading: Grading,
    stage: str,
    joints: Iterable[Joint],
    seen: Circumstances,
    at: datetime,
) -> int:
    """Accept what is still open on these joints at a stage; return how many were accepted.

    Critical and measured criteria are never covered: each wants a judgement of its own.
    What is accepted is stored as accepted with the rest, and one undo takes it all back.
    """
    _refuse_if_closed(grading, stage)
    photo_of_board = seen.photo
    judged = set(
        Judgement.objects.filter(grading=grading, stage=stage, joint__isnull=False).values_list(
            "joint_id", "criterion_id"
        )
    )
    new = []
    for joint in joints:
        for criterion in outcomes.criteria_for(grading, stage, joint):
            if (joint.pk, criterion.pk) in judged or not may_go_with_the_rest(criterion):
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
                    photo=photo_of_board,
                    with_the_rest=True,
                    judged_at=at,
                )
            )
    if not new:
        return 0
    _refuse_circumstances(new[0].criterion, seen, grading.board)
    _remember(
        grading, stage, [_remembered(None, one.joint_id, one.criterion_id) for one in new], at
    )
    Judgement.objects.bulk_create(new)
    return len(new)


def may_go_with_the_rest(criterion: Criterion) -> bool:
    return criterion.severity != Criterion.Severity.CRITICAL and not criterion.is_measured


@transaction.atomic
def undo(*, grading: Grading) -> UndoStep | None:
    """Take back the last act on an unsigned stage; None if there is nothing to take back."""
    signed = grading.signings.values_list("stage", flat=True)
    step = grading.undo_steps.exclude(stage__in=signed).first()
    if step is None:
        return None
    _refuse_if_closed(grading, step.stage)
    for one in step.before:
        judgements = Judgement.objects.filter(
            grading=grading, joint=one["joint"], criterion=one["criterion"]
        )
        was = one["was"]
        if was is None:
            judgements.delete()
            continue
        values = {key: was[key] for key in was if key not in ("photo", "tool")}
        values |= {"photo_id": was["photo"], "tool_id": was["tool"]}
        judgements.update(**values)
    step.delete()
    return step


@transaction.atomic
def sign_stage(
    *, grading: Grading, stage: str, signer: User, proof: str, at: datetime
) -> StageSigning:
    """Sign one stage of a grading; from here on its judgements never change.

    Parameters
    ----------
    proof : str
        What `training.proof.prove_identity` returned for this act.

    Raises
    ------
    MayNotGrade
        If the signer is not the grader, or may not judge this board on this day.
    StageNotReady
        If a required joint is missing or a criterion still open.
    AlreadySigned
        If the stage is signed already.
    """
    board = Board.objects.select_for_update(of=("self",)).get(pk=grading.board_id)
    if signer.pk != grading.grader_id or grading.kind == Grading.Kind.OWN:
        raise MayNotGrade(_("Only whoever judged can sign, and an own reading is never signed."))
    refuse_unless_may_grade(signer, board, at)
    if stage not in board.exercise.stages:
        raise StageNotReady(_("This exercise does not ask for that stage."))
    _refuse_if_closed(grading, stage)
    summary = outcomes.stage_summary(grading, stage)
    if summary.missing:
        raise StageNotReady(
            _("These joints are asked for and missing: %(names)s.")
            % {"names": ", ".join(summary.missing)}
        )
    if summary.open_places:
        raise StageNotReady(
            _("Still open: %(places)s. Judge them, then sign.")
            % {"places": outcomes.shortened(summary.open_places)}
        )
    content = outcomes.signed_content(grading, stage, summary)
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
    grading.undo_steps.filter(stage=stage).delete()
    outcome = outcomes.refresh_outcome(board, at)
    records.record(
        actor=signer,
        act="stage signed",
        about=grading,
        payload={
            "board": board.number,
            "stage": stage,
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
    if not reason.strip():
        raise AssessmentError(_("Say why the earlier grading is wrong."))
    if not grading.signings.exists():
        raise AssessmentError(_("Nothing of that grading is signed: just change its judgements."))
    if Grading.objects.filter(replaces=grading).exists():
        raise AlreadySigned(_("That grading was replaced already. Correct the later one."))
    new = Grading.objects.create(
        board=grading.board,
        grader=grader,
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

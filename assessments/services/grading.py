"""Readings of a board: begun, signed stage by stage, corrected."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from assessments import ports
from assessments.exceptions import AlreadySigned, AssessmentError, MayNotGrade, StageNotReady
from assessments.models import Board, Grading, Judgement, Rework, StageSigning
from assessments.queries import (
    board_results,
    grading_assignment,
    measured_by,
    stage_to_sign,
    written_down,
)
from assessments.queries.effective_judgements import Makes, makes_of
from assessments.queries.grading_assignment import current_criteria_set, gradings_of
from people.models import User
from records.services import trail
from records.services.shown import refuse_unless_shown
from training.models import Stage

from . import reading_requests
from .board_lock import lock_board, lock_boards
from .board_outcome import refresh_outcome
from .boards import refuse_unfit_tools

NEVER_SIGNED_SO = (Grading.Kind.OWN, Grading.Kind.DECISION)


def refuse_unless_may_grade(user: User, board: Board, at: datetime) -> None:
    """Raise MayNotGrade with the reason if this user may not judge this board today."""
    if not user.may_sign_in(at):
        raise MayNotGrade(
            _("%(name)s has left, or the sign-in is closed, so they judge nothing.")
            % {"name": user}
        )
    if user.person_id is not None and user.person_id == board.person_id:
        raise MayNotGrade(_("This is your own board. Somebody else has to judge it."))
    refusal = ports.may_grade(user=user, board=board, day=board.site.today(at))
    if refusal:
        raise MayNotGrade(refusal)


def begin_reading(*, board: Board, grader: User, own: bool, at: datetime) -> Grading:
    """The reading in which the user judges a board: for themselves, uncounted, or as a grader."""
    if own:
        return start_own_reading(board=board, trainee=grader, at=at)
    return start_grading(board=board, grader=grader, at=at)


@transaction.atomic
def start_grading(*, board: Board, grader: User, at: datetime) -> Grading:
    """The grader's open reading of a board; begun if there is none.

    A board that nobody handed in is handed in by being judged.
    """
    refuse_unless_may_grade(grader, board, at)
    current = lock_board(board)
    assignment, makes = grading_assignment.of_board(board), makes_of(board).for_reading()
    reading = grading_assignment.open_reading(assignment, grader, makes)
    if reading is not None:
        return reading
    kind = grading_assignment.kind_to_begin(assignment, grader, makes)
    if current.handed_in_at is None:
        refuse_unfit_tools(current, at)
        board.handed_in_at = at
        board.save(update_fields=["handed_in_at"])
    if kind == Grading.Kind.REWORK:  # Handed in by being judged, as a board is.
        Rework.objects.filter(joint__board=board, handed_in_at__isnull=True).update(handed_in_at=at)
    return Grading.objects.create(
        board=board,
        grader=grader,
        kind=kind,
        criteria_set=grading_assignment.set_of(assignment) or current_criteria_set(board.exercise),
        recorded_at=at,
    )


def open_grading(board: Board, grader: User) -> Grading | None:
    """The grader's reading that still has stages to sign and was not replaced."""
    return grading_assignment.open_reading(grading_assignment.of_board(board), grader)


@transaction.atomic
def start_own_reading(*, board: Board, trainee: User, at: datetime) -> Grading:
    """A trainee's reading of their own board: kept apart and never counted."""
    if trainee.person_id is None or trainee.person_id != board.person_id:
        raise MayNotGrade(_("Only whoever made a board can judge it for themselves."))
    lock_board(board)
    reading = grading_assignment.own_reading_among(gradings_of(board), trainee)
    if reading is not None:
        return reading
    if StageSigning.objects.filter(grading__board=board).exists():
        raise AlreadySigned(
            _("An instructor has signed a stage of this board, so your own reading is over.")
        )
    return Grading.objects.create(
        board=board,
        grader=trainee,
        kind=Grading.Kind.OWN,
        criteria_set=current_criteria_set(board.exercise),
        recorded_at=at,
    )


@transaction.atomic
def sign_stage(
    *,
    grading: Grading,
    stage: str,
    signer: User,
    proof: str,
    at: datetime,
    shown: str | None = None,
) -> StageSigning:
    """Sign one stage of a grading; from here on its judgements never change.

    Parameters
    ----------
    proof : str
        What `people.services.proof.prove_identity` returned for this act.
    shown : str, optional
        The digest of what the signer was shown (`presenters.stage_shown`).

    Raises
    ------
    ShownOtherwise
        If that is not what would be signed.
    MayNotGrade
        If the signer is not the grader, or may not judge this board on this day.
    StageNotReady
        If a stage that comes before is not signed, a required joint is missing or a criterion
        is still open.
    AlreadySigned
        If the stage is signed already.
    """
    board = lock_board(grading.board)
    _refuse_unless_may_sign(grading, signer)
    refuse_unless_may_grade(signer, board, at)
    to_sign = StageToSign(grading, stage, shown)
    return _sign_locked(to_sign, board, makes_of(board), signer=signer, proof=proof, at=at)


def _refuse_unless_may_sign(grading: Grading, signer: User) -> None:
    if signer.pk != grading.grader_id or grading.kind in NEVER_SIGNED_SO:
        raise MayNotGrade(_("Only whoever judged can sign, and an own reading is never signed."))


@dataclass(frozen=True, slots=True)
class StageToSign:
    """One stage that is signed, and the digest of what was shown of it if a page showed it."""

    grading: Grading
    stage: str
    shown: str | None


def _sign_locked(
    to_sign: StageToSign, board: Board, makes: Makes, *, signer: User, proof: str, at: datetime
) -> StageSigning:
    """Sign a stage of a board that is locked, whose every make was read since."""
    grading, stage = to_sign.grading, to_sign.stage
    grading.board = board
    summary = _summary_to_sign(board, grading, stage, makes)
    board_results.judgements_left(grading, stage, makes).delete()
    signing = StageSigning(grading=grading, stage=stage, signed_at=at, result=summary.as_json())
    content = board_results.signed_content(signing)
    refuse_unless_shown(to_sign.shown, stage_to_sign.not_signed_yet(content))
    signing.signature = trail.sign(
        actor=signer,
        meaning=written_down.JUDGED,
        about=grading,
        content=content,
        at=at,
        zone=board.site.time_zone,
        proof=proof,
    )
    signing.save(force_insert=True)
    # The keys stay, so that what is sent again is known; what was replaced is over.
    grading.undo_steps.filter(stage=stage).update(before=[])
    outcome = refresh_outcome(board, at, makes)
    reading_requests.note_answer(grading=grading, outcome=outcome, at=at)
    payload = {
        "board": board.number,
        "stage": stage,
        "kind": str(grading.kind),
        "signature": signing.signature.pk,
        "complete": outcome.complete,
        "passed": outcome.passed,
    }
    if grading.replaces_id is not None:  # What rests on the board stays for quality to decide.
        payload |= {"rests_on_it": ports.what_rests_on_as_kept(board)}
    trail.record(actor=signer, act="stage signed", about=grading, payload=payload, at=at)
    return signing


@transaction.atomic
def sign_stages(
    *, stages: Sequence[StageToSign], signer: User, proof: str, at: datetime
) -> list[StageSigning]:
    """Sign several stages, across boards, each by a signature of its own; all of them or none.

    Parameters
    ----------
    proof : str
        What `people.services.proof.prove_identity` returned for this act: one for the whole list,
        which was shown in full.

    Raises
    ------
    ShownOtherwise
        If one of them is not what the signer was shown.
    AssessmentError
        What `sign_stage` refuses one of them for, with its board and stage.
    """
    boards = lock_boards({each.grading.board_id for each in stages})
    makes: dict[int, Makes] = {}
    order = {stage.value: place for place, stage in enumerate(Stage)}
    signings = []
    for each in sorted(stages, key=lambda each: (each.grading.board_id, order[each.stage])):
        try:
            _refuse_unless_may_sign(each.grading, signer)
            board = boards[each.grading.board_id]
            if board.pk not in makes:
                refuse_unless_may_grade(signer, board, at)
                makes[board.pk] = makes_of(board)
            signing = _sign_locked(each, board, makes[board.pk], signer=signer, proof=proof, at=at)
        except AssessmentError as error:
            raise AssessmentError(
                _("%(board)s, %(stage)s: %(error)s")
                % {
                    "board": each.grading.board.number,
                    "stage": Stage(each.stage).label,
                    "error": error,
                }
            ) from error
        signings.append(signing)
    return signings


def _summary_to_sign(
    board: Board, grading: Grading, stage: str, makes: Makes
) -> board_results.StageSummary:
    """What would be signed of a stage; raise why it cannot be signed yet or any more."""
    if stage not in board.exercise.stages:
        raise StageNotReady(_("This exercise does not ask for that stage."))
    makes = makes.for_reading()
    assignment = grading_assignment.of_board(board)
    assignment.refuse_if_closed(grading, stage)
    summary = board_results.stage_summary(grading, stage, makes)
    if grading.kind == Grading.Kind.REWORK and not summary.joints:
        raise AlreadySigned(
            _("Nothing reworked is left to judge at the stage “%(stage)s” of this board.")
            % {"stage": Stage(stage).label}
        )
    if before := assignment.first_unsigned(grading, stage, makes):
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
    judged = measured_by.measured_judgements(grading, stage)
    # Judged before a measurement was asked for, and never signed.
    if unsaid := measured_by.unsaid_before_signing(judged, grading, stage):
        raise StageNotReady(
            _(
                "Measured, and judged by a key alone: %(places)s. Judge each again by marks, with"
                " an instrument, or by eye with a reason, then sign."
            )
            % {"places": board_results.shortened(unsaid)}
        )
    if former := measured_by.by_former_scale_before_signing(judged, grading, stage, makes):
        raise StageNotReady(
            _(
                "Judged by what was measured before the photograph’s scale was set anew: "
                "%(places)s. Measure each again and judge it by that, then sign."
            )
            % {"places": board_results.shortened(former)}
        )
    return summary


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
    # Whoever is judging in it is done first: nothing is left behind in a grading that is replaced.
    lock_board(grading.board)
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
    trail.record(
        actor=grader,
        act="correction begun",
        about=new,
        payload={"board": grading.board.number, "replaces": grading.pk, "reason": new.reason},
        at=at,
    )
    return new

"""What pages show of several readings: rework, two graders, another reading."""

from collections.abc import Sequence
from dataclasses import dataclass

from assessments import access, ports
from assessments.domain.scoring import JointState
from assessments.models import Board, Criterion, Grading, Joint, ReadingRequest, Rework
from assessments.queries import (
    board_results,
    effective_judgements,
    grading_assignment,
    pending_actions,
)
from assessments.queries.pending_actions import PendingAction
from assessments.services import reading_requests, rework
from people.models import Role, User


@dataclass(frozen=True, slots=True)
class BoardReadings:
    """What a board waits for beyond one reading, as the page of the board says it."""

    two: bool
    signed: int
    both_signed: bool
    wait: PendingAction
    out: tuple[Rework, ...]
    handed_in: tuple[Rework, ...]
    request: ReadingRequest | None
    may_ask: bool
    blind: bool


def readings_of(board: Board, user: User) -> BoardReadings:
    """What stands beside the usual on the page of a board, for one user."""
    outcome = getattr(board, "outcome", None)
    complete = outcome is not None and outcome.complete
    two = board.exercise.graders > 1
    request = getattr(board, "reading_request", None)
    reworks = [] if complete else list(
        Rework.objects.filter(joint__board=board).select_related("joint__position", "sent_by")
    )  # fmt: skip
    uninspected = {
        joint.joint.pk
        for joint in (board_results.read_board(board).joints if reworks else ())
        if joint.joint and joint.result.state == JointState.OPEN
    }
    signed, both = 0, True
    if two and not complete:
        done = grading_assignment.of_board(board).finished(Grading.Kind.FIRST)
        signed, both = len(done), len(done) >= board.exercise.graders
    special = (
        (two and not complete)
        or bool(reworks)
        or grading_assignment.open_request(board) is not None
    )
    is_open = board.disposed_at is None and board.cancelled_at is None
    judges = access.may_judge(user, board) and is_open
    return BoardReadings(
        two=two,
        signed=signed,
        both_signed=both,
        wait=pending_actions.pending_action_for(board, user)
        if special and judges
        else PendingAction.NOTHING,
        out=tuple(rework for rework in reworks if rework.handed_in_at is None),
        handed_in=tuple(
            rework
            for rework in reworks
            if rework.handed_in_at is not None and rework.joint_id in uninspected
        ),
        request=request,
        may_ask=access.is_own(user, board) and not reading_requests.why_not_ask(board, user),
        blind=not access.may_see_outcome(user, board),
    )


@dataclass(frozen=True, slots=True)
class Make:
    """One make of a reworked joint, and for what it was sent back."""

    joint: Joint
    state: str
    rejected: tuple[Criterion, ...]
    counts: bool
    rework: Rework | None


@dataclass(frozen=True, slots=True)
class Result:
    """What the result of a board says beyond one reading of first makes."""

    makes: tuple[Make, ...]
    may_send_back: tuple[Joint, ...]
    disagreements: tuple[effective_judgements.Disagreement, ...]
    readings: tuple[Grading, ...]
    request: ReadingRequest | None
    former: tuple[Grading, ...]
    resting: tuple[str, ...]
    may_ask: bool


def result_of(
    board: Board, user: User, reading: board_results.JudgedBoard, gradings: Sequence[Grading]
) -> Result:
    """What stands on the result of a board beside its one usual reading.

    Parameters
    ----------
    reading : JudgedBoard
        As `outcomes.read_board` gives it.
    gradings
        The board's signed gradings, oldest first.
    """
    request = getattr(board, "reading_request", None)
    answered = request is not None and request.answered_at is not None
    judges = access.may_judge(user, board)
    told = judges or user.has_role(Role.QUALITY, site=board.site_id)
    asked = (request is not None and told) or (judges and board.exercise.rework_allowed)
    resting = ports.what_rests_on(board) if asked else []
    return Result(
        makes=tuple(_makes(board, reading)),
        may_send_back=tuple(
            joint.joint
            for joint in reading.joints
            if judges and joint.joint and joint.rejections
            and not rework.why_no_rework(board, joint.joint, reading, resting)
        ),
        disagreements=tuple(effective_judgements.disagreements(board)),
        readings=tuple(grading for grading in gradings if grading.kind == Grading.Kind.FIRST)
        if board.exercise.graders > 1
        else (),
        request=request,
        former=tuple(grading for grading in gradings if grading.kind != Grading.Kind.ANOTHER)
        if answered
        else (),
        resting=tuple(resting) if request is not None and told else (),
        may_ask=access.is_own(user, board) and not reading_requests.why_not_ask(board, user),
    )  # fmt: skip


def _makes(board: Board, reading: board_results.JudgedBoard) -> list[Make]:
    remade = {joint.joint.position_id for joint in reading.earlier if joint.joint}
    if not remade:
        return []
    reworks = {
        rework.joint_id: rework
        for rework in Rework.objects.filter(joint__board=board).select_related("sent_by")
    }
    makes = [
        Make(
            joint=joint.joint,
            state=joint.state_for_statistics.value,
            rejected=tuple(judgement.criterion for judgement in joint.rejections),
            counts=joint in reading.joints,
            rework=reworks.get(joint.joint.pk),
        )
        for joint in (*reading.earlier, *reading.joints)
        if joint.joint and joint.joint.position_id in remade
    ]
    return sorted(makes, key=lambda line: (line.joint.position.order, line.joint.make))

"""Sending a rejected joint back to be made again."""

from collections.abc import Iterable, Sequence
from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from assessments import ports
from assessments.domain import readings, scoring
from assessments.exceptions import CannotChangeBoard
from assessments.models import Board, Joint, Rework
from assessments.queries import board_results, grading_assignment, written_down
from people.models import User
from records.services import trail

from .board_lock import lock_board
from .board_outcome import refresh_outcome
from .grading import refuse_unless_may_grade


def why_no_rework(
    board: Board,
    joint: Joint,
    reading: board_results.JudgedBoard,
    resting: Sequence[str] | None = None,
) -> str:
    """Empty where a joint may be sent back for rework now, else why not.

    Parameters
    ----------
    reading : JudgedBoard
        The board as `outcomes.read_board` gives it.
    resting : sequence of str, optional
        What `ports.what_rests_on` says of the board, where it was asked already.
    """
    allowed = board.exercise.rework_allowed
    if not allowed:
        return _("This exercise allows no rework: the first attempt at every joint counts.")
    if board.disposed_at is not None:
        return _("The piece is gone, so nothing on it can be reworked.")
    if grading_assignment.open_request(board) is not None:
        return _("A regrading of this board was asked for. Wait until it is signed.")
    judged = next((row for row in reading.joints if row.joint == joint), None)
    if judged is None:
        if any(row.joint == joint for row in reading.earlier):
            return _("%(joint)s was sent back already. Its rework counts.") % {
                "joint": joint.position.name
            }
        return _("%(joint)s does not count toward the result, so it is not sent back.") % {
            "joint": joint
        }
    if board.exercise.graders > 1 and not reading.signings:
        return _("Two graders judge this board. A joint is sent back once its result is there.")
    if judged.state_for_statistics != scoring.JointState.REJECTED:
        return _("%(joint)s is not rejected under a signature, so it is not sent back.") % {
            "joint": joint
        }
    if any(place == joint.pk for place, _code in reading.undecided):
        return _(
            "The graders differ on %(joint)s, and a third person decides. Send it back after that."
        ) % {"joint": joint}
    if not readings.reworks_left(joint.make, allowed):
        return _("%(joint)s has been reworked as often as the exercise allows.") % {
            "joint": joint.position.name
        }
    if resting is None:
        resting = ports.what_rests_on(board)
    if resting:
        return _("This rests on the board as it was judged: %(what)s. It is not reworked.") % {
            "what": ", ".join(resting)
        }
    return ""


@transaction.atomic
def send_back(
    *,
    board: Board,
    joint: Joint,
    codes: Iterable[str],
    actor: User,
    at: datetime,
    reason: str = "",
) -> Rework:
    """Send a rejected joint back: a make more is asked for, which is inspected anew.

    The make before stays with its judgements and photographs.

    Parameters
    ----------
    codes : iterable of str
        Criteria under which the joint is rejected, for which it is sent back; at least one.
    reason : str
        What to do better, in a sentence; may be empty.

    Raises
    ------
    MayNotGrade
        If the actor may not judge this board.
    CannotChangeBoard
        If the joint is not rejected, has been reworked as often as allowed, or the board rests
        under something that would lose its ground.
    """
    chosen = set(codes)
    refuse_unless_may_grade(actor, board, at)
    board = lock_board(board)
    reading = board_results.read_board(board)
    if why := why_no_rework(board, joint, reading):
        raise CannotChangeBoard(why)
    judged = next(row for row in reading.joints if row.joint == joint)
    rejected = [rule.code for rule in judged.result.rejected]
    wanted = [code for code in rejected if code in chosen]
    if not wanted or chosen - set(rejected):
        raise CannotChangeBoard(
            _("Choose what it is sent back for among what was rejected: %(codes)s.")
            % {"codes": ", ".join(rejected)}
        )
    made = Joint.objects.create(
        board=board, position=joint.position, make=joint.make + 1, recorded_at=at
    )
    rework = Rework.objects.create(
        joint=made, codes=wanted, reason=reason.strip(), sent_by=actor, recorded_at=at
    )
    refresh_outcome(board, at)
    trail.record(
        actor=actor,
        act=written_down.SENT_BACK,
        about=rework,
        payload=written_down.rework_content(rework),
        at=at,
    )
    return rework

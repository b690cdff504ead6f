"""What tests of several readings share: judging a whole reading in a line."""

from assessments.models import Board, BoardOutcome, Grading
from assessments.queries import board_results
from assessments.services import grading as services
from assessments.services import judgements
from tests import factories
from tests.factories import NOW

REASON = "far inside its limit"
"""Why what is measured is judged by eye in tests that are about something else."""
IN_HAND = judgements.Circumstances(by_eye_because=REASON)


def make_criteria():
    """Criteria of two stages, one of each severity and one of the whole board."""
    return factories.make_criteria_set(
        {"code": "F-1", "severity": "major", "demerits": 20, "stage": "formed"},
        {"code": "S-1", "severity": "critical", "demerits": 40},
        {"code": "S-3", "severity": "minor", "demerits": 5},
        {"code": "S-9", "severity": "minor", "demerits": 5, "of": "board"},
    )


def fresh(board):
    """The board as the database has it now."""
    return Board.objects.with_list_columns().get(pk=board.pk)


def plain(board):
    """The same without what only lists show, which takes longer to ask for."""
    return Board.objects.select_related("exercise", "site").get(pk=board.pk)


def begin(board, grader, at=NOW):
    return services.start_grading(board=plain(board), grader=grader, at=at)


def judge(grading, rejected=(), stages=None, at=NOW):
    """Judge every place that a reading is asked, accepting what is not named.

    ``rejected`` holds pairs of a joint's position (or "board") and a criterion's code. What may
    go with the rest is accepted with it, unless it was judged before.
    """
    grading = Grading.objects.get(pk=grading.pk)
    judged = set(grading.judgements.values_list("joint", "criterion"))
    for stage in stages or grading.board.exercise.stages:
        rest = []
        joints = board_results.joints_read(grading, stage)
        places = joints if grading.kind == Grading.Kind.REWORK else [*joints, None]
        for joint in places:
            for criterion in board_results.criteria_for(grading, stage, joint):
                place = (joint.position.name if joint else "board", criterion.code)
                if (
                    place not in rejected
                    and judgements.may_go_with_the_rest(criterion)
                    and (joint and joint.pk, criterion.pk) not in judged
                ):
                    rest.append(joint)
                    continue
                judgements.judge(
                    grading=grading,
                    criterion=criterion,
                    joint=joint,
                    outcome="reject" if place in rejected else "accept",
                    seen=IN_HAND,
                    at=at,
                )
        if rest:
            judgements.accept_the_rest(
                grading=grading, stage=stage, joints=dict.fromkeys(rest), seen=IN_HAND, at=at
            )


def sign(grading, stages=None, at=NOW):
    grading = Grading.objects.get(pk=grading.pk)
    for stage in stages or grading.board.exercise.stages:
        services.sign_stage(
            grading=grading, stage=stage, signer=grading.grader, proof="password", at=at
        )


def read(board, grader, *rejected, stages=None, at=NOW):
    """Begin, judge and sign a reading; return it."""
    grading = begin(board, grader, at)
    judge(grading, rejected, stages, at)
    sign(grading, stages, at)
    return grading


def outcome_of(board):
    found = BoardOutcome.objects.get(board=board)
    return found.complete, found.passed, found.score


def joint(board, name, make=1):
    return board.joints.get(position__name=name, make=make)

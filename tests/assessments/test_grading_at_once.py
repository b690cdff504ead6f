"""Several windows at once: one reading, one judgement, and a signature that covers them all."""

import json
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection, transaction

from assessments.exceptions import AlreadySigned
from assessments.models import Board, Grading, Judgement, StageSigning, UndoStep
from assessments.queries import board_results
from assessments.services import grading as services
from assessments.services import judgements
from assessments.services.undo import undo
from tests import factories
from tests.assessments.together import at_once, somebody_waits_for_us
from tests.factories import NOW

pytestmark = pytest.mark.django_db(transaction=True)

AT_ONCE = 4


@pytest.fixture
def instructor():
    return factories.make_user("instructor")


@pytest.fixture
def board():
    factories.make_criteria_set()
    return factories.make_board()


def judge(grading, joint, code, outcome="accept"):
    return judgements.judge(
        grading=Grading.objects.get(pk=grading.pk),
        criterion=grading.criteria_set.criteria.get(code=code),
        joint=joint,
        outcome=outcome,
        seen=judgements.Circumstances(),
        at=NOW,
    )


def test_a_reading_that_is_begun_in_several_windows_is_one(board, instructor):
    def begin():
        fresh = Board.objects.get(pk=board.pk)
        return services.start_grading(board=fresh, grader=instructor, at=NOW)

    begun = at_once(*[begin] * AT_ONCE)
    assert len({one.pk for one in begun}) == 1
    assert Grading.objects.count() == 1


def test_one_criterion_judged_in_several_windows_has_one_judgement(board, instructor):
    grading = services.start_grading(board=board, grader=instructor, at=NOW)
    joint = board.joints.first()
    at_once(*[lambda: judge(grading, joint, "S-1")] * AT_ONCE)
    assert Judgement.objects.count() == 1
    assert UndoStep.objects.count() == AT_ONCE


def test_undo_in_several_windows_takes_each_act_back_once(board, instructor):
    grading = services.start_grading(board=board, grader=instructor, at=NOW)
    judge(grading, board.joints.first(), "S-1")
    taken = at_once(*[lambda: undo(grading=grading)] * AT_ONCE)
    assert sum(step is not None for step in taken) == 1
    assert not Judgement.objects.exists()


def sign(grading, stage="soldered"):
    return services.sign_stage(
        grading=Grading.objects.get(pk=grading.pk),
        stage=stage,
        signer=grading.grader,
        proof="password",
        at=NOW,
    )


@pytest.fixture
def judged(board, instructor):
    """A reading whose soldered stage waits for nothing but the signature."""
    grading = services.start_grading(board=board, grader=instructor, at=NOW)
    for joint in [*board_results.joints_that_count(board), None]:
        for criterion in board_results.criteria_for(grading, "soldered", joint):
            judge(grading, joint, criterion.code)
    return grading


def test_a_judgement_made_beside_a_signature_is_under_it_or_refused(board, judged):
    joint = board.joints.first()
    _signing, changed = at_once(lambda: sign(judged), lambda: judge(judged, joint, "S-3", "reject"))
    content = json.loads(StageSigning.objects.get().signature.content)
    signed = {(one["joint"], one["criterion"]): one["outcome"] for one in content["judgements"]}
    kept = Judgement.objects.get(joint=joint, criterion__code="S-3").outcome
    assert signed[joint.position.name, "S-3"] == kept
    assert (kept == "accept") == isinstance(changed, AlreadySigned)


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
@pytest.mark.parametrize(
    "act",
    [
        lambda grading, joint: judge(grading, joint, "S-3", "reject"),
        lambda grading, joint: judgements.accept_the_rest(
            grading=Grading.objects.get(pk=grading.pk),
            stage="soldered",
            joints=[joint],
            seen=judgements.Circumstances(),
            at=NOW,
        ),
        lambda grading, joint: undo(grading=Grading.objects.get(pk=grading.pk)),
        lambda grading, joint: sign(grading),
    ],
    ids=["judge", "accept the rest", "take back", "sign"],
)
def test_whoever_waited_for_a_signature_sees_it(board, judged, act):
    joint = board.joints.first()
    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            sign(judged)
            waiting = pool.submit(at_once, lambda: act(judged, joint))
            while not somebody_waits_for_us():
                assert not waiting.done(), waiting.result()
        [answer] = waiting.result()
    assert isinstance(answer, AlreadySigned)
    assert Judgement.objects.get(joint=joint, criterion__code="S-3").outcome == "accept"
    assert StageSigning.objects.count() == 1


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_a_correction_takes_along_what_is_being_judged_in_what_it_replaces(instructor):
    factories.make_criteria_set(
        {"code": "F-1", "severity": "major", "demerits": 20, "stage": "formed"},
        {"code": "S-1", "severity": "major", "demerits": 20},
    )
    board = factories.make_board(exercise=factories.make_exercise(stages=("formed", "soldered")))
    first = services.start_grading(board=board, grader=instructor, at=NOW)
    for joint in board.joints.all():
        judge(first, joint, "F-1")
    sign(first, "formed")

    def correct():
        return services.correct_grading(
            grading=Grading.objects.get(pk=first.pk), grader=instructor, reason="Blurred", at=NOW
        )

    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            judge(first, joint, "S-1", "reject")
            waiting = pool.submit(at_once, correct)
            while not somebody_waits_for_us():
                assert not waiting.done(), waiting.result()
        [later] = waiting.result()
    assert later.judgements.get(criterion__code="S-1").outcome == "reject"

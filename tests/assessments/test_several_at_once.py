"""Several people at once: two graders who sign, a third seat, one decision, one request."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from django.db import connection, transaction

from assessments.exceptions import AssessmentError
from assessments.models import (
    BoardOutcome,
    Grading,
    Joint,
    ReadingRequest,
    Rework,
    StageSigning,
)
from assessments.queries import effective_judgements
from assessments.services import boards, decisions, reading_requests, rework
from assessments.services import grading as services
from tests import factories
from tests.assessments.several import begin, fresh, joint, judge, outcome_of, read
from tests.assessments.together import at_once, somebody_waits_for_us
from tests.factories import NOW

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("everybody_has_standing"),
]


def refused(found):
    return [one for one in found if isinstance(one, AssessmentError)]


@pytest.fixture
def graders():
    factories.make_criteria_set()
    return [factories.make_user("instructor") for _ in range(5)]


def make_board(graders, **fields):
    return factories.make_board(exercise=factories.make_exercise(graders=graders, **fields))


def signing_of(grading):
    return lambda: services.sign_stage(
        grading=Grading.objects.get(pk=grading.pk),
        stage="soldered",
        signer=grading.grader,
        proof="password",
        at=NOW,
    )


def test_two_graders_who_sign_at_once_come_to_a_result(graders):
    board = make_board(2)
    both = [begin(board, one) for one in graders[:2]]
    for one in both:
        judge(one)
    found = at_once(*map(signing_of, both))
    assert not refused(found)
    assert outcome_of(board)[:2] == (True, True)
    assert BoardOutcome.objects.get().joints_judged == 3


def test_of_four_who_sign_at_once_two_hold_the_seats(graders):
    board = make_board(2)
    readings = [begin(board, one) for one in graders[:4]]
    for one in readings:
        judge(one)
    found = at_once(*map(signing_of, readings))
    assert len(refused(found)) == 2
    assert StageSigning.objects.count() == 2
    assert outcome_of(board)[:2] == (True, True)


def test_two_who_decide_at_once_decide_once(graders):
    board = make_board(2)
    read(board, graders[0], ("E02", "S-1"))
    read(board, graders[1])
    [one] = effective_judgements.to_decide(fresh(board))
    place = (one.first.joint_id, one.first.criterion.code)

    def deciding(decider, outcome):
        return lambda: decisions.decide(
            board=fresh(board),
            decider=decider,
            decisions={place: decisions.Decided(outcome)},
            proof="password",
            at=NOW,
        )

    found = at_once(deciding(graders[2], "accept"), deciding(graders[3], "reject"))
    assert len(refused(found)) == 1
    assert Grading.objects.filter(kind="decision").count() == 1
    [kept] = [one for one in found if isinstance(one, Grading)]
    assert outcome_of(board)[1] == (kept.judgements.get().outcome == "accept")


def test_a_trainee_who_asks_in_several_windows_asks_once(graders):
    board = make_board(1)
    trainee = factories.make_user(person=board.person)
    read(board, graders[0])

    def asking():
        return reading_requests.ask_for_another_reading(
            board=fresh(board), trainee=trainee, reason="E02.", at=NOW
        )

    found = at_once(*[asking] * 4)
    assert len(refused(found)) == 3
    assert all("asked for once" in str(one) for one in refused(found))
    assert ReadingRequest.objects.count() == 1


def test_of_two_who_read_again_at_once_one_counts(graders):
    board = make_board(1)
    trainee = factories.make_user(person=board.person)
    read(board, graders[0], ("E02", "S-1"))
    reading_requests.ask_for_another_reading(
        board=fresh(board), trainee=trainee, reason="E02.", at=NOW
    )
    readings = [begin(board, one) for one in graders[1:3]]
    for one in readings:
        judge(one)
    found = at_once(*map(signing_of, readings))
    assert len(refused(found)) == 1
    signed = StageSigning.objects.filter(grading__kind="another").get().grading
    assert ReadingRequest.objects.get().grading == signed
    assert outcome_of(board)[:2] == (True, True)


def test_a_joint_sent_back_by_two_at_once_is_sent_back_once(graders):
    board = make_board(1, rework_allowed=2)
    read(board, graders[0], ("E02", "S-1"))
    e02 = joint(board, "E02")

    def sending(actor):
        return lambda: rework.send_back(
            board=fresh(board), joint=e02, codes=["S-1"], actor=actor, at=NOW
        )

    found = at_once(sending(graders[0]), sending(graders[1]))
    assert len(refused(found)) == 1
    assert (Rework.objects.count(), Joint.objects.filter(make=2).count()) == (1, 1)


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
@pytest.mark.parametrize("first", ["asked", "sent back"])
def test_a_joint_is_not_sent_back_beside_a_request_for_another_reading(graders, first):
    board = make_board(1, rework_allowed=1)
    trainee = factories.make_user(person=board.person)
    read(board, graders[0], ("E02", "S-1"))
    acts = {
        "asked": lambda: reading_requests.ask_for_another_reading(
            board=fresh(board), trainee=trainee, reason="E02.", at=NOW
        ),
        "sent back": lambda: rework.send_back(
            board=fresh(board), joint=joint(board, "E02"), codes=["S-1"], actor=graders[0], at=NOW
        ),
    }
    [second] = acts.keys() - {first}
    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            acts[first]()
            waiting = pool.submit(at_once, acts[second])
            while not somebody_waits_for_us():
                assert not waiting.done(), waiting.result()
        found = waiting.result()
    [answer] = refused(found)
    says = {"asked": "A regrading of this board was asked for", "sent back": "no result yet"}
    assert says[first] in str(answer)
    assert ReadingRequest.objects.exists() == (first == "asked")
    assert Rework.objects.exists() == (first == "sent back")


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_a_board_that_is_handed_in_while_its_judging_begins_was_handed_in_first(graders):
    board = make_board(1, rework_allowed=1)
    before = fresh(board)
    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            boards.hand_in(board=fresh(board), actor=graders[0], at=NOW)
            waiting = pool.submit(
                at_once,
                lambda: services.start_grading(
                    board=before, grader=graders[0], at=NOW + timedelta(hours=1)
                ),
            )
            while not somebody_waits_for_us():
                assert not waiting.done(), waiting.result()
        assert not refused(waiting.result())
    assert fresh(board).handed_in_at == NOW

"""Joints sent back while others are being inspected: every make is read whole, and no board is
stuck."""

from datetime import timedelta
from random import Random

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from assessments.exceptions import AssessmentError
from assessments.models import Grading, Judgement, Rework
from assessments.queries import board_results, effective_judgements, grading_assignment
from assessments.services import boards, decisions, judgements, rework
from assessments.services import grading as services
from tests import factories
from tests.assessments.several import (
    begin,
    fresh,
    joint,
    judge,
    make_criteria,
    outcome_of,
    plain,
    read,
    sign,
)
from tests.factories import NOW

LATER = NOW + timedelta(hours=2)
STAGES = ("formed", "soldered")

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("everybody_has_standing")]


@pytest.fixture
def graders():
    make_criteria()
    return [factories.make_user("instructor") for _ in range(4)]


def make_board(graders=1, rework_allowed=1, **fields):
    exercise = factories.make_exercise(
        stages=STAGES, graders=graders, rework_allowed=rework_allowed, allowed_rejects=3, **fields
    )
    return factories.make_board(exercise=exercise)


def send_back(board, name, actor, make=1, code="S-1"):
    return rework.send_back(
        board=plain(board), joint=joint(board, name, make), codes=[code], actor=actor, at=LATER
    )


def hand_in(board):
    boards.hand_in(board=plain(board), actor=board.made_by, at=LATER)


def reads(grading, stage):
    grading = Grading.objects.get(pk=grading.pk)
    return [str(one) for one in board_results.joints_read(grading, stage)]


def left_of(board, grading):
    return grading_assignment.of_board(plain(board)).left_of(grading)


def read_all(board, *graders):
    """Let these judge and sign, stage by stage in turn, whatever the board has left for them."""
    went_on = True
    while went_on:
        went_on = False
        for grader in graders:
            try:
                grading = begin(board, grader, LATER)
            except AssessmentError:
                continue
            stage = left_of(board, grading)[0]
            judge(grading, stages=[stage], at=LATER)
            sign(grading, [stage], LATER)
            went_on = True


def is_read_whole(board):
    """Every make after the first was inspected at all stages by as many as are asked for."""
    graders = board.exercise.graders
    for one in board.joints.filter(make__gt=1):
        rows = Judgement.objects.filter(joint=one).values_list("grading", "criterion__code")
        by_grading = {}
        for grading, code in rows:
            by_grading.setdefault(grading, set()).add(code)
        whole = [codes for codes in by_grading.values() if codes == {"F-1", "S-1", "S-3"}]
        assert len(whole) == graders, one
    return True


def test_what_is_sent_back_between_two_stages_of_an_inspection_gets_its_own(graders):
    first, second, *_ = graders
    board = make_board(2)
    for one in (first, second):
        read(board, one, ("E01", "S-1"), ("E02", "S-1"))
    send_back(board, "E01", first)
    inspection = begin(board, first, LATER)
    judge(inspection, stages=["formed"], at=LATER)
    sign(inspection, ["formed"], LATER)
    send_back(board, "E02", first)
    hand_in(board)
    assert reads(inspection, "soldered") == ["E01, rework 1"]
    read_all(board, first, second)
    assert outcome_of(board) == (True, True, 100)
    assert is_read_whole(board)
    assert not fresh(board).is_sent_back


def test_a_joint_that_is_not_handed_in_is_not_read_by_an_inspection_that_was_begun(graders):
    first, other, *_ = graders
    board = make_board()
    read(board, first, ("E01", "S-1"), ("E02", "S-1"))
    send_back(board, "E01", first)
    inspection = begin(board, first, LATER)
    judge(inspection, stages=["formed"], at=LATER)
    send_back(board, "E02", first)
    assert begin(board, first, LATER) == inspection
    assert reads(inspection, "formed") == reads(inspection, "soldered") == ["E01, rework 1"]
    with pytest.raises(AssessmentError, match="not reworked, or"):
        judgements.judge(
            grading=inspection,
            criterion=inspection.criteria_set.criteria.get(code="F-1"),
            joint=joint(board, "E02", 2),
            outcome="accept",
            seen=judgements.Circumstances(),
            at=LATER,
        )
    judge(inspection, at=LATER)
    sign(inspection, at=LATER)
    assert (outcome_of(board)[0], fresh(board).is_sent_back) == (False, True)
    assert Rework.objects.get(joint__position__name="E02").handed_in_at is None
    read(board, other, at=LATER)
    assert (outcome_of(board), fresh(board).is_sent_back) == ((True, True, 100), False)


def test_what_is_handed_in_joins_an_inspection_of_which_nothing_is_signed(graders):
    board = make_board()
    read(board, graders[0], ("E01", "S-1"), ("E02", "S-1"))
    send_back(board, "E01", graders[0])
    with CaptureQueriesContext(connection) as begun:
        inspection = begin(board, graders[0], LATER)
    # What was judged of the makes is looked up once, however many stages are asked about it.
    assert sum("SELECT DISTINCT" in query["sql"] for query in begun) == 1
    send_back(board, "E02", graders[0])
    hand_in(board)
    assert reads(inspection, "formed") == ["E01, rework 1", "E02, rework 1"]
    read_all(board, graders[0])
    assert outcome_of(board) == (True, True, 100)
    assert Grading.objects.filter(kind="rework").count() == 1


def test_of_two_who_inspect_each_signs_for_a_make_at_every_stage(graders):
    """Whoever signs one stage of it holds a seat; a third would leave it half read for ever."""
    first, second, third, _ = graders
    board = make_board(2)
    for one in (first, second):
        read(board, one, ("E01", "S-1"))
    send_back(board, "E01", first)
    late, mine = begin(board, third, LATER), begin(board, first, LATER)
    judge(late, at=LATER)
    judge(mine, stages=["formed"], at=LATER)
    sign(mine, ["formed"], LATER)
    read(board, second, at=LATER)
    with pytest.raises(AssessmentError, match="left to judge"):
        sign(late, ["soldered"], LATER)
    read_all(board, third, first)
    assert outcome_of(board) == (True, True, 100)
    kept = Judgement.objects.filter(grading=late)
    assert kept.count() == 3


@pytest.mark.parametrize("judges", [1, 2])
@pytest.mark.parametrize("corrector", [0, 2])
def test_the_correction_of_an_inspection_goes_on_where_it_was_left(graders, judges, corrector):
    board = make_board(judges)
    for one in graders[:judges]:
        read(board, one, ("E01", "S-1"), ("E02", "S-1"))
    send_back(board, "E01", graders[0])
    inspection = read(board, graders[0], ("E01", "F-1"), stages=["formed"], at=LATER)
    correction = services.correct_grading(
        grading=inspection, grader=graders[corrector], reason="Blurred.", at=LATER
    )
    send_back(board, "E02", graders[0])
    hand_in(board)
    assert begin(board, graders[corrector], LATER) == correction
    assert left_of(board, correction) == list(STAGES)
    assert reads(correction, "formed") == reads(correction, "soldered") == ["E01, rework 1"]
    judge(correction, at=LATER)
    sign(correction, at=LATER)
    read_all(board, *graders[1:])
    assert outcome_of(board) == (True, True, 100)


@pytest.mark.parametrize("judges", [1, 2])
def test_what_others_signed_for_does_not_come_under_a_later_signature(client, graders, judges):
    board = make_board(judges)
    for one in graders[:judges]:
        read(board, one, ("E01", "S-1"), ("E02", "S-1"))
    send_back(board, "E01", graders[0])
    slow = begin(board, graders[3], LATER)
    judge(slow, [("E01", "S-1")], at=LATER)
    for one in graders[:judges]:
        read(board, one, at=LATER)
    send_back(board, "E02", graders[0])
    hand_in(board)
    assert reads(slow, "soldered") == ["E02, rework 1"]
    judge(slow, at=LATER)
    client.force_login(graders[3])
    page = client.get(reverse("assessments:stage_sign", args=[board.number, "soldered"]))
    assert (page.context["judged"], list(page.context["rejected"])) == (2, [])
    sign(slow, at=LATER)
    read_all(board, graders[0])
    assert outcome_of(board) == (True, True, 100)
    covered = Judgement.objects.filter(grading=slow).values_list("joint__position__name", flat=True)
    assert set(covered) == {"E02"}


def test_a_first_make_that_was_judged_before_it_was_remade_is_not_signed_for_after(graders):
    board = make_board()
    grading = begin(board, graders[0])
    judge(grading, [("E01", "F-1"), ("E01", "S-1")])
    sign(grading, ["formed"])
    send_back(board, "E01", graders[0], code="F-1")
    read(board, graders[0], stages=["formed"], at=LATER)
    judge(grading, stages=["soldered"], at=LATER)
    sign(grading, ["soldered"], LATER)
    assert outcome_of(board) == (True, True, 100)
    first_make = board_results.read_board(plain(board)).first_makes[0]
    assert [one.criterion.code for one in first_make.judgements] == ["F-1"]


@pytest.mark.parametrize("judges", [1, 2])
@pytest.mark.parametrize("seed", range(5))
def test_no_board_is_stuck_whatever_is_sent_back_and_signed_in_between(graders, judges, seed):
    """A walk over what people may do, then everybody does what is left: there is a result."""
    random = Random(seed)
    board = make_board(judges, rework_allowed=2)
    at_first = ("E01", "S-1"), ("E02", "S-1"), ("E03", "F-1")
    for one in graders[:judges]:
        read(board, one, *at_first, stages=STAGES if judges == 2 or seed % 2 else ["formed"])
    for _ in range(14):
        grader = random.choice(graders)
        try:
            match random.choice(["send back", "hand in", "judge", "sign", "sign", "correct"]):
                case "send back":
                    reading = board_results.read_board(plain(board))
                    one = random.choice([each for each in reading.joints if each.rejections])
                    rework.send_back(
                        board=plain(board), joint=one.joint, actor=grader, at=LATER,
                        codes=[one.rejections[0].criterion.code],
                    )  # fmt: skip
                case "hand in":
                    hand_in(board)
                case "judge":
                    grading = begin(board, grader, LATER)
                    judge(grading, [("E02", "S-1")], left_of(board, grading), LATER)
                case "sign":
                    grading = begin(board, grader, LATER)
                    stage = random.choice(left_of(board, grading))
                    judge(grading, [("E02", "S-1")], [stage], LATER)
                    sign(grading, [stage], LATER)
                case "correct":
                    signed = Grading.objects.filter(kind="rework", signings__isnull=False)
                    services.correct_grading(
                        grading=signed.latest("pk"), grader=grader, reason="Blurred.", at=LATER
                    )
        except (AssessmentError, IndexError, Grading.DoesNotExist):
            pass
    hand_in_what_is_left(board)
    read_all(board, *graders, factories.make_user("instructor"))
    asked = effective_judgements.to_decide(plain(board))
    if asked:
        decisions.decide(
            board=plain(board),
            decider=factories.make_user("instructor"),
            decisions={
                (one.first.joint_id, one.first.criterion.code): decisions.Decided("accept")
                for one in asked
            },
            proof="password",
            at=LATER,
        )
    assert outcome_of(board)[0]
    assert not fresh(board).is_sent_back
    counted = board_results.read_board(plain(board))
    assert {one.result.open_codes for one in counted.joints} == {()}
    for one in counted.joints:
        assert {each.joint_id for each in one.judgements} == {one.joint.pk}


def hand_in_what_is_left(board):
    if Rework.objects.filter(handed_in_at__isnull=True).exists():
        hand_in(board)

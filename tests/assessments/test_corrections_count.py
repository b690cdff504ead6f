"""One grader a board, several people in turn: of every stage what was signed last counts."""

from datetime import timedelta
from itertools import permutations

import pytest
from django.urls import reverse

from assessments.models import Grading, StageSigning
from assessments.queries import board_results
from assessments.services import grading as services
from assessments.services import rework
from certification.queries.requirements import evidence_of, requirements
from tests import factories
from tests.assessments.several import fresh, joint, judge, make_criteria, outcome_of, read, sign
from tests.factories import NOW, PASSWORD
from tests.signing import send_as_shown

LATER = NOW + timedelta(hours=2)
STAGES = ("formed", "soldered")

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("everybody_has_standing")]


@pytest.fixture
def graders():
    make_criteria()
    return [factories.make_user("instructor", password=PASSWORD) for _ in range(2)]


def make_board(**fields):
    return factories.make_board(exercise=factories.make_exercise(stages=STAGES, **fields))


def correct(grading, grader, *rejected, stages, at=LATER):
    """Correct a grading, judging and signing these stages of the correction."""
    new = services.correct_grading(
        grading=Grading.objects.get(pk=grading.pk), grader=grader, reason="Blurred.", at=at
    )
    judge(new, rejected, stages, at)
    sign(new, stages, at)
    return new


@pytest.fixture
def by_two(graders):
    """A board of which one grader signed what was formed and another what was soldered."""
    board = make_board(rework_allowed=1)
    return board, [
        read(board, grader, stages=[stage]) for grader, stage in zip(graders, STAGES, strict=True)
    ]


def counts_as_it_is_signed(board):
    """Every judgement that counts stands under the signing that is shown for its stage."""
    reading = board_results.read_board(fresh(board))
    parts = [*reading.joints, reading.board]
    assert {one.grading_id for part in parts for one in part.judgements} == {
        one.grading_id for one in reading.signings.values()
    }
    assert {(one.stage, one.grading_id) for one in reading.counting} == {
        (stage, one.grading_id) for stage, one in reading.signings.items()
    }
    last = {one.stage: one for one in StageSigning.objects.order_by("signed_at", "pk")}
    assert reading.signings == last
    return reading


def test_a_stage_that_somebody_else_signed_is_signed_anew_in_a_correction(client, graders, by_two):
    board, (formed, _soldered) = by_two
    assert outcome_of(board) == (True, True, 100)
    client.force_login(graders[0])
    client.post(
        reverse("assessments:grading_correct", args=[board.number, formed.pk]),
        {"reason": "Blurred."},
    )
    correction = Grading.objects.get(replaces=formed)
    judge(correction, [(name, "S-1") for name in ("E01", "E02", "E03")], ["soldered"])
    page = reverse("assessments:stage_sign", args=[board.number, "soldered"])
    signed = send_as_shown(client, page, {"password": PASSWORD})
    assert signed.status_code == 302
    reading = counts_as_it_is_signed(board)
    assert reading.signings["soldered"].grading == correction
    assert outcome_of(board) == (True, False, 60)
    assert fresh(board).outcome.critical_rejections == 3


@pytest.mark.parametrize("order", list(permutations(STAGES)))
@pytest.mark.parametrize("corrected", [0, 1])
@pytest.mark.parametrize("corrector", [0, 1])
def test_the_latest_signing_of_a_stage_counts_whosever_it_is(graders, order, corrected, corrector):
    board = make_board()
    grader_of = dict(zip(order, graders, strict=True))
    read_of = {stage: read(board, grader_of[stage], stages=[stage]) for stage in STAGES}
    gradings = [read_of[stage] for stage in order]
    rejected = [("E01", "F-1"), ("E02", "S-1")]
    for at, stages in ((LATER, order), (LATER + timedelta(hours=1), [order[corrected]])):
        gradings[corrected] = correct(
            gradings[corrected], graders[corrector], *rejected, stages=stages, at=at
        )
        reading = counts_as_it_is_signed(board)
        assert [
            (str(one.joint), [each.criterion.code for each in one.rejections])
            for one in reading.joints
        ] == [("E01", ["F-1"]), ("E02", ["S-1"]), ("E03", [])]
        assert outcome_of(board)[:2] == (True, False)


def test_a_correction_over_somebody_elses_stage_reads_the_makes_they_read(graders):
    board = make_board(rework_allowed=1)
    formed = read(board, graders[0], stages=["formed"])
    read(board, graders[1], ("E02", "S-1"), stages=["soldered"])
    rework.send_back(
        board=fresh(board), joint=joint(board, "E02"), codes=["S-1"], actor=graders[1], at=LATER
    )
    read(board, graders[1], at=LATER)
    assert outcome_of(board) == (True, True, 100)
    correction = services.correct_grading(
        grading=formed, grader=graders[0], reason="Blurred.", at=LATER
    )
    read_makes = board_results.joints_read(correction, "soldered")
    assert [str(one) for one in read_makes] == ["E01", "E02", "E03"]
    judge(correction, [("E01", "S-1"), ("E02", "S-1")], ["soldered"], LATER)
    sign(correction, ["soldered"], LATER)
    reading = board_results.read_board(fresh(board))
    assert {str(one.joint) for one in reading.joints if one.rejections} == {"E01"}
    assert outcome_of(board)[:2] == (True, False)


def test_such_a_correction_makes_the_work_no_younger_and_stands_in_the_evidence(graders):
    board = make_board()
    scope = factories.make_scope()
    revision = factories.make_revision(scope, exercise=board.exercise)
    formed, _soldered = [
        read(board, grader, stages=[stage]) for grader, stage in zip(graders, STAGES, strict=True)
    ]
    day, later = board.site.today(NOW), NOW + timedelta(days=9)
    correction = correct(formed, graders[0], stages=["soldered"], at=later)
    [found] = requirements(board.person, scope, revision, board.site.today(later))
    assert [one.judged_on for one in found.boards] == [day]
    [told] = evidence_of([found])["boards"]
    expected = {
        one.signature.content_sha256
        for one in StageSigning.objects.filter(grading__in=[formed, correction])
    }
    assert {one["sha256"] for one in told["signatures"]} == expected

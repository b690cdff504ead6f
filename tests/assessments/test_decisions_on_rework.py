"""Two graders who differ on a reworked joint: a third decides, and on what still counts alone."""

from copy import deepcopy
from datetime import timedelta

import pytest
from django.urls import reverse

from assessments.exceptions import (
    AlreadySigned,
    CannotChangeBoard,
    MayNotGrade,
    NothingToPrint,
    StageNotReady,
)
from assessments.models import StageSigning
from assessments.presenters.result_sheet import result_sheet
from assessments.queries import board_results, effective_judgements
from assessments.queries.pending_actions import PendingAction, pending_action_for
from assessments.services import decisions, judgements, reading_requests, rework
from assessments.services import grading as services
from certification.queries.requirements import requirements
from tests import factories
from tests.assessments.several import (
    begin,
    fresh,
    joint,
    judge,
    make_criteria,
    outcome_of,
    read,
    sign,
)
from tests.factories import NOW
from tests.kept_rows import taken_back_after

LATER = NOW + timedelta(hours=2)
MUCH_LATER = NOW + timedelta(days=9)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("everybody_has_standing")]


def send_back(board, actor, make=1, name="E01"):
    return rework.send_back(
        board=fresh(board), joint=joint(board, name, make), codes=["S-1"], actor=actor, at=LATER
    )


def make_reworked(graders):
    """Two graders have rejected E01, which was made again."""
    exercise = factories.make_exercise(
        stages=("formed", "soldered"), graders=2, rework_allowed=2, allowed_rejects=3
    )
    board = factories.make_board(exercise=exercise)
    for one in graders[:2]:
        read(board, one, ("E01", "S-1"))
    send_back(board, graders[0])
    return board


def make_remade(graders):
    """Make 3 of E01 counts: two rejected its second make, and accepted what came after."""
    board = make_reworked(graders)
    second = [inspect(board, one, ("E01", "S-1")) for one in graders[:2]]
    send_back(board, graders[0], make=2)
    for one in graders[:2]:
        inspect(board, one)
    return board, second


@pytest.fixture(scope="module", autouse=True)
def kept(django_db_setup, django_db_blocker, standing_while_kept):
    """The graders, a board that they sent back, and another that came back twice."""
    with taken_back_after(django_db_blocker):
        with standing_while_kept():
            make_criteria()
            graders = [factories.make_user("instructor") for _ in range(4)]
            made = graders, make_reworked(graders), make_remade(graders)
        yield made


@pytest.fixture
def graders(kept, db):
    return deepcopy(kept[0])


@pytest.fixture
def board(kept, db):
    return deepcopy(kept[1])


@pytest.fixture
def remade(kept, db):
    return deepcopy(kept[2])


def inspect(board, grader, *rejected, at=LATER):
    return read(board, grader, *rejected, at=at)


def decide(board, decider, outcome="accept", at=LATER):
    return decisions.decide(
        board=fresh(board),
        decider=decider,
        decisions={
            (one.first.joint_id, one.first.criterion.code): decisions.Decided(outcome)
            for one in effective_judgements.to_decide(fresh(board))
        },
        proof="password",
        at=at,
    )


def asked(board):
    return [(str(one.first.joint), one.first.criterion.code) for one in _to_decide(board)]


def _to_decide(board):
    return effective_judgements.to_decide(fresh(board))


def test_a_joint_is_not_sent_back_while_a_decision_on_it_waits(board, graders):
    inspect(board, graders[0], ("E01", "S-1"))
    inspect(board, graders[1], ("E01", "S-1"), ("E01", "S-3"))
    assert asked(board) == [("E01, rework 1", "S-3")]
    reading = board_results.read_board(fresh(board))
    assert reading.undecided == ((joint(board, "E01", 2).pk, "S-3"),)
    with pytest.raises(CannotChangeBoard, match="a third person decides"):
        send_back(board, graders[0], make=2)
    decide(board, graders[2])
    assert outcome_of(board)[:2] == (True, False)
    assert send_back(board, graders[0], make=2).joint.make == 3


def correct(grading, *, joint, code, outcome, at=MUCH_LATER):
    """The grader of a signed reading corrects one judgement in it and signs it all."""
    new = services.correct_grading(grading=grading, grader=grading.grader, reason="Blurred.", at=at)
    judgements.judge(
        grading=new,
        criterion=new.criteria_set.criteria.get(code=code),
        joint=joint,
        outcome=outcome,
        seen=judgements.Circumstances(),
        at=at,
    )
    sign(new, at=at)
    return new


@pytest.mark.parametrize("make", [1, 2])
def test_nobody_decides_on_a_make_that_counts_no_more(client, remade, graders, make):
    board, second = remade
    assert outcome_of(board) == (True, True, 100)
    first = board.gradings.get(kind="first", grader=graders[0])
    correct(
        first if make == 1 else second[0],
        joint=joint(board, "E01", make),
        code="S-3",
        outcome="reject",
    )
    assert asked(board) == []
    assert pending_action_for(fresh(board), graders[2]) == PendingAction.NOTHING
    assert outcome_of(board) == (True, True, 100)
    reading = board_results.read_board(fresh(board))
    assert (reading.undecided, reading.result.passed) == ((), True)
    [earlier] = [one for one in reading.earlier if one.joint.make == make]
    assert "S-3" in earlier.result.open_codes
    with pytest.raises(StageNotReady, match="Nothing on"):
        decide(board, graders[2])
    client.force_login(graders[2])
    told = client.get(reverse("assessments:board_result", args=[board.number])).content.decode()
    assert (told.count("counts no more"), told.count("not yet")) == (1, 0)


def test_where_a_correction_makes_two_differ_on_what_counts_a_third_decides(remade, graders):
    board, _second = remade
    first = board.gradings.get(kind="first", grader=graders[0])
    correct(first, joint=joint(board, "E02"), code="S-3", outcome="reject")
    assert asked(board) == [("E02", "S-3")]
    assert outcome_of(board) == (False, None, None)
    decide(board, graders[2], "reject", MUCH_LATER)
    assert outcome_of(board)[:2] == (True, True)


def test_nobody_decides_between_readings_in_whose_place_another_counts(board, graders):
    for one in graders[:2]:
        inspect(board, one)
    trainee = factories.make_user(person=board.person)
    reading_requests.ask_for_another_reading(
        board=fresh(board), trainee=trainee, reason="E02 is wetted.", at=LATER
    )
    read(board, graders[2], at=LATER)
    first = board.gradings.get(kind="first", grader=graders[0])
    correct(first, joint=joint(board, "E02"), code="S-3", outcome="reject")
    assert asked(board) == []
    assert outcome_of(board) == (True, True, 100)


def test_a_decision_on_what_was_reworked_after_another_reading_is_among_what_counts(board, graders):
    for one in graders[:2]:
        inspect(board, one)
    trainee = factories.make_user(person=board.person)
    reading_requests.ask_for_another_reading(
        board=fresh(board), trainee=trainee, reason="E02 is wetted.", at=LATER
    )
    other = read(board, graders[2], ("E03", "S-1"), at=LATER + timedelta(hours=1))
    send_back(board, graders[0], name="E03")
    since = LATER + timedelta(hours=2)
    both = [
        inspect(board, graders[0], ("E03", "S-3"), at=since),
        inspect(board, graders[1], at=since),
    ]
    decision = decide(board, graders[3], at=since)
    assert outcome_of(board) == (True, True, 100)
    counting = board_results.read_board(fresh(board)).counting
    assert {one.grading for one in counting} == {other, *both, decision}


def test_the_day_a_board_was_judged_is_that_of_the_last_make_that_counts(remade, graders):
    board, second = remade
    scope = factories.make_scope()
    revision = factories.make_revision(scope, exercise=board.exercise)
    correct(second[0], joint=joint(board, "E01", 2), code="S-3", outcome="reject")
    [found] = requirements(board.person, scope, revision, board.site.today(MUCH_LATER))
    assert [one.judged_on for one in found.boards] == [board.site.today(LATER)]
    assert StageSigning.objects.filter(grading__kind="decision").count() == 0


@pytest.mark.parametrize("who", ["a grader", "a third"])
@pytest.mark.parametrize("at", ["first makes", "rework"])
def test_who_has_nothing_to_read_is_told_what_the_board_waits_for(board, graders, at, who):
    if at == "rework":
        inspect(board, graders[0])
        inspect(board, graders[1], ("E01", "S-3"))
    else:
        board = factories.make_board(exercise=board.exercise)
        read(board, graders[0])
        read(board, graders[1], ("E01", "S-3"))
    if who == "a third":
        with pytest.raises(AlreadySigned, match="waits for a decision by somebody who judged none"):
            begin(board, graders[2], LATER)
        assert pending_action_for(fresh(board), graders[2]) == PendingAction.DECISION
    else:
        with pytest.raises(MayNotGrade, match=r"You have judged .* third person"):
            begin(board, graders[0], LATER)
        assert pending_action_for(fresh(board), graders[0]) == PendingAction.NOTHING


@pytest.mark.parametrize("at", ["first makes", "rework"])
def test_who_comes_third_while_two_are_judging_is_told_so(board, graders, at):
    if at == "first makes":
        board = factories.make_board(exercise=board.exercise)
    for one in graders[:2]:
        grading = begin(board, one, LATER)
        judge(grading, stages=["formed"], at=LATER)
        sign(grading, ["formed"], LATER)
    with pytest.raises(AlreadySigned, match="Two graders are judging"):
        begin(board, graders[2], LATER)


def test_why_a_result_is_not_printed_says_what_it_waits_for(board, graders):
    def says(of):
        with pytest.raises(NothingToPrint) as refused:
            result_sheet(fresh(of), user=graders[0], at=LATER)
        return str(refused.value)

    assert "A reworked joint" in says(board)
    inspect(board, graders[0])
    inspect(board, graders[1], ("E01", "S-3"))
    assert "A reworked joint" in says(board)
    other = factories.make_board(exercise=board.exercise)
    read(other, graders[0])
    assert "once both have signed" in says(other)
    decide(board, graders[2])
    assert result_sheet(fresh(board), user=graders[0], at=LATER).verdict == "passed"

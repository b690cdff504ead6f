"""Two graders who do not see each other, a third who decides, and another reading once."""

import json
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction

from assessments import access, ports
from assessments.domain.readings import compare
from assessments.exceptions import (
    AlreadySigned,
    AssessmentError,
    CannotChangeBoard,
    MayNotGrade,
    StageNotReady,
)
from assessments.models import Board, Grading, Judgement, ReadingRequest, StageSigning
from assessments.queries import board_results, effective_judgements, grading_assignment
from assessments.queries.board_for_grader import BoardForGrader
from assessments.services import decisions, judgements, reading_requests
from assessments.services import grading as services
from people.models import SiteRole
from records.models import TrailEntry, TrailPayload
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

LATER = NOW + timedelta(hours=2)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("everybody_has_standing")]


@pytest.fixture
def criteria():
    return make_criteria()


@pytest.fixture
def graders(criteria):
    return [factories.make_user("instructor") for _ in range(4)]


def make_board(graders=2, **fields):
    exercise = factories.make_exercise(stages=("formed", "soldered"), graders=graders, **fields)
    return factories.make_board(exercise=exercise)


@pytest.fixture
def board(criteria):
    return make_board()


def decide(board, decider, *rejected, wanted=None, **how):
    """Decide what differs, rejecting the places named."""
    asked = wanted or effective_judgements.to_decide(fresh(board))
    return decisions.decide(
        board=fresh(board),
        decider=decider,
        decisions={
            (one.first.joint_id, one.first.criterion.code): decisions.Decided(
                "reject" if _named(one.first) in rejected else "accept", **how
            )
            for one in asked
        },
        proof="password",
        at=LATER,
    )


def _named(row):
    return (row.joint.position.name if row.joint else "board", row.criterion.code)


def nothing_is_out(board):
    """Nothing of any judgement is to be read off the board's result, row or page."""
    found = fresh(board)
    reading = board_results.read_board(found)
    assert reading.signings == {}
    assert not any(one.judgements for one in (*reading.joints, *reading.spare))
    assert reading.board is None or not reading.board.judgements
    assert (reading.result.score, reading.result.joints_judged) == (None, 0)
    outcome = found.outcome
    assert (outcome.complete, outcome.passed, outcome.score) == (False, None, None)
    assert outcome.joints_judged + outcome.joints_rejected + outcome.critical_rejections == 0
    return True


# Two graders


def test_the_result_is_worked_out_when_two_agree(board, graders):
    first, second, *_ = graders
    read(board, first, ("E02", "S-1"))
    assert nothing_is_out(board)
    read(board, second, ("E02", "S-1"))
    complete, passed, _score = outcome_of(board)
    assert (complete, passed) == (True, False)
    assert StageSigning.objects.count() == 4


def test_what_two_differ_on_waits_for_a_third_whose_judgement_counts(board, graders):
    first, second, third, _ = graders
    read(board, first, ("E02", "S-1"), ("E03", "S-3"))
    read(board, second, ("E03", "S-3"), ("board", "S-9"))
    assert nothing_is_out(board)
    asked = effective_judgements.to_decide(fresh(board))
    assert [_named(one.first) for one in asked] == [("E02", "S-1"), ("board", "S-9")]
    assert {one.first.grading.grader for one in asked} == {first}
    assert {one.second.grading.grader for one in asked} == {second}

    grading = decide(board, third, ("board", "S-9"))
    assert grading.judgements.count() == 2
    assert outcome_of(board) == (True, True, Decimal(295) / 3 // SIX * SIX - 5)
    reading = board_results.read_board(fresh(board))
    assert reading.board.rejections[0].grading == grading
    assert [one.rejections for one in reading.joints][1] == []
    kept = Judgement.objects.filter(grading__kind="first", criterion__code="S-1")
    assert sorted(kept.values_list("outcome", flat=True)) == ["accept"] * 5 + ["reject"]


SIX = Decimal("0.000001")


def test_both_readings_are_kept_for_the_statistic_of_agreement(board, graders):
    first, second, third, _ = graders
    read(board, first, ("E02", "S-1"))
    read(board, second)
    decide(board, third, ("E02", "S-1"))
    given = [
        {
            (one.joint_id, one.criterion_id): one.outcome
            for one in Judgement.objects.filter(grading__grader=who)
        }
        for who in (first, second)
    ]
    compared = compare(*given)
    assert (compared.same, len(compared.differ), compared.alone) == (9, 1, ())
    [found] = effective_judgements.disagreements(fresh(board))
    assert (found.first.outcome, found.second.outcome) == ("reject", "accept")
    assert found.decision.outcome == "reject"


def test_a_decision_is_signed_with_both_readings(board, graders):
    first, second, third, _ = graders
    read(board, first, ("E02", "S-1"))
    read(board, second, ("E01", "F-1"))
    grading = decide(board, third, note="Looked at twice.")
    signings = {one.stage: one for one in grading.signings.all()}
    assert set(signings) == {"formed", "soldered"}
    content = json.loads(signings["soldered"].signature.content)
    [one] = content["decided_between"]
    assert (one["joint"], one["criterion"]) == ("E02", "S-1")
    assert [each["outcome"] for each in one["readings"]] == ["reject", "accept"]
    assert [each["note"] for each in content["judgements"]] == ["Looked at twice."]
    with pytest.raises(IntegrityError), transaction.atomic():
        grading.judgements.update(outcome="reject")


@pytest.mark.parametrize("who", ["first", "second", "owner", "without standing"])
def test_who_does_not_decide(board, graders, who):
    first, second, third, _ = graders
    read(board, first, ("E02", "S-1"))
    read(board, second)
    owner = factories.make_user("instructor", person=board.person)
    decider = {"first": first, "second": second, "owner": owner}.get(who, third)
    if who == "without standing":
        ports.register_may_grade(lambda user, joint_types, day: "Your certificate has ended.")
    with pytest.raises(MayNotGrade):
        decide(board, decider)
    assert nothing_is_out(board)
    assert not Grading.objects.filter(kind="decision").exists()


def test_just_what_differs_is_decided_all_of_it_and_once(board, graders):
    first, second, third, fourth = graders
    read(board, first, ("E02", "S-1"), ("E03", "S-3"))
    with pytest.raises(StageNotReady, match="Nothing"):
        decide(board, third)
    read(board, second)
    asked = effective_judgements.to_decide(fresh(board))
    with pytest.raises(StageNotReady, match="each of the 2"):
        decide(board, third, wanted=asked[:1])
    wrong = {
        (one.first.joint_id, one.first.criterion.code): decisions.Decided("maybe") for one in asked
    }
    with pytest.raises(AssessmentError, match="Say accept"):
        decisions.decide(
            board=fresh(board), decider=third, decisions=wrong, proof="password", at=LATER
        )
    with pytest.raises(AssessmentError, match="take the board in hand"):
        decide(board, third, how="photograph")
    assert nothing_is_out(board)
    decide(board, third)
    with pytest.raises(StageNotReady, match="Nothing"):
        decide(board, fourth, wanted=asked)
    assert Grading.objects.filter(kind="decision").count() == 1


def test_a_decision_from_a_photograph_names_the_one_that_a_grader_judged_by(board, graders):
    first, second, third, _ = graders
    photo = factories.make_photo(board, joint(board, "E02"))
    grading = begin(board, first)
    judge(grading, [("E02", "S-1")])
    judgements.judge(
        grading=grading,
        criterion=grading.criteria_set.criteria.get(code="S-1"),
        joint=joint(board, "E02"),
        outcome="reject",
        seen=judgements.Circumstances(how="photograph", photo=photo),
        at=NOW,
    )
    sign(grading)
    read(board, second)
    decided = decide(board, third, how="photograph").judgements.get()
    assert (decided.how, decided.photo) == ("photograph", photo)


def test_nobody_holds_both_seats_and_nobody_a_third(board, graders):
    first, second, third, fourth = graders
    late = begin(board, fourth)
    judge(late)
    read(board, first)
    with pytest.raises(MayNotGrade, match="the other grader"):
        begin(board, first)
    read(board, second)
    with pytest.raises(AlreadySigned, match="Two graders have signed"):
        sign(late)
    with pytest.raises(AlreadySigned):
        begin(board, third)


def test_a_seat_belongs_to_whoever_signs_one_stage(board, graders):
    first, second, third, _ = graders
    for who in (first, second):
        grading = begin(board, who)
        judge(grading, stages=["formed"])
        sign(grading, ["formed"])
    assert nothing_is_out(board)
    with pytest.raises(AlreadySigned):
        begin(board, third)
    assert begin(board, first).grader == first


def test_both_read_by_the_same_criteria(board, graders):
    first, second, *_ = graders
    one = begin(board, first)
    newer = factories.make_criteria_set()
    assert grading_assignment.current_criteria_set(board.exercise) == newer
    assert begin(board, second).criteria_set == one.criteria_set


def test_neither_corrects_the_other_and_who_has_begun_neither(board, graders):
    first, second, third, fourth = graders
    signed = read(board, first, ("E02", "S-1"))
    begin(board, second)
    with pytest.raises(MayNotGrade, match="yourself"):
        services.correct_grading(grading=signed, grader=second, reason="Let me see.", at=LATER)
    services.correct_grading(grading=signed, grader=third, reason="They have left.", at=LATER)
    assert begin(board, third).replaces == signed  # And is not the second.
    assert begin(board, fourth).kind == "first"


def test_a_correction_that_makes_a_new_difference_waits_again(board, graders):
    first, second, third, fourth = graders
    signed = read(board, first, ("E02", "S-1"))
    read(board, second)
    decide(board, third)
    assert outcome_of(board)[:2] == (True, True)
    correction = services.correct_grading(
        grading=signed, grader=first, reason="E03 as well.", at=LATER
    )
    judgements.judge(
        grading=correction,
        criterion=correction.criteria_set.criteria.get(code="S-1"),
        joint=joint(board, "E03"),
        outcome="reject",
        seen=judgements.Circumstances(),
        at=LATER,
    )
    sign(correction, at=LATER)
    assert nothing_is_out(board)
    [asked] = effective_judgements.to_decide(fresh(board))
    assert _named(asked.first) == ("E03", "S-1")
    decide(board, fourth, ("E03", "S-1"))
    assert outcome_of(board)[:2] == (True, False)
    decision = Grading.objects.filter(kind="decision").first()
    with pytest.raises(AssessmentError, match="decision between two graders stands"):
        services.correct_grading(grading=decision, grader=fourth, reason="No.", at=LATER)


def test_a_desk_shows_no_judgement_of_the_other(board, graders):
    first, second, *_ = graders
    read(board, first, ("E02", "S-1"))
    for_grader = BoardForGrader(fresh(board), second, own=False)
    assert (for_grader.signings, for_grader.closed, for_grader.others) == ({}, set(), [])
    criterion = for_grader.criterion("S-1")
    assert for_grader.judgement(joint(board, "E02"), criterion) is None
    mine = begin(board, second)
    judge(mine, stages=["formed"])
    for_grader = BoardForGrader(fresh(board), second, own=False)
    assert for_grader.judgement(joint(board, "E02"), criterion) is None
    assert for_grader.state("formed", joint(board, "E02")) == "accepted"
    begun_first = BoardForGrader(fresh(board), first, own=False)
    assert begun_first.reading is None
    assert begun_first.judgement(joint(board, "E02"), criterion) is None


def test_nobody_sees_what_was_judged_before_there_is_a_result(board, graders):
    first, second, third, _ = graders
    quality = factories.make_user("quality")
    owner = factories.make_user(person=board.person)
    everybody = [first, second, third, quality, owner]

    def may():
        return [access.may_see_outcome(one, fresh(board)) for one in everybody]

    read(board, first, ("E02", "S-1"))
    assert may() == [False] * 5
    read(board, second)
    assert may() == [False] * 5
    decide(board, third)
    assert may() == [True] * 5


# Another reading


@pytest.fixture
def single(criteria):
    return make_board(graders=1)


@pytest.fixture
def trainee(single):
    return factories.make_user(person=single.person)


def ask(board, trainee, reason="E02 is wetted all round."):
    return reading_requests.ask_for_another_reading(
        board=fresh(board), trainee=trainee, reason=reason, at=LATER
    )


def test_another_reading_counts_once_it_is_signed_to_the_end(single, trainee, graders):
    first, second, *_ = graders
    former = read(single, first, ("E02", "S-1"))
    request = ask(single, trainee)
    assert request.before == {"passed": False, "score": "86.666666", "rejected": 1}
    other = begin(single, second, LATER)
    assert (other.kind, other.criteria_set) == ("another", former.criteria_set)
    judge(other)
    sign(other, ["formed"], LATER)
    assert outcome_of(single)[:2] == (True, False)
    request.refresh_from_db()
    assert request.answered_at is None
    sign(other, ["soldered"], LATER)
    assert outcome_of(single) == (True, True, Decimal(100))
    request.refresh_from_db()
    assert (request.grading, request.answered_at) == (other, LATER)
    assert request.after == {"passed": True, "score": "100.000000", "rejected": 0}
    assert former.judgements.filter(outcome="reject").count() == 1
    acts = TrailEntry.objects.filter(act__startswith="another reading")
    assert [one.act for one in acts.order_by("pk")] == [
        "another reading asked for",
        "another reading answered",
    ]
    assert TrailPayload.objects.filter(entry__in=acts, body__contains="wetted").count() == 1


def test_another_reading_counts_for_worse_too(single, trainee, graders):
    read(single, graders[0])
    ask(single, trainee)
    read(single, graders[1], ("E01", "S-1"), at=LATER)
    assert outcome_of(single)[:2] == (True, False)
    reading = board_results.read_board(fresh(single))
    assert {one.grading.grader for one in reading.joints[0].judgements} == {graders[1]}


@pytest.mark.parametrize(
    ("case", "says"),
    [
        pytest.param("second", "can be asked for once", id="a second time"),
        pytest.param("answered", "can be asked for once", id="after the answer"),
        pytest.param("no result", "no result yet", id="nothing signed"),
        pytest.param("in part", "no result yet", id="signed in part"),
        pytest.param("no reason", "judged wrongly", id="no reason"),
        pytest.param("nobody left", "not used up", id="everybody has judged it"),
        pytest.param("gone", "nobody can read it again", id="the piece gone, no photograph"),
    ],
)
def test_another_reading_is_refused(single, trainee, graders, case, says):
    if case == "in part":
        read(single, graders[0], stages=["formed"])
    elif case != "no result":
        read(single, graders[0])
    if case in ("second", "answered"):
        ask(single, trainee)
    if case == "answered":
        read(single, graders[1], at=LATER)
    if case == "gone":
        Board.objects.filter(pk=single.pk).update(disposed_at=NOW, disposed_how="scrapped")
    if case == "nobody left":
        SiteRole.objects.filter(role="instructor").exclude(user=graders[0]).delete()
    before = ReadingRequest.objects.count()
    with pytest.raises(CannotChangeBoard, match=says):
        ask(single, trainee, reason="  " if case == "no reason" else "Look again.")
    assert ReadingRequest.objects.count() == before


def test_only_whoever_made_the_board_asks(single, graders):
    read(single, graders[0])
    for user in (graders[0], factories.make_user(), factories.make_user("quality")):
        with pytest.raises(MayNotGrade, match="Only whoever made"):
            ask(single, user)


def test_who_judged_before_does_not_read_again_and_nobody_their_own(single, graders):
    first, second, third, _ = graders
    owner = factories.make_user("instructor", person=single.person)
    signed = read(single, first)
    correction = services.correct_grading(
        grading=signed, grader=second, reason="Overlooked.", at=LATER
    )
    sign(correction, at=LATER)
    ask(single, owner)
    for who in (first, second):
        with pytest.raises(MayNotGrade, match="somebody else reads it again"):
            begin(single, who, LATER)
    with pytest.raises(MayNotGrade, match="own board"):
        begin(single, owner, LATER)
    assert begin(single, third, LATER).kind == "another"


def test_whoever_signs_first_gives_the_other_reading(single, trainee, graders):
    _first, second, third, fourth = graders
    read(single, graders[0])
    ask(single, trainee)
    mine, theirs = begin(single, second, LATER), begin(single, third, LATER)
    judge(mine)
    judge(theirs)
    sign(mine, ["formed"], LATER)
    with pytest.raises(AlreadySigned, match="read this board again"):
        sign(theirs, ["formed"], LATER)
    with pytest.raises(AlreadySigned, match="Somebody else is reading"):
        begin(single, fourth, LATER)


def test_whoever_may_read_again_sees_nothing_of_the_former_reading(single, trainee, graders):
    first, second, *_ = graders
    read(single, first, ("E02", "S-1"))
    assert access.may_see_outcome(second, fresh(single))
    ask(single, trainee)
    quality = factories.make_user("quality")
    may = {
        name: access.may_see_outcome(user, fresh(single))
        for name, user in {
            "former": first, "next": second, "trainee": trainee, "quality": quality
        }.items()
    }  # fmt: skip
    assert may == {"former": True, "next": False, "trainee": True, "quality": True}
    for_grader = BoardForGrader(fresh(single), second, own=False)
    assert (for_grader.kind, for_grader.signings, for_grader.closed) == ("another", {}, set())
    assert for_grader.judgement(joint(single, "E02"), for_grader.criterion("S-1")) is None
    read(single, second, at=LATER)
    assert access.may_see_outcome(second, fresh(single))
    assert access.may_see_outcome(graders[2], fresh(single))


def test_the_former_grader_does_not_correct_the_other_reading(single, trainee, graders):
    read(single, graders[0], ("E02", "S-1"))
    ask(single, trainee)
    other = read(single, graders[1], at=LATER)
    with pytest.raises(MayNotGrade, match="yourself"):
        services.correct_grading(grading=other, grader=graders[0], reason="No.", at=LATER)
    correction = services.correct_grading(grading=other, grader=graders[2], reason="E01.", at=LATER)
    assert correction.kind == "another"


def test_another_reading_of_a_two_grader_board_counts_alone(board, graders):
    first, second, third, fourth = graders
    trainee = factories.make_user(person=board.person)
    read(board, first, ("E02", "S-1"))
    read(board, second)
    decide(board, third, ("E02", "S-1"))
    ask(board, trainee)
    for who in (first, second, third):
        with pytest.raises(MayNotGrade):
            begin(board, who, LATER)
    read(board, fourth, at=LATER)
    assert outcome_of(board) == (True, True, Decimal(100))


def test_a_request_is_kept_as_it_was_asked_and_answered(single, trainee, graders):
    read(single, graders[0])
    request = ask(single, trainee)
    found = ReadingRequest.objects.filter(pk=request.pk)
    with pytest.raises(IntegrityError), transaction.atomic():
        found.update(reason="Something else.")
    with pytest.raises(IntegrityError), transaction.atomic():
        found.update(before={"passed": True})
    read(single, graders[1], at=LATER)
    for change in (lambda: found.update(after={}), found.delete):
        with pytest.raises(IntegrityError), transaction.atomic():
            change()


def test_what_rests_on_the_board_is_named_in_the_trail_and_left_alone(single, trainee, graders):
    before = ports.register_rests_on(lambda board: ["certificate CA-C-00012"])
    try:
        read(single, graders[0])
        ask(single, trainee)
        read(single, graders[1], ("E01", "S-1"), at=LATER)
    finally:
        ports.register_rests_on(before)
    found = TrailPayload.objects.filter(entry__act__startswith="another reading")
    assert [("CA-C-00012" in one.body) for one in found] == [True, True]

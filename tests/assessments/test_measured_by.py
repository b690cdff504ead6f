"""What is measured is judged from marks, an instrument, or by eye with a reason; never by a key."""

from decimal import Decimal
from uuid import uuid4

import pytest
from django.urls import reverse

from assessments.domain.measured_by import MeasuredBy
from assessments.exceptions import AssessmentError, StageNotReady
from assessments.models import Criterion, Grading, Judgement
from assessments.queries import board_results, measured_by
from assessments.services import decisions, judgements, rework
from assessments.services import grading as services
from assessments.services.class_day import pass_stage
from assessments.services.undo import undo
from tests import factories
from tests.assessments import several
from tests.assessments.several import begin, fresh, joint
from tests.factories import NOW

pytestmark = pytest.mark.django_db

REASON = "no instrument reaches it"
JSON = {"Accept": "application/json"}
WRAP = {"code": "W-1", "how": "measured", "low": 180, "high": 270, "unit": "deg"}


@pytest.fixture
def instructor(client):
    user = factories.make_user("instructor")
    client.force_login(user)
    return user


def make_criteria(**of_wrap):
    return factories.make_criteria_set(
        {**WRAP, "severity": "critical", "demerits": 40, **of_wrap},
        {"code": "S-3", "severity": "minor", "demerits": 5},
    )


@pytest.fixture
def board():
    make_criteria()
    return factories.make_board(exercise=factories.make_exercise(rework_allowed=1))


def say(grading, outcome="accept", code="W-1", place="E01", make=1, **seen):
    return judgements.judge(
        grading=grading,
        criterion=grading.criteria_set.criteria.get(code=code),
        joint=joint(grading.board, place, make),
        outcome=outcome,
        seen=judgements.Circumstances(**seen),
        at=NOW,
    )


def gauge(board):
    return factories.make_tool(board.site, kind="gauge")


# One judgement


@pytest.mark.parametrize("outcome", ["accept", "reject"])
@pytest.mark.parametrize("how", ["at_board", "photograph"])
def test_a_key_alone_judges_nothing_that_is_measured(board, instructor, outcome, how):
    grading = begin(board, instructor)
    photo = factories.make_photo(board) if how == "photograph" else None
    with pytest.raises(AssessmentError, match="W-1 is measured: mark it on a photograph"):
        say(grading, outcome, how=how, photo=photo, by_eye_because="  ")
    assert not Judgement.objects.exists()
    assert not grading.undo_steps.exists()


def test_a_reading_a_reason_or_not_applicable_judges_it(board, instructor):
    grading = begin(board, instructor)
    read = say(grading, how="instrument", value=Decimal(200), tool=gauge(board))
    assert measured_by.kind_of(read) == MeasuredBy.INSTRUMENT
    told = say(grading, place="E02", by_eye_because=REASON)
    assert (told.by_eye_because, measured_by.kind_of(told)) == (REASON, MeasuredBy.BY_EYE)
    not_asked = say(grading, "not_applicable", place="E02", by_eye_because=REASON)
    assert (not_asked.by_eye_because, not_asked.pk) == ("", told.pk)


def test_what_is_judged_by_eye_anyway_keeps_no_reason(board, instructor):
    assert say(begin(board, instructor), code="S-3", by_eye_because=REASON).by_eye_because == ""


def test_where_the_set_says_never_no_reason_is_enough(instructor):
    make_criteria(by_eye=Criterion.ByEye.NEVER)
    board = factories.make_board()
    grading = begin(board, instructor)
    for outcome in ("accept", "reject"):
        with pytest.raises(AssessmentError, match="by its criteria set never judged by eye"):
            say(grading, outcome, by_eye_because=REASON)
    say(grading, how="instrument", value=Decimal(200), tool=gauge(board))
    say(grading, "not_applicable", place="E02")


def test_undo_brings_the_reason_back(board, instructor):
    grading = begin(board, instructor)
    say(grading, by_eye_because=REASON)
    say(grading, how="instrument", value=Decimal(200), tool=gauge(board))
    undo(grading=grading)
    again = Judgement.objects.get()
    assert (again.by_eye_because, again.value) == (REASON, None)


def test_a_trainees_own_reading_is_never_counted_and_asks_for_none(board):
    trainee = factories.make_user(person=board.person)
    own = services.start_own_reading(board=board, trainee=trainee, at=NOW)
    assert say(own).how == "at_board"


def test_an_inspection_of_rework_asks_the_same(board, instructor):
    first = begin(board, instructor)
    several.judge(first, rejected=[("E01", "S-3"), ("E01", "W-1")])
    several.sign(first)
    rework.send_back(
        board=fresh(board), joint=joint(board, "E01"), codes=["W-1"], actor=instructor, at=NOW
    )
    again = begin(board, instructor)
    assert again.kind == Grading.Kind.REWORK
    with pytest.raises(AssessmentError, match="W-1 is measured"):
        say(again, make=2)
    say(again, make=2, by_eye_because=REASON)


# Several at once


def test_the_rest_never_takes_what_is_measured_though_it_is_shown(board, instructor):
    grading = begin(board, instructor)
    wrap = grading.criteria_set.criteria.get(code="W-1")
    count = judgements.accept_the_rest(
        grading=grading,
        stage="soldered",
        joints=[joint(board, "E01")],
        seen=judgements.Circumstances(),
        at=NOW,
        shown=wrap,
    )
    assert count == 1
    assert Judgement.objects.get().criterion.code == "S-3"


def test_a_class_day_passes_no_stage_whose_measured_ones_are_open(board, instructor):
    with pytest.raises(StageNotReady, match="E01 W-1"):
        pass_stage(board=board, stage="soldered", grader=instructor, at=NOW)


# By the form and the page's script


def send(client, board, headers=JSON, **fields):
    data = {"stage": "soldered", "joint": "E01", "criterion": "W-1", "key": str(uuid4())}
    address = reverse("assessments:board_judge", args=[board.number])
    return client.post(address, data | fields, headers=headers)


@pytest.mark.usefixtures("instructor")
def test_the_script_is_refused_with_what_to_do(client, board):
    told = send(client, board, outcome="accept", by_eye_because=REASON)
    assert told.status_code == 422
    assert "W-1 is measured: mark it on a photograph" in told.json()["says"]
    unsaid = send(client, board, outcome="accept_by_eye")
    assert "Say why it is judged by eye" in unsaid.json()["says"]
    assert not Judgement.objects.exists()


@pytest.mark.usefixtures("instructor")
@pytest.mark.parametrize("headers", [JSON, {}], ids=["script", "form"])
@pytest.mark.parametrize("outcome", ["accept", "reject"])
def test_by_eye_keeps_the_reason_and_no_reading(client, board, headers, outcome):
    send(
        client, board, headers, outcome=f"{outcome}_by_eye", by_eye_because=REASON,
        value="200", tool=gauge(board).code,
    )  # fmt: skip
    told = Judgement.objects.get()
    assert (told.outcome, told.by_eye_because, told.value, told.tool) == (
        outcome, REASON, None, None,
    )  # fmt: skip


@pytest.mark.usefixtures("instructor")
def test_the_page_offers_the_last_reason_of_the_board_and_of_no_other(client, board):
    send(client, board, outcome="accept_by_eye", by_eye_because=REASON)
    other = factories.make_board(exercise=board.exercise)
    address = reverse("assessments:board_grade", args=[board.number])
    page = client.get(address, {"joint": "E02", "criterion": "W-1"}).content.decode()
    assert f'value="{REASON}"' in page
    page = client.get(reverse("assessments:board_grade", args=[other.number])).content.decode()
    assert f'value="{REASON}"' not in page.replace('<option value="', "")


def test_a_page_of_a_set_that_says_never_offers_no_reason(client, instructor):
    make_criteria(by_eye=Criterion.ByEye.NEVER)
    board = factories.make_board()
    told = send(client, board, outcome="accept_by_eye", by_eye_because=REASON)
    assert "never judged by eye" in told.json()["says"]
    assert instructor.pk


# What is signed


def test_what_was_judged_by_key_before_and_is_not_signed_is_not_signed_so(board, instructor):
    grading = begin(board, instructor)
    several.judge(grading)
    Judgement.objects.filter(joint__position__name="E02", criterion__code="W-1").update(
        by_eye_because=""
    )
    with pytest.raises(StageNotReady, match="judged by a key alone: E02 W-1"):
        several.sign(grading)
    say(grading, place="E02", by_eye_because=REASON)
    several.sign(grading)


def test_what_was_signed_so_before_stands_and_is_taken_over_by_a_correction(
    board, instructor, monkeypatch
):
    grading = begin(board, instructor)
    several.judge(grading)
    grading.judgements.update(by_eye_because="")
    with monkeypatch.context() as before:
        before.setattr(measured_by, "unsaid_before_signing", lambda *_given: [])
        several.sign(grading)
    signing = grading.signings.get()
    assert "by_eye_because" not in board_results.signed_content(signing)["judgements"][0]
    later = services.correct_grading(
        grading=grading, grader=instructor, reason="S-3 was wrong.", at=NOW
    )
    say(later, "reject", code="S-3")
    several.sign(later)
    counted = measured_by.tally_of(board_results.read_board(fresh(board)))
    assert counted.counts == {MeasuredBy.UNSAID: len(several.fresh(board).joints.all())}
    assert "E01 W-1" in counted.unsaid


def test_the_signature_covers_the_reason(board, instructor):
    grading = several.read(board, instructor)
    signing = grading.signings.get()
    lines = board_results.signed_content(signing)["judgements"]
    assert {line.get("by_eye_because") for line in lines} == {None, several.REASON}


@pytest.mark.usefixtures("everybody_has_standing")
def test_whoever_decides_on_something_measured_says_why():
    make_criteria()
    board = factories.make_board(exercise=factories.make_exercise(graders=2))
    first, second, third = (factories.make_user("instructor") for _ in range(3))
    several.read(board, first)
    several.read(board, second, ("E01", "W-1"))
    place = (joint(board, "E01").pk, "W-1")
    said = {"board": fresh(board), "decider": third, "proof": "password", "at": NOW}
    with pytest.raises(AssessmentError, match="W-1 is measured: say in its note why"):
        decisions.decide(decisions={place: decisions.Decided("accept")}, **said)
    decided = decisions.Decided("accept", note="Measured anew: 200°.")
    decisions.decide(decisions={place: decided}, **said)
    counted = measured_by.tally_of(board_results.read_board(fresh(board)))
    assert counted.counts[MeasuredBy.DECIDED] == 1
    assert "E02 W-1" in counted.by_eye[several.REASON]
    assert measured_by.MeasuredTally.from_json(counted.as_json()) == counted


@pytest.mark.usefixtures("instructor")
def test_one_act_accepts_by_eye_what_is_shown_and_the_rest_with_it(client, board):
    address = reverse("assessments:board_accept_rest", args=[board.number])
    data = {"stage": "soldered", "joint": "E01", "criterion": "W-1", "by_eye_because": REASON}
    client.post(address, data, headers=JSON)
    assert [one.criterion.code for one in Judgement.objects.all()] == ["S-3"]
    client.post(address, data | {"joint": "E02", "outcome": "accept_by_eye"}, headers=JSON)
    at_second = Judgement.objects.filter(joint__position__name="E02")
    said = {one.criterion.code: (one.by_eye_because, one.with_the_rest) for one in at_second}
    assert said == {"W-1": (REASON, False), "S-3": ("", True)}


def test_neither_does_it_where_the_set_says_never(client, instructor):
    make_criteria(by_eye=Criterion.ByEye.NEVER)
    board = factories.make_board()
    address = reverse("assessments:board_accept_rest", args=[board.number])
    data = {"stage": "soldered", "joint": "E01", "criterion": "W-1", "outcome": "accept_by_eye"}
    told = client.post(address, data | {"by_eye_because": REASON}, headers=JSON)
    assert "never judged by eye" in told.json()["says"]
    assert not Judgement.objects.exists()
    assert instructor.pk

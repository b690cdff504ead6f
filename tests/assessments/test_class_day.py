"""The class of the day: what it shows of whom, a stage passed with one tap, and taken back."""

import random
import re
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from assessments.exceptions import AssessmentError, MayNotGrade, StageNotReady
from assessments.models import Board, CriteriaSet, Grading, Judgement, StageSigning
from assessments.presenters.class_day import class_day as lay_out
from assessments.queries import board_results
from assessments.services import boards, grading, judgements, rework
from assessments.services import class_day as services
from assessments.services.judgements import Circumstances
from tests import factories
from tests.factories import NOW
from tests.markup import Markup
from training.models import Exercise, JointType, Stage

pytestmark = pytest.mark.django_db

HTMX = {"HX-Request": "true"}
STAGES = (Stage.PREPARED, Stage.SOLDERED)
EYE = {"stage": "prepared", "code": "P-1", "severity": "major"}
MEASURED = {"stage": "prepared", "code": "P-2", "how": "measured", "low": 1, "unit": "mm"}
CRITICAL = {"stage": "soldered", "code": "S-1", "severity": "critical"}
MINOR = {"stage": "soldered", "code": "S-2", "severity": "minor"}
OF_BOARD = {"stage": "prepared", "code": "B-1", "severity": "minor", "of": "board"}


@pytest.fixture
def instructor(client):
    user = factories.make_user("instructor")
    client.force_login(user)
    return user


def a_class(instructor, *, people=2, criteria=(EYE, CRITICAL, MINOR), joints=2, spare=0):
    """A class that runs today, a board in everybody's hands."""
    factories.make_criteria_set(*criteria)
    site = instructor.person.site
    today = site.today()
    trainees = tuple(factories.make_person(site) for _ in range(people))
    session = factories.make_session(
        site, people=trainees, instructor=instructor, starts_on=today, ends_on=today
    )
    exercise = factories.make_exercise((JointType.TURRET,) * joints, stages=STAGES, spare=spare)
    for person in trainees:
        factories.make_board(person, exercise, session=session, handed_out_on=today)
    return session


def first_board(session) -> Board:
    return session.boards.order_by("number").first()


def pass_(board, instructor, stage="prepared", **more):
    return services.pass_stage(board=board, stage=stage, grader=instructor, at=NOW, **more)


def judge(board, instructor, code, joint_name="E01", outcome="accept"):
    reading = grading.start_grading(board=board, grader=instructor, at=NOW)
    judgements.judge(
        grading=reading,
        criterion=reading.criteria_set.criteria.get(code=code),
        joint=board.joints.get(position__name=joint_name),
        outcome=outcome,
        seen=Circumstances(),
        at=NOW,
    )


def sign(board, instructor, stage):
    grading.sign_stage(
        grading=grading.open_grading(board, instructor),
        stage=stage,
        signer=instructor,
        proof="password",
        at=NOW,
    )


def cells(session, user):
    """The cells by board number and stage."""
    found = lay_out(session, user, timezone.now())
    return {
        (row.board.number, cell.stage.value): cell
        for trainee in found.trainees
        for row in trainee.boards
        for cell in row.cells
        if cell is not None
    }


def text(response) -> str:
    return Markup(response.content.decode()).replace("\xa0", " ")


# Passing


def test_pass_accepts_all_that_is_open_at_the_stage_and_stores_it_as_such(instructor):
    session = a_class(instructor, criteria=(EYE, OF_BOARD, CRITICAL))
    board = first_board(session)
    assert pass_(board, instructor) == 3  # Two joints and the whole board.
    rows = list(Judgement.objects.all())
    assert {(one.outcome, one.how, one.with_the_rest, one.stage) for one in rows} == {
        ("accept", "at_board", True, "prepared")
    }
    assert not StageSigning.objects.exists()
    board.refresh_from_db()
    assert board.handed_in_at == NOW


@pytest.mark.parametrize(
    ("criteria", "stage", "stays"),
    [
        pytest.param((EYE, MEASURED), "prepared", "E01 P-2", id="measured"),
        pytest.param((EYE, CRITICAL, MINOR), "soldered", "E01 S-1", id="critical"),
        pytest.param(
            (EYE, {**OF_BOARD, "severity": "critical"}), "prepared", "B-1", id="critical, board"
        ),
    ],
)
def test_what_is_critical_or_measured_is_never_passed_and_nothing_is_stored(
    instructor, criteria, stage, stays
):
    session = a_class(instructor, criteria=criteria)
    board = first_board(session)
    with pytest.raises(StageNotReady, match=stays):
        pass_(board, instructor, stage)
    assert not Judgement.objects.exists()
    assert not Grading.objects.exists()
    board.refresh_from_db()
    assert board.handed_in_at is None
    cell = cells(session, instructor)[board.number, stage]
    assert (cell.rest, cell.state) == (0, "open")
    assert sum(count for _title, count in cell.stays) >= 1


def test_once_the_critical_ones_are_judged_the_rest_passes_and_what_is_rejected_stays(instructor):
    session = a_class(instructor)
    board = first_board(session)
    judge(board, instructor, "S-1", "E01", outcome="reject")
    judge(board, instructor, "S-1", "E02")
    pass_(board, instructor, "prepared")
    assert cells(session, instructor)[board.number, "soldered"].rest == 2
    assert pass_(board, instructor, "soldered") == 2
    assert Judgement.objects.filter(outcome="reject", criterion__code="S-1").count() == 1
    assert Judgement.objects.filter(with_the_rest=True, criterion__code="S-1").count() == 0


def test_stage_is_not_passed_while_one_before_it_is_open(instructor):
    session = a_class(instructor, criteria=(EYE, MINOR))
    board = first_board(session)
    assert cells(session, instructor)[board.number, "soldered"].rest == 0
    with pytest.raises(StageNotReady, match="“prepared” comes first"):
        pass_(board, instructor, "soldered")
    assert not Judgement.objects.exists()
    pass_(board, instructor, "prepared")
    assert cells(session, instructor)[board.number, "soldered"].rest == 2
    assert pass_(board, instructor, "soldered") == 2


def test_spare_joints_that_nobody_began_are_left_alone(instructor):
    session = a_class(instructor, joints=3, spare=1)
    board = first_board(session)
    assert cells(session, instructor)[board.number, "prepared"].rest == 2
    assert pass_(board, instructor) == 2


def test_pass_under_one_key_is_done_once_and_a_second_one_finds_nothing(instructor):
    board = first_board(a_class(instructor))
    key = uuid4()
    assert pass_(board, instructor, key=key) == 2
    assert pass_(board, instructor, key=key) == 2
    assert Judgement.objects.count() == 2
    with pytest.raises(StageNotReady, match="Nothing is open"):
        pass_(board, instructor)


def test_pass_is_refused_where_a_joint_is_missing_and_for_stages_not_asked_for(instructor):
    session = a_class(instructor)
    board = first_board(session)
    board.joints.get(position__name="E02").delete()
    with pytest.raises(StageNotReady, match="E02"):
        pass_(board, instructor)
    assert cells(session, instructor)[board.number, "prepared"].rest == 0
    with pytest.raises(StageNotReady, match="does not ask"):
        pass_(board, instructor, "cleaned")


def test_nobody_passes_their_own_board(instructor):
    session = a_class(instructor)
    board = first_board(session)
    maker = factories.make_user("instructor", person=board.person)
    with pytest.raises(MayNotGrade):
        pass_(board, maker)


def test_what_was_passed_is_taken_back_unless_something_was_judged_since(instructor):
    board = first_board(a_class(instructor))
    key, later = uuid4(), uuid4()
    pass_(board, instructor, key=key)
    assert services.take_back_pass(board=board, grader=instructor, key=key) == "prepared"
    assert not Judgement.objects.exists()
    pass_(board, instructor, key=later)
    judge(board, instructor, "S-1")
    with pytest.raises(AssessmentError, match="since"):
        services.take_back_pass(board=board, grader=instructor, key=later)
    assert Judgement.objects.count() == 3


def test_signed_pass_is_not_taken_back(instructor):
    board = first_board(a_class(instructor))
    key = uuid4()
    pass_(board, instructor, key=key)
    sign(board, instructor, "prepared")
    with pytest.raises(AssessmentError):
        services.take_back_pass(board=board, grader=instructor, key=key)
    assert Judgement.objects.count() == 2


# What is shown


@pytest.mark.parametrize("seed", range(6))
def test_cell_offers_a_pass_exactly_where_the_service_makes_one(instructor, seed):
    """Whatever has been judged so far, the button and the service agree, and so does its number."""
    rng = random.Random(seed)
    kinds = [EYE, MEASURED, CRITICAL, MINOR, OF_BOARD]
    session = a_class(instructor, criteria=rng.sample(kinds, rng.randint(2, 5)), spare=1)
    board = first_board(session)
    reading = grading.start_grading(board=board, grader=instructor, at=NOW)
    for stage in board.exercise.stages:
        for joint in [*board.joints.all(), None]:
            for criterion in board_results.criteria_for(reading, stage, joint):
                if rng.random() < 0.5:
                    judgements.judge(
                        grading=reading,
                        criterion=criterion,
                        joint=joint,
                        outcome=rng.choice(["accept", "reject"]),
                        seen=Circumstances(by_eye_because="far inside its limit"),
                        at=NOW,
                    )
    for stage in [*reversed(board.exercise.stages), *board.exercise.stages]:
        offered = cells(session, instructor)[board.number, stage].rest
        before = Judgement.objects.count()
        try:
            made = pass_(board, instructor, stage)
        except StageNotReady:
            made = 0
        assert made == offered == Judgement.objects.count() - before


def test_states_follow_a_stage_from_open_to_signed(instructor):
    session = a_class(instructor)
    board = first_board(session)

    def state():
        cell = cells(session, instructor)[board.number, "prepared"]
        return cell.state, cell.judged, cell.places

    assert state() == ("open", 0, 2)
    judge(board, instructor, "P-1")
    assert state() == ("open", 1, 2)
    pass_(board, instructor)
    assert state() == ("to_sign", 2, 2)
    sign(board, instructor, "prepared")
    assert state()[0] == "signed"


def test_board_judged_to_the_end_says_whether_it_passed(client, instructor):
    session = a_class(instructor)
    board = first_board(session)
    address = reverse("assessments:class_day", args=[session.number])
    before = text(client.get(address))
    assert "passed" not in before.split("<tbody")[1]
    assert re.findall(r'aria-current="true">([^<]+)<', before.split("</header>")[0]) == [
        "Class day"
    ]
    for name in ("E01", "E02"):
        judge(board, instructor, "S-1", name)
    for stage in ("prepared", "soldered"):
        pass_(board, instructor, stage)
        sign(board, instructor, stage)
    told = text(client.get(address))
    assert f">{board.number}</a>" in told
    assert "<span>passed" in told


def test_boards_of_today_and_unfinished_ones_of_the_class_are_shown_and_no_others(instructor):
    session = a_class(instructor, people=1)
    person = session.people.get()
    exercise = first_board(session).exercise
    today = session.site.today()
    earlier = today - timedelta(days=1)
    unfinished = factories.make_board(person, exercise, session=session, handed_out_on=earlier)
    no_class = factories.make_board(person, exercise, handed_out_on=today)
    hidden = [
        factories.make_board(person, exercise, handed_out_on=earlier),
        factories.make_board(person, exercise, session=session, disposed_at=NOW),
        factories.make_board(None, exercise, handed_out_on=today),
    ]
    shown = {number for number, _stage in cells(session, instructor)}
    assert {unfinished.number, no_class.number, first_board(session).number} == shown
    assert not shown & {one.number for one in hidden}


def test_what_another_grader_judged_and_did_not_sign_is_not_shown(instructor):
    session = a_class(instructor)
    board = first_board(session)
    other = factories.make_user("instructor", site=session.site)
    judge(board, other, "P-1", outcome="reject")
    cell = cells(session, instructor)[board.number, "prepared"]
    assert (cell.judged, cell.rest) == (0, 2)


def test_second_of_two_graders_sees_nothing_of_what_the_first_signed(client, instructor):
    session = a_class(instructor)
    board = first_board(session)
    board.exercise.graders = 2
    with factories.unprotected():
        board.exercise.save(update_fields=["graders"])
    first = factories.make_user("instructor", site=session.site)
    for name in ("E01", "E02"):
        judge(board, first, "S-1", name, outcome="reject")
    for stage in ("prepared", "soldered"):
        pass_(board, first, stage)
        sign(board, first, stage)
    seen = cells(session, instructor)
    assert (seen[board.number, "prepared"].state, seen[board.number, "prepared"].judged) == (
        "open",
        0,
    )
    assert seen[board.number, "soldered"].stays[0][1] == 2
    told = text(client.get(reverse("assessments:class_day", args=[session.number])))
    row = told.split(f">{board.number}</a>")[1].split("</tr>")[0]
    assert "signed" not in row
    assert "reject" not in row
    assert pass_(board, instructor) == 2
    assert cells(session, first)[board.number, "prepared"].state == "signed"


def test_page_asks_as_many_questions_for_twelve_trainees_as_for_two(client, instructor):
    counts = {}
    for people in (2, 12):
        session = a_class(instructor, people=people)
        for board in session.boards.all():
            judge(board, instructor, "P-1")
            factories.make_photo(board, board.joints.first(), stage="prepared")
        address = reverse("assessments:class_day", args=[session.number])
        client.get(address)
        with CaptureQueriesContext(connection) as asked:
            assert client.get(address).status_code == 200
        counts[people] = len(asked)
    assert counts[2] == counts[12]
    assert counts[12] <= 22


@pytest.mark.usefixtures("everybody_has_standing")
@pytest.mark.parametrize("inspected", [False, True], ids=["handed in", "inspected"])
def test_it_asks_no_more_for_boards_on_which_joints_were_made_again(client, instructor, inspected):
    counts = {}
    for people in (2, 6):
        session = a_class(instructor, people=people)
        with factories.unprotected():
            Exercise.objects.update(rework_allowed=1)
        for board in session.boards.all():
            judge(board, instructor, "P-1", outcome="reject")
            pass_(board, instructor)
            sign(board, instructor, "prepared")
            board = Board.objects.get(pk=board.pk)
            rework.send_back(
                board=board, joint=board.joints.first(), codes=["P-1"], actor=instructor, at=NOW
            )
            boards.hand_in(board=board, actor=board.made_by, at=NOW)
            if inspected:
                pass_(board, instructor)
                sign(board, instructor, "prepared")
        address = reverse("assessments:class_day", args=[session.number])
        client.get(address)
        with CaptureQueriesContext(connection) as asked:
            assert client.get(address).status_code == 200
        counts[people] = len(asked)
    assert counts[2] == counts[6]
    assert counts[6] <= 26


# The page


def test_page_names_trainees_stages_and_what_stays(client, instructor):
    session = a_class(instructor, criteria=(EYE, MEASURED, CRITICAL, MINOR))
    told = text(client.get(reverse("assessments:class_day", args=[session.number])))
    for person in session.people.all():
        assert person.full_name in told
    assert "Prepared" in told
    assert "Soldered" in told
    assert "to judge: Title 2, 2×" in told
    assert "Accept rest" not in told  # Each stage has something critical or measured.
    board = first_board(session)
    assert f"/boards/{board.number}/grade/?stage=soldered&amp;joint=E01&amp;criterion=S-1" in told


def test_tap_passes_says_so_and_offers_to_take_it_back(client, instructor):
    session = a_class(instructor)
    board = first_board(session)
    key = str(uuid4())
    data = {"board": board.number, "stage": "prepared", "key": key}
    address = reverse("assessments:class_pass", args=[session.number])
    answer = client.post(address, data, headers=HTMX)
    assert answer.status_code == 200
    told = text(answer)
    assert "<html" not in told
    assert f"{board.person.full_name}, {board.number}, prepared: 2 accepted with the rest." in told
    assert "Take back" in told
    back = client.post(
        reverse("assessments:class_take_back", args=[session.number]),
        {"board": board.number, "key": key},
        headers=HTMX,
    )
    assert "taken back" in text(back)
    assert not Judgement.objects.exists()


def test_without_htmx_a_tap_leads_back_to_the_page_with_what_was_done(client, instructor):
    session = a_class(instructor)
    data = {"board": first_board(session).number, "stage": "prepared"}
    address = reverse("assessments:class_pass", args=[session.number])
    answer = client.post(address, data, follow=True)
    assert answer.redirect_chain == [(reverse("assessments:class_day", args=[session.number]), 302)]
    assert "2 accepted with the rest" in text(answer)


@pytest.mark.parametrize("headers", [{}, HTMX], ids=["page", "htmx"])
def test_refused_tap_says_what_stays(client, instructor, headers):
    session = a_class(instructor)
    board = first_board(session)
    answer = client.post(
        reverse("assessments:class_pass", args=[session.number]),
        {"board": board.number, "stage": "soldered"},
        headers=headers,
    )
    assert answer.status_code == 422
    assert "E01 S-1, E02 S-1: critical or measured" in text(answer)


@pytest.mark.parametrize("data", [{}, {"stage": "soldered"}, {"board": "X", "stage": "worn"}])
def test_tap_that_names_nothing_is_not_found(client, instructor, data):
    session = a_class(instructor)
    address = reverse("assessments:class_pass", args=[session.number])
    assert client.post(address, data).status_code == 404


def test_board_that_is_not_of_the_class_is_not_passed_through_it(client, instructor):
    session = a_class(instructor)
    other = factories.make_board()
    data = {"board": other.number, "stage": "soldered"}
    address = reverse("assessments:class_pass", args=[session.number])
    assert client.post(address, data).status_code == 404


def test_own_board_and_trainees_without_one_say_so(client, instructor):
    session = a_class(instructor, people=1)
    session.enrolments.create(person=instructor.person)
    session.enrolments.create(person=factories.make_person(session.site, full_name="Nobody Yet"))
    factories.make_board(
        instructor.person, first_board(session).exercise, session=session,
        handed_out_on=session.site.today(),
    )  # fmt: skip
    told = text(client.get(reverse("assessments:class_day", args=[session.number])))
    assert "Your own board: somebody else judges it." in told
    assert "No board today." in told


def test_page_without_criteria_says_what_to_do(client, instructor):
    session = a_class(instructor)
    CriteriaSet.objects.update(retired_at=NOW)
    told = text(client.get(reverse("assessments:class_day", args=[session.number])))
    assert "No criteria set is published" in told


# The class of today


def test_navigation_leads_to_the_class_that_runs_today(client, instructor):
    today = reverse("assessments:class_day_today")
    assert "No class runs today" in text(client.get(today))
    session = a_class(instructor)
    assert client.get(today).url == reverse("assessments:class_day", args=[session.number])
    factories.make_session(
        session.site, instructor=factories.make_user("instructor", site=session.site),
        starts_on=session.starts_on, ends_on=session.ends_on,
    )  # fmt: skip
    assert client.get(today).url == reverse("assessments:class_day", args=[session.number])
    other = factories.make_user("instructor", site=session.site)
    client.force_login(other)
    assert session.number in text(client.get(today))

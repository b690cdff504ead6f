"""What the grading screen's script sends: few queries, each act once, the same as by the form."""

from uuid import uuid4

import pytest
from django.db import connection
from django.forms.models import model_to_dict
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from assessments.models import Grading, Judgement, UndoStep
from assessments.queries import board_results
from assessments.services import grading as services
from assessments.services import judgements
from tests import factories
from tests.factories import NOW

pytestmark = pytest.mark.django_db

JSON = {"Accept": "application/json"}
MOST_QUERIES = 12  # the session and its user among them, and a savepoint's two


@pytest.fixture
def instructor(client):
    user = factories.make_user("instructor")
    client.force_login(user)
    return user


@pytest.fixture
def board():
    factories.make_criteria_set()
    return factories.make_board()


@pytest.fixture
def begun(board, instructor):
    return services.start_grading(board=board, grader=instructor, at=NOW)


def send(client, board, *, name="board_judge", headers=JSON, **fields):
    data = {"stage": "soldered", "joint": "E01", "criterion": "S-1", "outcome": "accept"}
    data["key"] = str(uuid4())
    address = reverse(f"assessments:{name}", args=[board.number])
    return client.post(address, data | fields, headers=headers)


def judged():
    return [
        (str(one.joint or "board"), one.criterion.code, one.outcome)
        for one in Judgement.objects.select_related("joint__position", "criterion").order_by("pk")
    ]


@pytest.mark.usefixtures("begun")
def test_a_judgement_takes_few_queries_whether_it_is_new_or_changes_one(client, board):
    photo = factories.make_photo(board)
    tool = factories.make_tool(board.site)
    seen = {"how": "photograph", "photo": photo.key, "mark_x": "10", "mark_y": "20"}
    send(client, board, **seen)
    saw = ""
    for fields in (
        {"criterion": "S-2", "outcome": "reject", "note": "a nick"},
        {"criterion": "S-2", "outcome": "accept"},
        {"joint": "board", "criterion": "S-9"},
        {"joint": "board", "criterion": "S-9", "outcome": "reject"},
    ):
        with CaptureQueriesContext(connection) as asked:
            response = send(client, board, **seen, **fields, saw=saw)
        assert response.json() == {"saved": True}
        saw = Judgement.objects.latest("judged_at").judged_at.isoformat()
        assert len(asked) <= MOST_QUERIES, "\n".join(query["sql"][:60] for query in asked)
    assert tool.pk
    assert judged() == [
        ("E01", "S-1", "accept"),
        ("E01", "S-2", "accept"),
        ("board", "S-9", "reject"),
    ]


def test_the_first_judgement_begins_the_reading(client, board, instructor):
    assert send(client, board).json() == {"saved": True}
    assert Grading.objects.get().grader == instructor
    assert judged() == [("E01", "S-1", "accept")]


@pytest.mark.usefixtures("begun")
def test_a_judgement_that_arrives_again_is_done_once(client, board):
    key = str(uuid4())
    assert send(client, board, key=key, outcome="reject").json() == {"saved": True}
    send(client, board, outcome="accept")
    again = send(client, board, key=key, outcome="reject")
    assert (again.status_code, again.json()) == (200, {"saved": True})
    assert judged() == [("E01", "S-1", "accept")]
    assert UndoStep.objects.count() == 2


def test_it_is_known_again_after_the_stage_is_signed(client, board, instructor, begun):
    key = str(uuid4())
    send(client, board, key=key)
    accept_all(begun)
    services.sign_stage(
        grading=begun, stage="soldered", signer=instructor, proof="password", at=NOW
    )
    assert send(client, board, key=key).json() == {"saved": True}


@pytest.mark.usefixtures("begun")
def test_the_rest_is_accepted_once_and_what_is_shown_by_a_judgement_of_its_own(client, board):
    key = str(uuid4())
    for _ in range(2):
        assert send(client, board, name="board_accept_rest", key=key).json() == {"saved": True}
    found = {one.criterion.code: one.with_the_rest for one in Judgement.objects.all()}
    assert found == {"S-1": False, "S-2": True, "S-3": True}  # S-1 is critical.
    assert UndoStep.objects.count() == 1


@pytest.mark.usefixtures("begun")
def test_the_rest_leaves_a_criterion_as_it_is_judged_though_it_is_shown(client, board):
    send(client, board, outcome="reject", note="a nick")
    send(client, board, name="board_accept_rest")
    assert Judgement.objects.get(criterion__code="S-1").outcome == "reject"


@pytest.mark.usefixtures("begun")
def test_an_act_is_taken_back_once_and_what_stands_again_is_told(client, board):
    send(client, board, outcome="reject", note="a nick")
    send(client, board, outcome="accept")
    key = str(uuid4())
    for _ in range(2):
        told = send(client, board, name="board_undo", key=key).json()
        assert told["saved"]
        assert told["stage"] == "soldered"
        [changed] = told["changed"]
        assert (changed["place"], changed["criterion"]) == ("E01", "S-1")
        assert (changed["judged"]["outcome"], changed["judged"]["note"]) == ("reject", "a nick")
    [nothing] = send(client, board, name="board_undo").json()["changed"]
    assert nothing["judged"] is None
    assert send(client, board, name="board_undo").status_code == 422


@pytest.mark.usefixtures("begun")
@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        pytest.param({"outcome": "maybe"}, "Say accept, reject", id="unknown outcome"),
        pytest.param({"magnification": "ten"}, "magnification as a number", id="magnification"),
        pytest.param({"value": "3"}, "needs its value and the tool", id="no tool"),
        pytest.param({"how": "photograph"}, "none is on screen", id="no photograph"),
        pytest.param({"photo": "elsewhere"}, "not of this board", id="unknown photograph"),
        pytest.param({"criterion": "S-9"}, "not asked of this joint", id="of the board"),
    ],
)
def test_what_cannot_be_stored_is_said_and_nothing_is(client, board, fields, sentence):
    response = send(client, board, **fields)
    assert response.status_code == 422
    assert sentence in response.json()["says"]
    assert not Judgement.objects.exists()
    assert not UndoStep.objects.exists()


@pytest.mark.usefixtures("begun")
@pytest.mark.parametrize(
    "fields", [{"joint": "E99"}, {"joint": ""}, {"criterion": "S-99"}, {"stage": "baked"}]
)
def test_an_unknown_place_is_not_found(client, board, fields):
    assert send(client, board, **fields).status_code == 404
    assert not Judgement.objects.exists()


def test_a_signed_stage_answers_that_it_is_too_late(client, board, instructor, begun):
    accept_all(begun)
    services.sign_stage(
        grading=begun, stage="soldered", signer=instructor, proof="password", at=NOW
    )
    response = send(client, board, outcome="reject")
    assert response.status_code == 409
    assert "signed" in response.json()["says"]
    assert not Judgement.objects.filter(outcome="reject").exists()


@pytest.mark.usefixtures("begun")
@pytest.mark.parametrize("role", ["operator", "line_lead", "quality", "administrator"])
def test_only_instructors_of_the_site_judge(client, board, role):
    client.force_login(factories.make_user(role))
    assert send(client, board).status_code == 404
    elsewhere = factories.make_site("Aldergate", "AL")
    client.force_login(factories.make_user("instructor", site=elsewhere))
    assert send(client, board).status_code == 404
    assert not Judgement.objects.exists()


def test_whoever_was_an_instructor_judges_no_more(client, board, instructor, begun):
    instructor.roles.all().delete()
    assert send(client, board).status_code == 404
    assert not begun.judgements.exists()


def test_a_maker_judges_their_own_board_uncounted(client, board):
    maker = factories.make_user(person=board.person)
    client.force_login(maker)
    for code in ("S-1", "S-2"):
        assert send(client, board, name="own_judge", criterion=code).json() == {"saved": True}
    assert Grading.objects.get().kind == Grading.Kind.OWN
    assert send(client, board).status_code == 404


def test_it_stores_what_the_form_without_a_script_stores(client, board, begun):
    photo = factories.make_photo(board, magnification="12.5")
    fields = {
        "outcome": "reject",
        "how": "photograph",
        "photo": photo.key,
        "mark_x": "40.5",
        "mark_y": "7",
        "note": " a nick ",
        "magnification": "4",
    }
    send(client, board, **fields)
    send(client, board, **fields, headers={}, joint="E02")
    one, other = (
        model_to_dict(row, exclude=["id", "joint", "judged_at"])
        for row in Judgement.objects.filter(grading=begun).order_by("joint__position__order")
    )
    assert one == other


@pytest.mark.usefixtures("instructor")
def test_a_measured_value_against_its_limits_has_to_be_explained(client):
    factories.make_criteria_set(
        {"code": "M", "how": "measured", "low": "180.5", "high": 270, "unit": "deg"}
    )
    board = factories.make_board()
    tool = factories.make_tool(board.site)
    read = {"criterion": "M", "value": "180.49", "uncertainty": "0", "tool": tool.code}
    send(client, board, criterion="M")
    refused = send(client, board, **read)
    assert refused.status_code == 422
    assert "outside its limits" in refused.json()["says"]
    assert send(client, board, **read, outcome="reject").json()["saved"] is True
    assert Judgement.objects.get().tool == tool


def accept_all(grading):
    for joint in [*board_results.joints_that_count(grading.board), None]:
        for criterion in board_results.criteria_for(grading, "soldered", joint):
            judgements.judge(
                grading=grading,
                criterion=criterion,
                joint=joint,
                outcome="accept",
                seen=judgements.Circumstances(),
                at=NOW,
            )

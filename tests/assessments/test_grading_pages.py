"""The pages of grading: judged, refused, taken back, with and without htmx; and who may."""

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from assessments.models import Grading, Judgement
from assessments.queries import board_results
from assessments.services import grading as services
from assessments.services import judgements
from tests import factories
from tests.factories import NOW
from tests.markup import Markup

pytestmark = pytest.mark.django_db

HTMX = {"HX-Request": "true"}
# Without the page's script: the session, its user and roles, one judgement and the whole screen
# after it, and the statements that begin and end transactions. With it, half as many:
# `test_judgements_sent`.
QUERIES_WITH_A_WHOLE_SCREEN = 24


@pytest.fixture
def instructor(client):
    user = factories.make_user("instructor")
    client.force_login(user)
    return user


@pytest.fixture
def criteria():
    return factories.make_criteria_set()


@pytest.fixture
def board(criteria):
    return factories.make_board()


def address(board, name="board_grade", *more):
    return reverse(f"assessments:{name}", args=[board.number, *more])


def judge(client, board, *, name="board_judge", headers=None, **fields):
    data = {"stage": "soldered", "joint": "E01", "criterion": "S-1", "outcome": "accept"}
    return client.post(address(board, name), data | fields, headers=headers or {})


def text(response) -> str:
    return Markup(response.content.decode()).replace("\xa0", " ")


# Opening the screen


def test_the_screen_shows_criterion_drawings_limits_source_joints_and_keys(client, instructor):
    factories.make_criteria_set(
        {
            "code": "M",
            "how": "measured",
            "low": 180,
            "high": 270,
            "unit": "deg",
            "document": "Handbook 1",
            "clause": "6.2",
        },
        {"code": "E", "high": 1, "unit": "d"},
    )
    board = factories.make_board()
    told = text(client.get(address(board)))
    assert board.number in told
    assert board.person.full_name in told
    assert "Accept: 180° to 270°" in told
    assert "Handbook 1, 6.2, <b>unverified</b>" in told
    assert re.search(r'<details\s+class="more instrument"\s*>', told)
    assert told.count("data-key=") >= 5
    by_eye = text(client.get(address(board), {"criterion": "E"}))
    assert "Accept: at most 1 d" in by_eye
    assert "Common practice" in by_eye
    assert re.search(r'<details\s+class="more instrument"\s+hidden\s*>', by_eye)


@pytest.mark.usefixtures("instructor")
def test_a_confirmed_limit_is_not_called_unverified(client):
    factories.make_criteria_set({"code": "A", "confirmed_at": NOW})
    assert "unverified" not in text(client.get(address(factories.make_board())))


@pytest.mark.usefixtures("instructor")
def test_htmx_gets_the_screen_alone_and_where_it_is(client, board):
    whole = client.get(address(board), {"joint": "E02"})
    inside = client.get(address(board), {"joint": "E02"}, headers=HTMX)
    assert b"<html" in whole.content
    assert b"<html" not in inside.content
    assert re.match(rb'\s*<div\s+id="screen"', inside.content)
    assert inside["HX-Replace-Url"].startswith(address(board) + "?")
    assert "joint=E02" in inside["HX-Replace-Url"]
    assert "Now E02, Title 1: open." in text(inside)
    for response in (whole, inside):
        assert "HX-Request" in response["Vary"]
        assert "no-store" in response["Cache-Control"]


@pytest.mark.usefixtures("instructor")
def test_going_back_in_the_browser_gets_a_whole_page(client, board):
    headers = HTMX | {"HX-History-Restore-Request": "true"}
    assert b"<html" in client.get(address(board), headers=headers).content


@pytest.mark.usefixtures("instructor")
def test_opening_the_screen_begins_nothing(client, board):
    client.get(address(board))
    board.refresh_from_db()
    assert board.handed_in_at is None
    assert not Grading.objects.exists()


@pytest.mark.usefixtures("instructor")
def test_without_published_criteria_the_board_is_shown_and_says_whom_to_ask(client):
    board = factories.make_board()
    response = client.get(address(board), follow=True)
    assert response.redirect_chain == [(address(board, "board_detail"), 302)]
    assert "Ask quality to publish one." in text(response)


def test_a_board_that_is_signed_to_the_end_shows_its_result(client, instructor, board):
    sign_everything(board, instructor)
    assert client.get(address(board)).url == address(board, "board_result")


# Judging


@pytest.mark.parametrize("outcome", ["accept", "reject", "not_applicable"])
def test_a_judgement_is_saved_at_once(client, instructor, board, outcome):
    response = judge(client, board, outcome=outcome, note=" a nick ", headers=HTMX)
    assert response.status_code == 200
    saved = Judgement.objects.get()
    assert (saved.outcome, saved.note, saved.how) == (outcome, "a nick", "at_board")
    assert (saved.joint.position.name, saved.criterion.code) == ("E01", "S-1")
    assert saved.grading.grader == instructor
    assert f"E01, Title 1: {Judgement.Outcome(outcome).label}. Now E01, Title 2" in text(response)


@pytest.mark.usefixtures("instructor")
def test_a_judgement_without_htmx_leads_to_the_next_criterion(client, board):
    response = judge(client, board)
    assert response.status_code == 302
    assert response.url.startswith(address(board))
    assert "criterion=S-2" in response.url
    assert "Title 2" in text(client.get(response.url))


@pytest.mark.usefixtures("instructor")
def test_a_judgement_of_the_whole_board_has_no_joint(client, board):
    judge(client, board, joint="board", criterion="S-9")
    assert Judgement.objects.get().joint is None


@pytest.mark.usefixtures("instructor")
def test_a_judgement_from_a_photograph_names_it_its_magnification_and_the_place(client, board):
    photo = factories.make_photo(board, magnification=20)
    judge(client, board, how="photograph", photo=photo.key, magnification="7", mark_x=400, mark_y=9)
    saved = Judgement.objects.get()
    assert (saved.how, saved.photo, saved.magnification) == ("photograph", photo, 20)
    assert (saved.mark_x, saved.mark_y) == (400, 9)
    told = text(client.get(address(board), {"joint": "E01", "criterion": "S-1"}))
    assert 'cx="400.0" cy="9.0"' in told
    assert "place marked" in told


@pytest.mark.usefixtures("instructor")
def test_how_one_looks_at_boards_is_kept_from_one_to_the_next(client, board):
    factories.make_photo(board)
    judge(client, board, how="at_board", magnification="12.5")
    other = factories.make_board(exercise=board.exercise)
    factories.make_photo(other)
    told = text(client.get(address(other)))
    assert 'value="at_board" checked' in told
    assert 'name="magnification" inputmode="decimal" size="3" value="12.5"' in told
    client.get(address(other), {"how": "photograph", "magnification": ""})
    told = text(client.get(address(other)))
    assert 'value="photograph" checked' in told
    assert 'size="3" value=""' in told


@pytest.mark.usefixtures("instructor")
def test_a_reading_on_an_instrument_is_kept_with_its_tool_and_shown_with_its_verdict(client):
    factories.make_criteria_set(
        {"code": "M", "how": "measured", "low": 180, "high": 270, "unit": "deg"}
    )
    board = factories.make_board()
    tool = factories.make_tool(board.site)
    read = {"criterion": "M", "value": "100", "uncertainty": "2.5", "tool": tool.code}
    refused = judge(client, board, **read, headers=HTMX)
    assert refused.status_code == 422
    assert "The reading is outside its limits" in text(refused)
    assert 'name="value" inputmode="decimal" autocomplete="off" value="100"' in text(refused)
    judge(client, board, **read, outcome="reject")
    saved = Judgement.objects.get()
    assert (saved.how, saved.tool, saved.value) == ("instrument", tool, 100)
    told = text(client.get(address(board), {"joint": "E01"}))
    assert "outside 180° to 270°" in told.replace("</svg>", "")
    assert "100° <small>± 2.5°</small>" in told
    assert f"Read on {tool.code}." in told


@pytest.mark.usefixtures("instructor")
def test_accepting_the_rest_leaves_the_critical_criterion(client, board):
    response = client.post(
        address(board, "board_accept_rest"),
        {"stage": "soldered", "joint": "E01", "note": "never stored", "value": "3"},
        headers=HTMX,
    )
    assert "E01: 2 accepted with the rest." in text(response)
    saved = {one.criterion.code: one for one in Judgement.objects.select_related("criterion")}
    assert set(saved) == {"S-2", "S-3"}
    assert all(one.with_the_rest and not one.note for one in saved.values())


@pytest.mark.usefixtures("instructor")
def test_undo_takes_the_last_act_back_and_shows_where_it_was(client, board):
    judge(client, board)
    judge(client, board, joint="E03", criterion="S-2", outcome="reject")
    response = client.post(address(board, "board_undo"), {"joint": "E01"}, headers=HTMX)
    assert "Taken back. Now E03, Title 2: open." in text(response)
    assert Judgement.objects.count() == 1


def test_a_judgement_with_a_whole_screen_takes_a_fixed_number_of_queries(client, instructor, board):
    photo = factories.make_photo(board)
    judge(client, board, how="photograph", photo=photo.key)
    counts = []
    for criterion in ("S-2", "S-3"):
        with CaptureQueriesContext(connection) as asked:
            response = judge(
                client,
                board,
                criterion=criterion,
                how="photograph",
                photo=photo.key,
                headers=HTMX,
            )
        assert response.status_code == 200
        counts.append(len(asked))
    assert counts == [QUERIES_WITH_A_WHOLE_SCREEN] * 2


# Refusals in words


@pytest.mark.usefixtures("instructor")
@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        pytest.param({"outcome": ""}, "Say accept, reject or not applicable", id="no outcome"),
        pytest.param({"outcome": "maybe"}, "Say accept, reject", id="unknown outcome"),
        pytest.param({"magnification": "ten"}, "magnification as a number", id="magnification"),
        pytest.param({"magnification": "0"}, "at least 0.5", id="too small"),
        pytest.param({"note": "x" * 401}, "Shorten the note to 400", id="long note"),
        pytest.param({"value": "wide"}, "as a number", id="value"),
        pytest.param({"value": "3", "uncertainty": "-1"}, "not below 0", id="uncertainty"),
        pytest.param({"value": "3"}, "needs its value and the tool", id="no tool"),
        pytest.param({"value": "3", "tool": "G-9"}, "Choose a tool of this site", id="no such"),
        pytest.param({"how": "photograph"}, "none is on screen", id="no photograph"),
        pytest.param({"photo": "elsewhere"}, "not of this board", id="unknown photograph"),
        pytest.param({"criterion": "S-9"}, "not asked of this joint", id="criterion of the board"),
    ],
)
def test_what_cannot_be_stored_is_told_and_nothing_is(client, board, fields, sentence):
    response = judge(client, board, **fields, headers=HTMX)
    assert response.status_code == 422
    assert sentence in text(response)
    assert not Judgement.objects.exists()


@pytest.mark.usefixtures("instructor")
def test_after_a_refusal_what_was_typed_is_still_there(client, board):
    typed = {"note": "Two strands", "magnification": "ten", "outcome": ""}
    for headers in (HTMX, {}):
        told = text(judge(client, board, **typed, headers=headers))
        assert 'value="Two strands"' in told
        assert 'value="ten"' in told


@pytest.mark.usefixtures("instructor")
def test_a_photograph_of_another_board_is_refused(client, board):
    other = factories.make_photo(factories.make_board())
    response = judge(client, board, how="photograph", photo=other.key, headers=HTMX)
    assert response.status_code == 422
    assert "That photograph is not of this board." in text(response)


@pytest.mark.usefixtures("instructor")
def test_a_mark_beside_the_photograph_is_refused(client, board):
    photo = factories.make_photo(board)
    response = judge(client, board, how="photograph", photo=photo.key, mark_x=801, mark_y=10)
    assert response.status_code == 422
    assert "The mark lies outside the photograph." in text(response)


@pytest.mark.usefixtures("instructor")
@pytest.mark.parametrize("fields", [{"joint": "E99"}, {"joint": ""}, {"criterion": "S-99"}])
def test_an_unknown_joint_or_criterion_is_not_found_and_begins_nothing(client, board, fields):
    assert judge(client, board, **fields).status_code == 404
    assert not Grading.objects.exists()


@pytest.mark.usefixtures("instructor")
def test_the_rest_of_the_whole_board_or_of_nothing_is_refused_in_words(client, board):
    rest = address(board, "board_accept_rest")
    whole = client.post(rest, {"stage": "soldered", "joint": "board"}, headers=HTMX)
    assert whole.status_code == 422
    assert "Choose a joint first" in text(whole)
    unknown = client.post(rest, {"stage": "baked", "joint": "E01"}, headers=HTMX)
    assert unknown.status_code == 422
    assert "Nothing of this joint is left" in text(unknown)
    assert client.post(rest, {"joint": "E99"}).status_code == 404


@pytest.mark.usefixtures("instructor")
def test_with_nothing_to_take_back_undo_says_so(client, board):
    response = client.post(address(board, "board_undo"), {"joint": "E01"}, headers=HTMX)
    assert response.status_code == 422
    assert "There is nothing to take back." in text(response)


def test_a_signed_stage_takes_no_judgement(client, instructor, board):
    sign_everything(board, instructor)
    response = judge(client, board, outcome="reject", headers=HTMX)
    assert response.status_code == 422
    assert "Every stage of" in text(response)
    assert not Judgement.objects.filter(outcome="reject").exists()


def test_a_refused_standing_is_told_on_the_boards_page(client, instructor, board, monkeypatch):
    monkeypatch.setattr("assessments.ports._answer", lambda *asked: "Your certificate ended.")
    response = client.get(address(board), follow=True)
    assert response.redirect_chain == [(address(board, "board_detail"), 302)]
    assert "Your certificate ended." in text(response)
    assert "Your certificate ended." in text(judge(client, board, headers=HTMX))
    assert not Grading.objects.exists()


# A trainee's own reading


def test_whoever_made_a_board_judges_it_for_themselves_uncounted(client, criteria):
    maker = factories.make_user()
    client.force_login(maker)
    board = factories.make_board(maker.person)
    told = text(client.get(address(board, "board_own_reading")))
    assert "never counted" in told
    response = judge(client, board, name="own_judge", outcome="reject", headers=HTMX)
    assert response.status_code == 200
    reading = Grading.objects.get()
    assert (reading.kind, reading.judgements.count()) == (Grading.Kind.OWN, 1)
    rest = client.post(
        address(board, "own_accept_rest"), {"stage": "soldered", "joint": "E01"}, headers=HTMX
    )
    assert "2 accepted with the rest" in text(rest)
    client.post(address(board, "own_undo"), {"joint": "E01"}, headers=HTMX)
    assert reading.judgements.count() == 1
    assert 'data-key="s"' not in text(client.get(address(board, "board_own_reading")))


def test_an_own_reading_ends_with_an_instructors_signature(client, criteria):
    maker, grader = factories.make_user(), factories.make_user("instructor")
    board = factories.make_board(maker.person)
    services.start_own_reading(board=board, trainee=maker, at=NOW)
    sign_everything(board, grader)
    client.force_login(maker)
    assert "your own reading is over" in text(client.get(address(board, "board_own_reading")))
    response = judge(client, board, name="own_judge", headers=HTMX)
    assert response.status_code == 422
    assert "your own reading is over" in text(response)


# Who may


GRADING = ("board_judge", "board_accept_rest", "board_undo")
OWN = ("own_judge", "own_accept_rest", "own_undo")


@pytest.mark.parametrize("name", ["board_grade", "board_own_reading", "board_result", *GRADING])
def test_nobody_gets_in_without_signing_in(client, board, name):
    ask = client.post if name in GRADING else client.get
    assert "/account/login/" in ask(address(board, name)).url


@pytest.mark.usefixtures("instructor")
@pytest.mark.parametrize("name", [*GRADING, *OWN])
def test_what_changes_something_is_not_read(client, board, name):
    assert client.get(address(board, name)).status_code == 405


@pytest.mark.parametrize("role", ["operator", "line_lead", "quality", "administrator"])
def test_only_instructors_grade(client, board, role):
    client.force_login(factories.make_user(role))
    assert client.get(address(board)).status_code == 404
    for name in GRADING:
        assert client.post(address(board, name), {"joint": "E01"}).status_code == 404
    assert not Grading.objects.exists()


def test_an_instructor_grades_neither_elsewhere_nor_their_own_work(client, instructor, board):
    elsewhere = factories.make_site("Aldergate", "AL")
    for other in (
        factories.make_board(factories.make_person(elsewhere), board.exercise),
        factories.make_board(instructor.person, board.exercise),
    ):
        assert client.get(address(other)).status_code == 404
        assert judge(client, other).status_code == 404
    assert client.get(reverse("assessments:board_grade", args=["CA-B-0"])).status_code == 404


def test_an_own_reading_is_for_whoever_made_the_board(client, instructor, board):
    assert client.get(address(board, "board_own_reading")).status_code == 404
    for name in OWN:
        assert client.post(address(board, name), {"joint": "E01"}).status_code == 404
    assert not Grading.objects.exists()


def sign_everything(board, grader):
    grading = services.start_grading(board=board, grader=grader, at=NOW)
    for joint in [*board_results.joints_that_count(board), None]:
        for criterion in board_results.criteria_for(grading, "soldered", joint):
            judgements.judge(
                grading=grading,
                criterion=criterion,
                joint=joint,
                outcome="accept",
                seen=judgements.Circumstances(),
                at=NOW,
            )
    services.sign_stage(grading=grading, stage="soldered", signer=grader, proof="password", at=NOW)
    return grading

"""The page of what fails most, and the joints behind a number: what they say, and to whom."""

import csv
import io
import re

import pytest
from django.urls import reverse
from django.utils import timezone

from assessments.presenters import what_fails as presenter
from assessments.queries import what_fails
from assessments.services import judgements
from tests import factories
from tests.assessments.several import begin, joint, judge, make_criteria, read, sign

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("everybody_has_standing")]

PAGE, JOINTS, FILE = "/what-fails/", "/what-fails/joints/", "/what-fails.csv"


@pytest.fixture
def instructor(client):
    make_criteria()
    user = factories.make_user("instructor")
    client.force_login(user)
    return user


@pytest.fixture
def board(instructor):
    """A board with two rejections under one criterion and a note, a photograph of E01."""
    exercise = factories.make_exercise(stages=("formed", "soldered"), title="Turret wraps")
    board = factories.make_board(exercise=exercise)
    factories.make_photo(board, joint(board, "E01"), stage="soldered")
    grading = begin(board, instructor, timezone.now())
    judge(grading, [("E02", "S-1")])
    judgements.judge(
        grading=grading,
        criterion=grading.criteria_set.criteria.get(code="S-1"),
        joint=joint(board, "E01"),
        outcome="reject",
        seen=judgements.Circumstances(note="Not wetted at the far side."),
        at=timezone.now(),
    )
    sign(grading, at=timezone.now())
    return board


def body(client, address, **query) -> str:
    response = client.get(address, query)
    assert response.status_code == 200, response
    return response.content.decode().split("<main")[1]


def test_each_line_says_how_many_of_how_many_and_leads_to_them(client, board):
    page = body(client, PAGE)
    first = page.split("<tbody>")[1].split("</tr>")[0]
    assert '<span class="unbroken">S-1</span></b> Title 2</th>' in first
    assert "66.7\N{NO-BREAK SPACE}%" in first
    (rejected, judged) = re.findall(r'href="([^"]+)"', first)
    assert rejected == "/what-fails/joints/?months=12&amp;by=criterion&amp;key=S-1"
    assert judged == rejected + "&amp;show=judged"
    shown = body(client, rejected.replace("&amp;", "&"))
    assert shown.count("<h2>") == 2
    assert "Not wetted at the far side." in shown
    assert f"/boards/{board.number}/" in shown
    assert f"/photos/{board.photos.get().key}/" in shown
    assert shown.count("No photographs") == 1
    assert "2 of 3" in shown
    assert body(client, judged.replace("&amp;", "&")).count("<h2>") == 3


def test_filters_go_along_from_table_to_joints_and_back(client, board):
    asked = {"months": "6", "purpose": "practice", "by": "exercise"}
    page = body(client, PAGE, **asked)
    assert 'aria-current="page">Exercise' in page
    assert f"by=exercise&amp;key={board.exercise.code}" in page
    assert "months=6&amp;purpose=practice&amp;by=month" in page
    assert '<input type="hidden" name="by" value="exercise"' in page
    shown = body(client, JOINTS, key=board.exercise.code, **asked)
    assert 'href="/what-fails/?months=6&amp;purpose=practice&amp;by=exercise"' in shown
    assert "<b>S-1</b> Title 2" in shown


@pytest.mark.parametrize("odd", ["lots", "9" * 30, "9" * 4400, "-1"])
def test_what_makes_no_sense_is_left_open(client, board, odd):
    asked = dict.fromkeys(("months", "purpose", "by", "site", "show", "page"), odd)
    assert "Title 2" in body(client, PAGE, **asked)
    assert body(client, JOINTS, key="S-1", **asked).count("<h2>") == 2
    assert "Nothing was judged here" in body(client, JOINTS, by="month", key=odd)
    assert client.get(FILE, asked).status_code == 200


def test_a_line_that_is_not_there_and_one_without_rejections_say_so(client, board):
    assert "Nothing was judged here" in body(client, JOINTS)
    assert "None was rejected" in body(client, JOINTS, key="F-1")


def test_without_boards_the_page_says_what_to_do(client, instructor):
    page = body(client, PAGE)
    assert "Nothing to count in these months" in page
    assert 'href="?months=36"' in page
    assert FILE not in page


def test_the_limit_and_what_is_left_out_are_named(client, board, instructor, monkeypatch):
    monkeypatch.setattr(what_fails, "MOST_BOARDS", 1)
    other = factories.make_board()
    read(other, instructor, at=timezone.now())
    page = body(client, PAGE)
    assert "the last 1 of 2" in page
    assert "2 boards were judged to the end in these months; the 1 handed in last" in page


def test_joints_come_by_the_page(client, board, monkeypatch):
    monkeypatch.setattr(presenter, "JOINTS_A_PAGE", 2)
    asked = {"by": "criterion", "key": "S-1", "show": "judged"}
    assert body(client, JOINTS, **asked).count("<h2>") == 2
    second = body(client, JOINTS, page="2", **asked)
    assert second.count("<h2>") == 1
    assert "3 to 3 of 3" in second


def test_the_file_holds_what_the_page_says(client, board):
    response = client.get(FILE, {"months": "3"})
    assert re.search(r'filename="what-fails-\d{4}-\d\d\.csv"', response["Content-Disposition"])
    text = b"".join(response.streaming_content).decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert rows[0] == {
        "by": "criterion",
        "code": "S-1",
        "title": "Title 2",
        "rejected": "2",
        "judged": "3",
    }
    assert [row["by"] for row in rows[-3:]] == ["exercise", "class", "month"]
    assert f'"{FILE}?months=12"' in body(client, PAGE)


def test_bench_and_boards_lead_there_for_those_who_may(client, instructor):
    link = f'href="{reverse("assessments:what_fails")}"'
    assert link in body(client, "/bench/")
    assert link in body(client, "/boards/")
    client.force_login(factories.make_user("quality"))
    assert link in body(client, "/boards/")
    assert link in body(client, "/register/")
    client.force_login(factories.make_user())
    assert link not in body(client, "/boards/")
    assert client.get(PAGE).status_code == 403


def test_an_instructor_of_yesterday_counts_nothing(client, board, instructor):
    instructor.roles.all().delete()
    for address in (PAGE, JOINTS, FILE):
        assert client.get(address).status_code == 403

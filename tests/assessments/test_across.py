"""One position judged on every board of a class: where it leads, and that it goes no other way."""

import json
import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from assessments.models import Judgement
from tests import factories
from tests.assessments.test_class_day import a_class, judge, sign
from tests.assessments.test_class_day import instructor as _instructor

pytestmark = pytest.mark.django_db

instructor = _instructor
HTMX = {"HX-Request": "true"}


def begin(client, session, position="E02", stage="soldered", **more):
    exercise = session.boards.first().exercise_id
    data = {"exercise": exercise, "stage": stage, "position": position} | more
    return client.get(reverse("assessments:class_position", args=[session.number]), data)


def in_order(session):
    return list(session.boards.order_by("person__full_name", "number"))


def grade_url(board, name="E02", session=None):
    return (
        reverse("assessments:board_grade", args=[board.number])
        + f"?stage=soldered&joint={name}&across={session.number}"
    )


def judge_by_page(client, board, session, code, headers=None, name="board_judge"):
    data = {
        "stage": "soldered",
        "joint": "E02",
        "criterion": code,
        "outcome": "accept",
        "how": "at_board",
        "across": session.number,
    }
    address = reverse(f"assessments:{name}", args=[board.number])
    return client.post(address, data, headers=headers or {})


def told(response) -> dict:
    script = r'<script id="grading-state" type="application/json">(.*?)</script>'
    found = re.search(script, response.text)
    assert found
    return json.loads(found[1])


def test_it_begins_at_the_first_trainee_whose_joint_is_open(client, instructor):
    session = a_class(instructor, people=3)
    first, second, _third = in_order(session)
    assert begin(client, session).url == grade_url(first, session=session)
    for code in ("S-1", "S-2"):
        judge(first, instructor, code, "E02")
    assert begin(client, session).url == grade_url(second, session=session)


@pytest.mark.parametrize("more", [{"position": "E99"}, {"stage": "cleaned"}, {"exercise": 0}])
def test_what_no_board_has_leads_back_with_a_sentence_or_nowhere(client, instructor, more):
    session = a_class(instructor)
    answer = begin(client, session, **more)
    if answer.status_code == 302:
        page = client.get(answer.url)
        assert "No board of the class has that joint" in page.text
    else:
        assert answer.status_code == 404
        assert more == {"exercise": 0}


def test_screen_shows_every_trainee_and_leads_to_the_next_open_one(client, instructor):
    session = a_class(instructor, people=3)
    first, second, third = in_order(session)
    for code in ("S-1", "S-2"):
        judge(second, instructor, code, "E02")
    photo = factories.make_photo(third, third.joints.get(position__name="E02"), stage="soldered")
    page = client.get(grade_url(first, session=session))
    for board in (first, second, third):
        assert f'id="stop-{board.number}"' in page.text
    assert "E02, 1 of 3" in page.text
    go = re.search(r'id="go-open"[^>]*href="([^"]*)"', page.text)
    assert go
    assert go[1].replace("&amp;", "&") == grade_url(third, session=session)
    says = told(page)
    assert says["across"] == session.number
    assert any(photo.key in one for one in says["ahead"])


def test_finished_joint_leads_to_the_next_trainee_and_never_to_another_joint(client, instructor):
    session = a_class(instructor)
    first, second = in_order(session)
    here = judge_by_page(client, first, session, "S-1")
    assert f"/boards/{first.number}/" in here.url
    assert "across=" in here.url
    assert "criterion=S-2" in here.url
    onward = judge_by_page(client, first, session, "S-2")
    assert onward.url == grade_url(second, session=session)
    judge_by_page(client, second, session, "S-1")
    last = judge_by_page(client, second, session, "S-2")
    assert f"/boards/{second.number}/" in last.url
    assert "joint=E02" in last.url
    assert {str(one.joint) for one in Judgement.objects.all()} == {"E02"}


def test_rest_goes_the_same_way(client, instructor):
    session = a_class(instructor)
    first, second = in_order(session)
    onward = judge_by_page(client, first, session, "S-1", name="board_accept_rest")
    assert onward.url == grade_url(second, session=session)
    rows = Judgement.objects.filter(grading__board=first)
    assert {(one.criterion.code, one.with_the_rest) for one in rows} == {
        ("S-1", False),
        ("S-2", True),
    }


def test_refusal_stays_at_the_joint_with_its_sentence(client, instructor):
    session = a_class(instructor)
    first, _second = in_order(session)
    answer = judge_by_page(client, first, session, "S-1", headers=HTMX)
    assert answer.status_code == 200
    data = {"stage": "soldered", "joint": "E02", "criterion": "S-1", "across": session.number}
    address = reverse("assessments:board_judge", args=[first.number])
    refused = client.post(address, data, headers=HTMX)
    assert refused.status_code == 422
    assert "Say accept, reject or not applicable" in refused.text
    assert 'id="stop-' in refused.text


def test_signed_joint_is_shown_as_signed_and_passed_over(client, instructor):
    session = a_class(instructor, people=3, joints=1)
    first, second, third = in_order(session)
    for code in ("S-1", "S-2"):
        judge(second, instructor, code)
    judge(second, instructor, "P-1")
    sign(second, instructor, "prepared")
    sign(second, instructor, "soldered")
    url = grade_url(first, "E01", session=session)
    page = client.get(url).text
    stop = page.split(f'id="stop-{second.number}"')[1].split("</a>")[0]
    assert "signed" in stop
    assert f'id="go-open" class="btn btn-sm" href="/boards/{third.number}/' in page


@pytest.mark.parametrize("number", ["CA-K-99999", "elsewhere"])
def test_class_that_one_does_not_teach_changes_nothing(client, instructor, number):
    session = a_class(instructor)
    first, _second = in_order(session)
    if number == "elsewhere":
        there = factories.make_site("Aldergate", "AL")
        number = factories.make_session(there).number
    address = reverse("assessments:board_grade", args=[first.number])
    page = client.get(address, {"stage": "soldered", "joint": "E02", "across": number})
    assert page.status_code == 200
    assert "stop-" not in page.text
    assert told(page)["across"] == ""


def test_board_that_is_not_of_the_class_is_judged_by_itself(client, instructor):
    session = a_class(instructor)
    other = factories.make_board(exercise=session.boards.first().exercise)
    page = client.get(grade_url(other, session=session))
    assert "stop-" not in page.text


def test_screen_asks_as_many_questions_for_twelve_trainees_as_for_two(client, instructor):
    counts = {}
    for people in (2, 12):
        session = a_class(instructor, people=people)
        for board in session.boards.all():
            judge(board, instructor, "S-1", "E02")
        url = grade_url(in_order(session)[0], session=session)
        client.get(url)
        with CaptureQueriesContext(connection) as asked:
            assert client.get(url).status_code == 200
        counts[people] = len(asked)
    assert counts[2] == counts[12]

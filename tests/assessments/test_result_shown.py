"""What the result of a board puts first, how it tells readings apart, and what it shows of them."""

import re

import pytest
from django.urls import reverse

from assessments.models import Grading
from assessments.services import grading as services
from assessments.services import rework
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
from tests.factories import NOW, PASSWORD

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("everybody_has_standing")]

IN_HAND = "Judged with the board in hand; there is no photograph of it."


@pytest.fixture
def graders():
    make_criteria()
    return [factories.make_user("instructor", password=PASSWORD) for _ in range(3)]


def make_board(**fields):
    exercise = factories.make_exercise(stages=("formed", "soldered"), **fields)
    return factories.make_board(exercise=exercise)


def page(client, user, board, name="board_result"):
    client.force_login(user)
    response = client.get(reverse(f"assessments:{name}", args=[board.number]))
    assert response.status_code == 200
    return re.sub(r"\s+", " ", response.text)


def send_back(board, grader, name="E01", code="S-1"):
    rework.send_back(
        board=fresh(board), joint=joint(board, name), codes=[code], actor=grader, at=NOW
    )


@pytest.fixture
def reworked(graders):
    """A board of which one joint was sent back and not inspected again yet."""
    board = make_board(rework_allowed=1)
    read(board, graders[0], ("E01", "S-1"))
    send_back(board, graders[0])
    return board


def test_what_to_do_better_comes_before_the_signatures(client, graders):
    board = make_board()
    read(board, graders[0], ("E01", "S-1"))
    told = page(client, graders[0], board)
    assert told.index('id="h-rules"') < told.index('id="h-faults"') < told.index('id="h-signed"')


def test_each_signature_says_of_which_reading_and_which_joints_it_is(client, graders, reworked):
    read(reworked, graders[0])
    told = page(client, graders[0], reworked)
    assert told.count("<li><b>Formed</b>, grading<p>") == 1
    assert told.count("<li><b>Soldered</b>, grading<p>") == 1
    again = "inspection of reworked joints: E01, rework 1"
    assert told.count(f"<li><b>Formed</b>, {again}<p>") == 1
    assert told.count(f"<li><b>Soldered</b>, {again}<p>") == 1
    sheet = page(client, graders[0], reworked, "board_sheet")
    assert sheet.count("<dt>Reading</dt><dd>Grading</dd>") == 2
    assert sheet.count("<dt>Reading</dt><dd>Inspection of reworked joints: E01, rework 1</dd>") == 2


def test_a_corrected_reading_is_called_so(client, graders):
    board = make_board()
    first = read(board, graders[0], ("E01", "S-1"))
    correction = services.correct_grading(
        grading=Grading.objects.get(pk=first.pk), grader=graders[0], reason="Blurred.", at=NOW
    )
    sign(correction, ["soldered"])
    told = page(client, graders[0], board)
    assert "<li><b>Formed</b>, grading<p>" in told
    assert "<li><b>Soldered</b>, grading, corrected<p>" in told


def test_no_two_ways_to_correct_have_one_name(client, graders, reworked):
    read(reworked, graders[0])
    told = page(client, graders[0], reworked)
    links = re.findall(r'<a class="btn" href="[^"]*/correct/[^"]*">([^<]*)</a>', told)
    assert len(links) == len(set(links)) == 2
    who = str(graders[0])
    assert f"Correct what {who} signed: grading; formed, soldered" in links


def test_of_what_was_sent_back_the_signatures_are_counted_apart(client, graders, reworked):
    told = page(client, graders[0], reworked)
    assert '<th scope="row">Every stage signed</th><td class="num">2</td>' in told
    again = "Every stage signed for what was made again: E01, rework 1"
    assert f'<th scope="row">{again}</th><td class="num">0</td><td class="num">2</td>' in told
    sheet = page(client, graders[0], reworked, "board_sheet")
    assert f'<th scope="row">{again}</th><td class="num">0</td>' in sheet
    grading = begin(reworked, graders[0])
    judge(grading)
    sign(grading, ["formed"])
    told = page(client, graders[0], reworked)
    assert f'<th scope="row">{again}</th><td class="num">1</td><td class="num">2</td>' in told
    sign(grading, ["soldered"])
    assert outcome_of(reworked)[0]
    assert "made again:" not in page(client, graders[0], reworked)


def test_a_joint_judged_in_hand_shows_the_photographs_there_are_of_it(client, graders, files):
    board = make_board()
    before = factories.make_photo(board, joint(board, "E01"), stage="soldered")
    other = factories.make_photo(board, joint(board, "E02"), stage="soldered")
    read(board, graders[0], ("E01", "S-1"), ("E01", "F-1"), ("E03", "S-1"), ("board", "S-9"))
    told = page(client, graders[0], board)
    fault = told[told.index('<article class="fault" id="E01"') :].split("</article>")[0]
    assert fault.count(f"/photos/{before.key}/") == 2
    assert 'alt="Photograph of joint E01, soldered"' in fault
    assert other.key not in fault
    assert IN_HAND not in fault
    bare = told[told.index('<article class="fault" id="E03"') :].split("</article>")[0]
    assert IN_HAND in bare
    assert "/photos/" not in bare
    whole = told[told.index('<article class="fault" id="whole-board"') :].split("</article>")[0]
    assert IN_HAND in whole


def test_a_photograph_that_a_judgement_names_is_shown_once(client, graders, files):
    board = make_board()
    photo = factories.make_photo(board, joint(board, "E01"), stage="soldered")
    grading = begin(board, graders[0])
    judge(grading, [("E01", "S-1"), ("E01", "F-1")])
    grading.judgements.filter(joint__position__name="E01", criterion__code="S-1").update(
        how="photograph", photo=photo
    )
    sign(grading)
    told = page(client, graders[0], board)
    fault = told[told.index('<article class="fault" id="E01"') :].split("</article>")[0]
    assert fault.count(f"/photos/{photo.key}/") == 2  # The picture and the way to it.
    assert IN_HAND not in fault


def test_whoever_decides_sees_the_photographs_of_what_was_judged_in_hand(client, graders, files):
    board = make_board(graders=2)
    photo = factories.make_photo(board, joint(board, "E01"), stage="soldered")
    read(board, graders[0], ("E01", "S-1"), ("E02", "S-1"))
    read(board, graders[1])
    told = page(client, graders[2], board, "board_decide")
    with_photo, without = told.split('<section class="differs"')[1:]
    assert photo.key in with_photo
    assert IN_HAND not in with_photo
    assert photo.key not in without
    assert IN_HAND in without

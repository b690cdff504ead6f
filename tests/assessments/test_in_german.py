"""Results, rework, decisions and another reading speak to whoever reads them."""

import io
import re

import pytest
from django.urls import reverse
from django.utils.html import strip_tags
from pypdf import PdfReader

from assessments import ports
from assessments.models import Joint
from assessments.services import grading as services
from records.models import TrailPayload
from tests import factories
from tests.assessments.several import fresh, joint, make_criteria, read
from tests.factories import NOW, PASSWORD, make_person, make_user
from tests.signing import send_as_shown

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("everybody_has_standing")]

ENGLISH = re.compile(
    r"\b(the|your|you|is|are|with|and|not|this|that|by|it|of|to|yes|no|joints?|board|make|"
    r"critical|minor|major|score|signed|grader|grading|judged|reading|formed|soldered|counts?)\b",
    re.IGNORECASE,
)
WRITTEN = re.compile(
    r"judged this stage against the criteria|decided where two graders differ"
    r"|\bTitle \d|\bDo\b|\bNot\b|\bWorkmanship\b",
    re.IGNORECASE,
)


@pytest.fixture
def criteria():
    return make_criteria()


@pytest.fixture
def graders(criteria):
    return [
        make_user("instructor", person=make_person(language="de"), password=PASSWORD)
        for _ in range(3)
    ]


@pytest.fixture
def board(criteria):
    return make_board()


@pytest.fixture
def trainee(board):
    type(board.person).objects.filter(pk=board.person_id).update(language="de")
    return make_user(person=type(board.person).objects.get(pk=board.person_id), password=PASSWORD)


def make_board(graders=1):
    exercise = factories.make_exercise(
        stages=("formed", "soldered"), graders=graders, rework_allowed=1
    )
    return factories.make_board(exercise=exercise)


def at(name, board, *more):
    return reverse(f"assessments:{name}", args=[board.number, *more])


def said(response, status=200):
    """What a page says, once it is sure that it says it in German.

    What people signed and wrote stands as they wrote it: exercises, criteria, meanings.
    """
    assert response.status_code == status
    assert '<html lang="de">' in response.text
    assert response["Content-Language"] == "de"
    main = response.text.partition("<main")[2].partition(">")[2].partition("</main>")[0]
    shown = re.sub(r"<template.*?</template>", " ", main, flags=re.DOTALL)
    labels = " ".join(re.findall(r'(?:aria-label|alt|title)="([^"]*)"', shown))
    words = " ".join((strip_tags(shown.replace("<", " <")) + " " + labels).split())
    own = WRITTEN.sub("", words)
    assert ENGLISH.findall(own) == [], own
    return words


def test_result_speaks_to_trainee_and_grader(client, board, trainee, graders):
    read(board, graders[0], ("E02", "S-1"), ("board", "S-9"))
    client.force_login(trainee)
    words = said(client.get(at("board_result", board)))
    assert "Regel für Regel" in words
    assert "kritisch, 40 Minuspunkte" in words
    assert "Die ganze Platine" in words
    assert "Wurde falsch geurteilt?" in words
    client.force_login(graders[0])
    assert "E02 zurückgeben" in said(client.get(at("board_result", board)))


def test_result_speaks_english_to_whoever_reads_english(client, board, graders):
    read(board, graders[0])
    client.force_login(make_user("quality"))
    page = client.get(at("board_result", board))
    assert '<html lang="en">' in page.text
    assert "Rule by rule" in page.text


def test_result_sheet_is_german_as_a_page_and_as_a_pdf(client, board, trainee, graders):
    read(board, graders[0], ("E02", "S-1"))
    client.force_login(trainee)
    words = said(client.get(at("board_sheet", board)))
    assert "Warum es nicht genügt:" in words
    assert "Ausgewiesen durch Passwort" in words
    answer = client.get(at("board_sheet_pdf", board))
    pdf = PdfReader(io.BytesIO(answer.content))
    assert pdf.trailer["/Root"]["/Lang"] == "de"
    told = " ".join(" ".join(page.extract_text() for page in pdf.pages).split())
    assert ENGLISH.findall(WRITTEN.sub("", told)) == [], told
    assert f"Ergebnisblatt, Platine {board.number}" in told


def test_rework_is_sent_back_and_shown_in_german(client, board, trainee, graders):
    read(board, graders[0], ("E02", "S-1"))
    back = at("joint_rework", board, joint(board, "E02").pk)
    client.force_login(graders[0])
    assert "Zurückgegeben wegen" in said(client.get(back))
    assert "Wählen Sie, weswegen" in said(client.post(back, {"codes": []}), 422)
    done = client.post(back, {"codes": ["S-1"], "reason": ""}, follow=True)
    assert "E02 ist zurückgegeben" in said(done)
    again = client.get(back, follow=True)
    assert "schon zurückgegeben" in said(again)
    assert "Nacharbeit 1" in said(client.get(at("board_result", board)))
    assert Joint.objects.filter(make=2).count() == 1


def test_decision_between_two_is_asked_for_in_german(client, criteria, graders):
    board = make_board(graders=2)
    read(board, graders[0], ("E02", "S-1"))
    read(board, graders[1])
    client.force_login(graders[2])
    decide = at("board_decide", board)
    words = said(client.get(decide))
    assert "Die eine Beurteilung" in words
    assert "nach Augenschein, Platine in der Hand" in words
    refused = send_as_shown(client, decide, {"password": "x"})
    assert "Entscheiden Sie auch hierüber" in said(refused, 422)
    [name] = re.findall(r'name="(p[^"]*)-outcome"', client.get(decide).text)[:1]
    data = {f"{name}-outcome": "accept", f"{name}-how": "at_board", "password": "x"}
    assert "Das ist nicht Ihr Passwort" in said(send_as_shown(client, decide, data), 422)
    done = send_as_shown(client, decide, data | {"password": PASSWORD}, follow=True)
    assert "1 Urteil war verschieden" in said(done)


def test_another_reading_is_asked_for_in_german_and_kept_in_the_sites_language(
    client, board, trainee, graders, monkeypatch
):
    read(board, graders[0], ("E02", "S-1"))
    resting = ports._rests_on
    monkeypatch.setattr(ports, "_rests_on", lambda board: [str(_word())])
    client.force_login(trainee)
    words = said(client.get(at("another_reading", board)))
    assert "Auf dieser Platine beruht: ja." in words
    asked = {"reason": "E02 ist rundum benetzt."}
    client.post(at("another_reading", board), asked, follow=True)
    kept = TrailPayload.objects.get(entry__act="another reading asked for").body
    assert '"yes"' in kept
    assert '"ja"' not in kept
    monkeypatch.setattr(ports, "_rests_on", resting)
    read(board, graders[1])
    assert "Nochmals beurteilt von" in said(client.get(at("board_result", board)))


def _word():
    from django.utils.translation import gettext

    return gettext("yes")


def test_correction_is_begun_in_german(client, board, graders):
    grading = read(board, graders[0])
    client.force_login(graders[0])
    assert "Berichtigung beginnen" in said(client.get(at("grading_correct", board, grading.pk)))
    services.correct_grading(grading=grading, grader=graders[0], reason="Fehler", at=NOW)
    assert "hat eine Berichtigung begonnen" in said(client.get(at("board_result", board)))


def test_what_stands_beside_a_joint_is_german_as_a_page_and_as_a_part(client, board, graders):
    read(board, graders[0])
    later = factories.make_board(board.person, board.exercise)
    client.force_login(graders[0])
    address = at("board_comparison", later) + "?stage=soldered&joint=E01&criterion=S-1"
    assert "Frühere Platine" in said(client.get(address))
    part = client.get(address, headers={"HX-Request": "true"})
    assert "Frühere Platine" in part.text
    assert fresh(later).number == later.number

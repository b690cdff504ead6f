"""Names on labels and result sheets, in every script, and where there is no face."""

import pytest
from django.urls import reverse

from assessments.models import Board
from assessments.presenters.result_pdf import result_pdf
from assessments.presenters.result_sheet import result_sheet
from tests import factories
from tests.factories import NOW, make_person, make_user
from tests.paper import NAMES, glyphs_drawn, letters, pages_of, says

pytestmark = pytest.mark.django_db

LABELS, PAPER = reverse("assessments:board_labels"), reverse("assessments:board_labels_pdf")


@pytest.fixture
def boards():
    return [
        factories.make_board(make_person(full_name=name, employee_number=f"N-{place}"))
        for place, name in enumerate(NAMES.values())
    ]


def asked(boards):
    return {"number": [board.number for board in boards]}


@pytest.mark.usefixtures("faces")
def test_labels_name_everybody_in_real_glyphs_on_one_sheet_of_24(client, boards):
    client.force_login(make_user("instructor"))
    page = client.get(LABELS, asked(boards)).content.decode()
    assert "Not everything can be printed here" not in page
    assert f'href="{PAPER}?' in page

    pdf = client.get(PAPER, asked(boards)).content

    assert len(pages_of(pdf)) == 1
    for board in boards:
        assert says(pdf, board.person.full_name), board.person.full_name
        assert board.number in pages_of(pdf)[0]
    assert [glyph for glyph in glyphs_drawn(pdf) if glyph[2]] == []
    assert len(pages_of(client.get(PAPER, asked(boards * 3)).content)) == 1  # Each once.


def test_label_shows_the_number_and_a_notice_where_no_face_has_the_name(client, boards, without):
    without("Devanagari")
    client.force_login(make_user("instructor"))

    page = client.get(LABELS, asked(boards)).content.decode()
    pdf = client.get(PAPER, asked(boards)).content

    assert "Not everything can be printed here" in page
    assert "fonts-noto-core" in page
    text = pages_of(pdf)[0]
    number = f"N-{list(NAMES).index('devanagari')}"
    assert f"{number} [name in Devanagari letters: no font here]" in text
    assert not any(letter in text for letter in letters(NAMES["devanagari"]))
    assert [glyph for glyph in glyphs_drawn(pdf) if glyph[2]] == []


def test_labels_of_a_board_that_may_not_be_seen_are_not_there(client, boards):
    client.force_login(make_user("operator"))
    assert client.get(PAPER, asked(boards)).status_code == 404
    assert client.get(PAPER).status_code == 404


@pytest.mark.parametrize("script", NAMES)
@pytest.mark.usefixtures("faces")
def test_sheet_names_its_maker_in_real_glyphs(script):
    sheet = sheet_of(NAMES[script])

    pdf = result_pdf(sheet)

    assert says(pdf, NAMES[script])
    assert [glyph for glyph in glyphs_drawn(pdf) if glyph[2]] == []


def test_sheet_shows_number_and_notice_and_its_page_says_so_before(client, without):
    without("Arabic")
    sheet = sheet_of(NAMES["arabic"])
    client.force_login(make_user("instructor"))

    page = client.get(reverse("assessments:board_sheet", args=[sheet.board.number]))
    pdf = result_pdf(sheet)

    assert "Not everything can be printed here" in page.content.decode()
    text = " ".join(pages_of(pdf))
    assert "Operator [Arabic letters: no font here] 10482" in text
    assert "[Arabic letters: no font here] (10482)" in text  # At the head of every page.
    assert "[Arabic letters: no font here] (20001)" in text
    assert [glyph for glyph in glyphs_drawn(pdf) if glyph[2]] == []


def sheet_of(name):
    person = make_person(full_name=name, employee_number="10482")
    grader = make_person(full_name=name, employee_number="20001")
    board = factories.make_passed_board(
        person, factories.make_exercise(), grader=make_user("instructor", person=grader)
    )
    return result_sheet(Board.objects.get(pk=board.pk), user=make_user("quality"), at=NOW)

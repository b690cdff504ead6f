"""Names on the card and on the list for the wall, in every script, and where there is no face."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils.html import escape

from certification.presenters.wallet_card import wallet_card
from tests.factories import NOW, make_certificate, make_person, make_scope, make_site, make_user
from tests.paper import NAMES, glyphs_drawn, letters, pages_of, says

pytestmark = pytest.mark.django_db

LIST, PAPER = reverse("certification:wall_list"), reverse("certification:wall_list_pdf")


def certified(name, number="10482", *, ago=1):
    person = make_person(full_name=name, employee_number=number)
    scope = make_scope(title="Terminals, operator")
    return make_certificate(person, scope, issued_on=make_site().today() - timedelta(ago))


@pytest.mark.parametrize("script", NAMES)
@pytest.mark.usefixtures("faces")
def test_card_names_its_holder_in_real_glyphs(script):
    name = NAMES[script]
    pdf = wallet_card(make_certificate(make_person(full_name=name), make_scope()), at=NOW)

    assert says(pdf, name)
    assert [glyph for glyph in glyphs_drawn(pdf) if glyph[2]] == []
    assert len(pages_of(pdf)) == 2


def test_card_shows_the_number_and_a_notice_where_no_face_has_the_name(without):
    without("Thai")
    certificate = make_certificate(
        make_person(full_name=NAMES["thai"], employee_number="10482"), make_scope()
    )

    pdf = wallet_card(certificate, at=NOW)

    front = pages_of(pdf)[0]
    assert "[name in Thai letters: no font here] 10482" in front
    assert not any(letter in front for letter in letters(NAMES["thai"]))
    assert [glyph for glyph in glyphs_drawn(pdf) if glyph[2]] == []


def test_page_of_a_certificate_says_so_before_its_card_is_printed(client, without):
    certificate = certified(NAMES["thai"])
    page = reverse("certification:certificate_detail", args=[certificate.number])
    client.force_login(make_user("quality"))
    assert "Not everything can be printed here" not in client.get(page).content.decode()
    without("Thai")

    said = client.get(page).content.decode()

    assert "Not everything can be printed here" in said
    assert f"<bdi>{NAMES['thai']}</bdi>" in said
    assert "fonts-noto-core" in said


@pytest.fixture
def line():
    """Somebody of every script, all certified at one site."""
    scope = make_scope(title="Terminals, operator")
    today = make_site().today()
    for place, name in enumerate(NAMES.values()):
        person = make_person(full_name=name, employee_number=f"N-{place}")
        make_certificate(person, scope, issued_on=today - timedelta(1))


@pytest.mark.usefixtures("faces", "line")
def test_list_for_the_wall_names_everybody_in_real_glyphs(client):
    client.force_login(make_user("quality"))
    assert "Not everything can be printed here" not in client.get(LIST).content.decode()

    response = client.get(PAPER)

    assert response["Content-Type"] == "application/pdf"
    for name in NAMES.values():
        assert says(response.content, name), name
    assert [glyph for glyph in glyphs_drawn(response.content) if glyph[2]] == []
    assert "Valid only on the day it was printed." in " ".join(pages_of(response.content))


@pytest.mark.usefixtures("line")
def test_list_for_the_wall_says_whose_name_it_cannot_print(client, without):
    without("CJK")
    client.force_login(make_user("quality"))

    said = client.get(LIST).content.decode()
    text = " ".join(pages_of(client.get(PAPER).content))

    assert "Not everything can be printed here" in said
    assert escape(NAMES["korean"]) in said
    assert "fonts-noto-cjk" in said
    for script in ("chinese", "japanese", "korean"):
        number = f"N-{list(NAMES).index(script)}"
        assert f"[name in Chinese, Japanese, Korean letters: no font here] {number}" in text


def test_list_of_a_line_is_headed_by_its_lead_and_holds_nobody_else(client):
    lead = make_person(full_name="Lia Lead", employee_number="L-1")
    scope = make_scope(title="Terminals, operator")
    day = make_site().today() - timedelta(1)
    make_certificate(make_person(full_name="Ann Mine", line_lead=lead), scope, issued_on=day)
    make_certificate(make_person(full_name="Ben Other"), scope, issued_on=day)
    client.force_login(make_user("line_lead", person=lead))

    text = " ".join(pages_of(client.get(PAPER, {"lead": "L-1"}).content))

    assert "Lia Lead (L-1)" in text
    assert "Ann Mine" in text
    assert "Ben Other" not in text

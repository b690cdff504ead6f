"""Names on the list of those whom no mail reaches, in every script, and where there is no face."""

import pytest
from django.urls import reverse

from people.models import Person
from tests.factories import make_user
from tests.paper import NAMES, glyphs_drawn, pages_of, says
from tests.reminders.reminder_scenes import ends_in, somebody, sweep

pytestmark = pytest.mark.django_db

PAGE = reverse("reminders:reminders_printed_list")
PAPER = reverse("reminders:reminders_printed_list_pdf")


@pytest.fixture
def listed(client):
    for name in NAMES.values():
        ends_in(7, somebody(name, email=""))
    sweep()
    client.force_login(make_user("instructor", site=Person.objects.first().site))


@pytest.mark.usefixtures("faces", "listed")
def test_printed_list_names_everybody_in_real_glyphs(client):
    assert "Not everything can be printed here" not in client.get(PAGE).content.decode()

    pdf = client.get(PAPER).content

    for name in NAMES.values():
        assert says(pdf, name), name
    assert [glyph for glyph in glyphs_drawn(pdf) if glyph[2]] == []
    assert "No line lead with an address: tell them yourself." in " ".join(pages_of(pdf))


@pytest.mark.usefixtures("listed")
def test_printed_list_says_whose_name_it_cannot_print(client, without):
    without("Thai")
    number = Person.objects.get(full_name=NAMES["thai"]).employee_number

    page = client.get(PAGE).content.decode()
    pdf = client.get(PAPER).content

    assert "Not everything can be printed here" in page
    text = " ".join(pages_of(pdf))
    assert f"[name in Thai letters: no font here] {number}" in text
    assert [glyph for glyph in glyphs_drawn(pdf) if glyph[2]] == []

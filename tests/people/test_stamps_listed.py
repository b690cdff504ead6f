"""A site's stamps: each mark once, with whoever holds it, and the free ones to issue in place."""

from datetime import date

import pytest
from django.urls import reverse

from people.models import Stamp
from tests.factories import NOW, make_person, make_site, make_user

pytestmark = pytest.mark.django_db

LIST = reverse("people:stamp_list")


def issued(person, mark, day, returned=None):
    return Stamp.objects.create(
        mark=mark, person=person, issued_on=day, returned_on=returned, recorded_at=NOW
    )


@pytest.fixture
def holder(client):
    site = make_site()
    client.force_login(make_user("quality", site=site))
    holder = make_person(site, full_name="Holds One")
    before = make_person(site, full_name="Held Before")
    issued(before, "A1", date(2026, 1, 1), date(2026, 2, 1))
    issued(holder, "A1", date(2026, 2, 2))
    issued(before, "B2", date(2026, 1, 1), date(2026, 3, 1))
    # With a sign that no token of a form has in it.
    issued(make_person(make_site("Elsewhere", "EL")), "E-9", date(2026, 1, 1))
    return holder


def test_each_mark_is_listed_once_with_its_holder(client, holder):
    page = client.get(LIST).content.decode()
    assert page.count(">A1</th>") == page.count(">B2</th>") == 1
    assert "Holds One" in page
    assert "last Held Before" in " ".join(page.split())
    assert "E-9" not in page
    free = client.get(LIST, {"free": "1"}).content.decode()
    assert ">A1</th>" not in free
    assert ">B2</th>" in free


def test_a_free_stamp_is_issued_in_place_and_a_held_one_is_not(client, holder):
    sent = {"person": holder.employee_number, "issued_on": "2026-03-02"}
    refused = client.post(LIST, sent | {"mark": "A1"})
    assert refused.status_code == 422
    assert "take it back first" in refused.content.decode()
    assert client.post(LIST, sent | {"mark": "B2"}).url == LIST
    assert Stamp.objects.get(mark="B2", returned_on=None).person == holder
    stranger = make_person(make_site("Elsewhere", "EL"))
    sent["person"] = stranger.employee_number
    assert client.post(LIST, sent | {"mark": "C3"}).status_code == 422

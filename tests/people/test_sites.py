"""Administrators add sites and set them up; the prefix of a site's numbers stays."""

from datetime import time

import pytest
from django.forms.models import model_to_dict
from django.urls import reverse

from people.models import Site
from records.models import TrailEntry
from tests.factories import make_site, make_user

pytestmark = pytest.mark.django_db

LIST = reverse("people:site_list")
NEW = reverse("people:site_new")
EDIT = reverse("people:site_edit", args=["CA"])

ALL = {
    "name": "Castelmar",
    "time_zone": "Europe/Madrid",
    "address": "",
    "contact": "",
    "working_days": ["1", "2", "3", "4", "5"],
    "work_starts": "07:00",
    "work_ends": "16:00",
    "send_hour": "6",
    "proposal_days": "5",
    "lock_minutes": "5",
    "reminders_start_on": "",
    "trail_head_to": "",
}


@pytest.fixture
def administrator(client):
    user = make_user("administrator")
    client.force_login(user)
    return user


def test_a_site_is_added_and_administered_by_whoever_adds_it(client, administrator):
    answer = client.post(
        NEW, {**ALL, "name": "Aldergate", "number_prefix": "AL", "time_zone": "Europe/London"}
    )

    assert answer.url == LIST
    site = Site.objects.get(prefix="AL")
    assert site.working_days == [1, 2, 3, 4, 5]
    assert "Aldergate" in client.get(LIST).content.decode()
    assert TrailEntry.objects.get().act == "site added"


def test_a_site_names_who_keeps_the_end_of_the_records(client, administrator):
    client.post(EDIT, {**ALL, "trail_head_to": "notary@example.org; a@example.org,\na@example.org"})

    assert Site.objects.get().trail_head_to == ["notary@example.org", "a@example.org"]
    assert '"after":{"trail_head_to":["notary@example.org","a@example.org"]}' in (
        TrailEntry.objects.get().payload.body
    )
    assert 'value="notary@example.org, a@example.org"' in client.get(EDIT).content.decode()
    client.post(EDIT, ALL)
    assert Site.objects.get().trail_head_to == []


def test_a_site_asks_that_two_people_confirm_criteria(client, administrator):
    client.post(EDIT, {**ALL, "criteria_by_two": "on"})

    assert Site.objects.get().criteria_by_two
    assert '"after":{"criteria_by_two":true}' in TrailEntry.objects.get().payload.body
    page = client.get(EDIT).content.decode()
    assert "checked" in page.split('name="criteria_by_two"')[1].split(">")[0]


@pytest.mark.parametrize("written", ["notary", "notary@example.org, auditor@"])
def test_what_is_no_address_is_refused(client, administrator, written):
    answer = client.post(EDIT, {**ALL, "trail_head_to": written})

    assert answer.status_code == 422
    wrong = written.split(", ")[-1]
    assert f"{wrong} is not an e-mail address." in answer.content.decode()
    assert Site.objects.get().trail_head_to == []
    assert not TrailEntry.objects.exists()


def test_a_site_is_set_up(client, administrator):
    assert 'value="07:00"' in client.get(EDIT).content.decode()

    client.post(
        EDIT,
        {
            **ALL,
            "working_days": ["2", "6"],
            "work_starts": "06:30",
            "send_hour": "5",
            "number_prefix": "ZZ",
        },
    )

    site = Site.objects.get()
    assert (site.working_days, site.work_starts, site.send_hour) == ([2, 6], time(6, 30), 5)
    assert site.prefix == "CA"
    assert '"before":{"send_hour":6,"work_starts":"07:00:00"' in (
        TrailEntry.objects.get().payload.body
    )


def test_what_stays_as_it_was_leaves_no_entry(client, administrator):
    client.post(EDIT, ALL)

    assert not TrailEntry.objects.exists()


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"working_days": []}, "This field is required"),
        ({"working_days": ["8"]}, "Select a valid choice"),
        ({"work_ends": "06:00"}, "Work ends before it starts"),
        ({"work_ends": "late"}, "Enter a valid time"),
        ({"time_zone": "Madrid"}, "Select a valid choice"),
        ({"lock_minutes": "0"}, "greater than or equal to 1"),
        ({"lock_minutes": "121"}, "less than or equal to 120"),
        ({"send_hour": "24"}, "Select a valid choice"),
        ({"name": "aldergate"}, "There is a site aldergate already"),
    ],
    ids=[
        "no day",
        "no such day",
        "ends first",
        "no time",
        "no zone",
        "at once",
        "never",
        "no hour",
        "taken",
    ],
)
def test_what_cannot_be_is_said_and_nothing_changed(client, administrator, fields, message):
    make_site("Aldergate", "AL", time_zone="Europe/London")
    before = model_to_dict(Site.objects.get(prefix="CA"))

    answer = client.post(EDIT, {**ALL, **fields})

    assert answer.status_code == 422
    assert message in answer.content.decode()
    assert model_to_dict(Site.objects.get(prefix="CA")) == before
    assert not TrailEntry.objects.exists()


@pytest.mark.parametrize(
    ("prefix", "message"),
    [
        ("CA", "begins the numbers of another site"),
        ("ca", "One to four"),
        ("LONGER", "One to four"),
    ],
)
def test_a_prefix_is_capitals_and_of_one_site(client, administrator, prefix, message):
    answer = client.post(NEW, {**ALL, "name": "Aldergate", "number_prefix": prefix})

    assert answer.status_code == 422
    assert message in answer.content.decode()
    assert Site.objects.count() == 1


@pytest.mark.parametrize("role", ["instructor", "quality", "line_lead", None])
def test_sites_are_for_administrators(client, role):
    client.force_login(make_user(*([role] if role else [])))

    make_site()

    assert {client.get(url).status_code for url in (LIST, NEW)} == {403}
    assert client.get(EDIT).status_code == 404


def test_a_site_of_other_administrators_is_unknown(client, administrator):
    make_site("Aldergate", "AL", time_zone="Europe/London")

    assert "Aldergate" not in client.get(LIST).content.decode()
    assert client.get(reverse("people:site_edit", args=["AL"])).status_code == 404
    assert client.get(reverse("people:site_edit", args=["XX"])).status_code == 404


def test_whoever_is_not_signed_in_is_asked_to(client):
    make_site()
    for url in (LIST, NEW, EDIT):
        assert client.get(url).url == f"{reverse('account_login')}?next={url}"


def test_the_list_takes_no_post(client, administrator):
    assert client.post(LIST).status_code == 405

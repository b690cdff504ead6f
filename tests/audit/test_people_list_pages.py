"""The pages of a list of people: each step, Back, twice pressed, and what nobody should type."""

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone

from audit.models import PeopleList
from audit.services import people_lists
from people.models import Person, Role, User
from tests.factories import PASSWORD, make_person, make_revision, make_scope, make_site, make_user

pytestmark = pytest.mark.django_db

PASTED = (
    "Nr\tName\tStart date\tScope\tCert. No.\tIssued\n"
    "00471\tByrne, Ada\t3/4/2026\tterm op\tX-1\t2026-03-01\n"
    "00472\tLind, Bo\t3.4.26\t\t\t\n"
)


@pytest.fixture
def both(client):
    make_revision(make_scope(code="TERM-OP"), name="HS rev. 1", vision_months=24)
    user = make_user(Role.ADMINISTRATOR, Role.QUALITY, site=make_site(), password=PASSWORD)
    client.force_login(user)
    return user


def address(name, kept):
    return reverse(f"audit:{name}", args=[kept.pk])


def bring(client, text=PASTED):
    response = client.post(reverse("audit:people_list_new"), {"pasted": text})
    kept = PeopleList.objects.first()
    assert response.url == address("people_list_columns", kept)
    return kept


def columns(kept):
    return {f"column-{place}": name for place, name in enumerate(kept.columns)}


def digest(response):
    return re.search(r'name="shown"\s+value="(\w+)"', response.text)[1]


def test_from_pasted_rows_to_people_who_can_sign_in_and_back(client, both):
    kept = bring(client)
    page = client.get(address("people_list_columns", kept)).text
    assert "Byrne, Ada" in page
    client.post(address("people_list_columns", kept), columns(kept))

    page = client.get(address("people_list", kept)).text
    for asked in (
        "Which number is the day?",
        "turn them round: Ada Byrne",
        "“term op”",
        "two digits",
    ):
        assert asked in page
    assert "Take the list in" not in page
    [value] = re.findall(r'name="(value-\w+)"', page)
    answered = {
        "day_form": "day_first",
        "turn_names": "yes",
        "recorded": "now",
        "all-scheme": "HS rev. 1",
        value: "to:TERM-OP",
        "cell-3-2": "3.4.2026",
    }
    client.post(address("people_list_answers", kept), answered)

    response = client.get(address("people_list", kept))
    assert "no vision test" in response.text
    act = {"shown": digest(response), "sign_ins": "on"}
    done = client.post(address("people_list_take_in", kept), act, follow=True)
    assert "The list is taken in." in done.text
    again = client.post(address("people_list_take_in", kept), act, follow=True)
    assert "done once, and not again" in again.text
    ada = Person.objects.get(employee_number="00471")
    assert (ada.full_name, str(ada.started_on), ada.certificates.get().number) == (
        "Ada Byrne",
        "2026-04-03",
        "X-1",
    )
    assert User.objects.filter(person=ada).exists()

    undo = client.get(address("people_list_undo", kept))
    given = {"shown": digest(undo), "reason": "The wrong list."}
    wrong = client.post(address("people_list_undo", kept), {**given, "password": "x"})
    assert wrong.status_code == 422
    client.post(address("people_list_undo", kept), {**given, "password": PASSWORD})
    ada.refresh_from_db()
    assert ada.left_on is not None


def test_upload_is_read_and_one_of_the_two_is_wanted(client, both):
    url = reverse("audit:people_list_new")
    file = SimpleUploadedFile("list.csv", "Nr;Name\n7;Zoë\n".encode("cp1252"))
    response = client.post(url, {"file": file}, follow=True)
    assert "Windows-1252" in response.text
    assert "Zoë" in response.text
    assert client.post(url, {}).status_code == 422
    file.seek(0)
    assert client.post(url, {"file": file, "pasted": "x"}).status_code == 422
    assert client.post(url, {"pasted": "Nr\tName"}).status_code == 422


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"column-0": ""}, "which column holds the employee number"),
        ({"column-1": "employee_number"}, "Two columns are taken"),
        ({"column-2": "family_name"}, "not both"),
        ({"column-2": "no_such"}, "no_such"),
    ],
)
def test_columns_that_cannot_be_are_refused(client, both, changed, sentence):
    kept = bring(client)
    response = client.post(address("people_list_columns", kept), columns(kept) | changed)
    assert response.status_code == 422
    assert sentence in response.text


def test_columns_chosen_anew_ask_anew(client, both):
    kept = bring(client)
    people_lists.answer(people_list=kept, answers={"day_form": "month_first"})
    client.post(address("people_list_columns", kept), columns(kept))
    assert "Which number is the day?" in client.get(address("people_list", kept)).text


def test_open_question_is_told_and_what_was_said_beside_it_is_kept(client, both):
    kept = bring(client, "Nr\tName\tStart date\n7\tByrne, Ada\t3/4/2026\n")
    said = client.post(address("people_list_answers", kept), {"turn_names": "no"})
    assert said.status_code == 422
    kept.refresh_from_db()
    assert kept.answers["turn_names"] is False
    unsaid = {"recorded": "day", "day_form": "neither"}
    assert client.post(address("people_list_answers", kept), unsaid).status_code == 422


def test_rows_are_left_out_and_brought_back(client, both):
    kept = bring(client, "Nr\tName\tStart date\n7\tAda\tsoon\n8\tBo\t\n")
    client.post(address("people_list_answers", kept), {"all_faulty": "1"})
    page = client.get(address("people_list", kept)).text
    assert "Line 2 is left out." in page
    assert "Take the list in" in page
    client.post(address("people_list_answers", kept), {"bring_back": "2"})
    assert "is not a day" in client.get(address("people_list", kept)).text


def test_page_from_before_is_shown_again(client, both):
    kept = bring(client, "Nr\tName\n7\tAda\n")
    shown = digest(client.get(address("people_list", kept)))
    make_person(employee_number="7", full_name="Eve")
    response = client.post(address("people_list_take_in", kept), {"shown": shown}, follow=True)
    assert "has changed since you were shown it" in response.text
    assert "Eve" in response.text
    for nonsense in ({}, {"shown": "x" * 5000}):
        response = client.post(address("people_list_take_in", kept), nonsense, follow=True)
        assert not PeopleList.objects.get().taken_in_at


def test_who_only_administers_sees_no_standing(client, both):
    administrator = make_user(Role.ADMINISTRATOR, site=make_site())
    client.force_login(administrator)
    kept = bring(client)
    page = client.get(address("people_list", kept)).text
    assert "Would stand today" not in page
    assert "Certificate number" not in client.get(address("people_list_columns", kept)).text


def test_list_that_is_over_is_not_there_and_one_is_thrown_away(client, both):
    kept = bring(client, "Nr\tName\n7\tAda\n")
    PeopleList.objects.update(expires_at=timezone.now())
    assert client.get(address("people_list", kept)).status_code == 404
    kept = bring(client, "Nr\tName\n7\tAda\n")
    client.post(address("people_list_throw_away", kept))
    assert not PeopleList.objects.exists()


def test_what_nobody_types_is_no_error_of_ours(client, both):
    kept = bring(client)
    for data in (
        {"cell-99999999999999999999-1": "x"},
        {"cell-2-99": "x" * 100_000},
        {"leave_out": "9" * 5000, "bring_back": "-1"},
        {"recorded": "day", "recorded_on": "9" * 5000},
        {"all-scheme": "x" * 5000, "day_form": "\u202e"},
    ):
        assert client.post(address("people_list_answers", kept), data).status_code in (302, 422)
    kept.refresh_from_db()
    assert kept.left_out == []

"""The find field: one hit is opened at once, several are listed, nothing says what to try."""

from datetime import timedelta

import pytest
from django.urls import reverse

from people.models import FormerEmployeeNumber, Stamp
from tests.factories import (
    TODAY,
    make_board,
    make_certificate,
    make_person,
    make_site,
    make_user,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def quality(client):
    person = make_person(full_name="Quality", employee_number="Q1")
    client.force_login(make_user("quality", person=person))


@pytest.fixture
def amaranta():
    person = make_person(full_name="Amaranta Kowal", employee_number="77701")
    FormerEmployeeNumber.objects.create(person=person, employee_number="OLD-7", until_on=TODAY)
    Stamp.objects.create(mark="K47", person=person, issued_on=TODAY)
    return person


def find(client, text):
    return client.get("/find/", {"q": text})


@pytest.mark.parametrize(
    "text",
    ["Kowal", "kowal amaranta", "777", "77701", "OLD-7", "old-7", "K47", "k47", "  Kowal  "],
)
def test_single_person_is_opened_at_once(client, quality, amaranta, text):
    response = find(client, text)

    assert response.status_code == 302
    assert response.url == reverse("people:person_detail", args=["77701"])


def test_single_board_is_opened_by_number_unit_or_work_order(client, quality):
    board = make_board(number="CA-B-00012", unit="SN 0815", work_order="WO-9")

    for text in ("CA-B-00012", "00012", "sn 0815", "WO-9"):
        assert find(client, text).url == reverse("assessments:board_detail", args=[board.number])
    assert find(client, "0815").status_code == 200


def test_single_certificate_is_opened_by_its_number_or_the_one_on_the_paper(client, quality):
    certificate = make_certificate(number="CA-C-00077", outside_number="TC 3/19")

    for text in ("CA-C-00077", "00077", "tc 3/19"):
        assert find(client, text).url == reverse(
            "certification:certificate_detail", args=[certificate.number]
        )


def test_several_things_are_listed(client, quality):
    make_person(full_name="Person Twelve", employee_number="12345")
    make_board(number="CA-B-12345")
    make_certificate(number="CA-C-12345")

    response = find(client, "12345")

    found = response.context["found"]
    assert [len(found.people), len(found.boards), len(found.certificates)] == [1, 1, 1]
    page = response.content.decode()
    for number in ("12345", "CA-B-12345", "CA-C-12345"):
        assert number in page


def test_stamp_names_everybody_who_held_it_and_when(client, quality, amaranta):
    before = make_person(full_name="Bruno Pell")
    Stamp.objects.create(
        mark="K47",
        person=before,
        issued_on=TODAY - timedelta(days=400),
        returned_on=TODAY - timedelta(days=1),
    )

    page = " ".join(find(client, "K47").content.decode().replace("\xa0", " ").split())

    assert "Amaranta Kowal" in page
    assert "Bruno Pell" in page
    assert page.count("stamp K47") == 2
    assert "held stamp K47 from" in page
    assert "holds stamp K47 since" in page


def test_no_more_than_some_are_shown_and_it_is_said(client, quality):
    for n in range(21):
        make_person(full_name=f"Namesake {n}")

    response = find(client, "Namesake")

    assert len(response.context["found"].people) == 20
    assert "There are more" in response.content.decode()


@pytest.mark.parametrize("text", ["nobody at all", "%", "_", "0", "<b>"])
def test_nothing_found_says_what_to_try(client, quality, text):
    response = find(client, text)

    assert response.status_code == 200
    assert "Nothing found" in response.content.decode()
    assert "<b></h1>" not in response.content.decode()


def test_empty_field_finds_nothing_and_asks(client, quality, amaranta):
    for text in ("", "   "):
        page = find(client, text).content.decode()
        assert "What are you looking for?" in page
        assert "Amaranta" not in page


def test_what_is_elsewhere_is_not_found(client, quality):
    elsewhere = make_person(make_site("Aldergate", "AL"), full_name="Rhoswen Carrick")
    Stamp.objects.create(mark="I9", person=elsewhere, issued_on=TODAY)
    make_board(elsewhere, number="AL-B-00001", work_order="WO-AL")
    make_certificate(elsewhere, number="AL-C-00001")

    for text in ("Carrick", "I9", "AL-B-00001", "WO-AL", "AL-C-00001"):
        found = find(client, text)
        assert found.status_code == 200
        assert found.context["found"].only is None
        assert "Nothing found" in found.content.decode()


def test_number_of_queries_does_not_grow_with_what_is_found(
    client, quality, django_assert_max_num_queries
):
    def queries():
        with django_assert_max_num_queries(15) as found:
            find(client, "Namesake")
        return len(found)

    for n in range(2):
        make_person(full_name=f"Namesake {n}")
    queries()  # The session is written with the first request of a minute.
    few = queries()
    for n in range(15):
        make_person(full_name=f"Namesake more {n}")

    assert queries() == few


def test_find_is_for_instructors_and_quality(client):
    assert find(client, "x").status_code == 302
    for role in ("operator", "line_lead", "administrator"):
        client.force_login(make_user(role))
        assert find(client, "x").status_code == 403
    client.force_login(make_user("instructor"))
    assert find(client, "x").status_code == 200
    assert client.post("/find/").status_code == 405

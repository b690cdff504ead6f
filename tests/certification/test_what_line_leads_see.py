"""A line lead learns that somebody may not do the work now, never that it is their eyes."""

import csv
import io
from datetime import timedelta

import pytest
from openpyxl import load_workbook

from tests.factories import (
    make_board,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
    make_user,
)
from training.models import VisionTest

pytestmark = pytest.mark.django_db

READ_BY_LEADS = [
    pytest.param("/register/", id="register"),
    pytest.param("/register/?standing=vision_not_current", id="register, narrowed to vision"),
    pytest.param("/register/?standing=not_current", id="register, narrowed to not current"),
    pytest.param("/register/?standing=ending&order=end", id="register, what ends"),
    pytest.param("/register/?q=Lapsed", id="register, one person"),
    pytest.param("/register/export.csv", id="CSV"),
    pytest.param("/register/export.csv?standing=vision_not_current", id="CSV, narrowed"),
    pytest.param("/people/", id="people"),
    pytest.param("/people/LAPSED/", id="page of whose test ran out"),
    pytest.param("/people/LAPSED/standing/", id="standing of whose test ran out"),
    pytest.param("/people/ENDING/", id="page of whose test ends soon"),
    pytest.param("/people/ENDING/standing/", id="standing of whose test ends soon"),
]


@pytest.fixture
def today():
    return make_site().today()


@pytest.fixture
def lead():
    return make_user("line_lead", person=make_person(full_name="Goran", employee_number="LEAD"))


def certify(person, today, tested_ago):
    """A certificate of the last year, kept by a vision test of so many days ago."""
    scope = make_scope(title="Terminals, operator")
    VisionTest.objects.create(
        test_id=f"V-{person.pk}",
        person=person,
        tested_on=today - timedelta(days=tested_ago),
        passed=True,
    )
    return make_certificate(
        person,
        scope,
        revision=make_revision(scope, vision_months=12),
        issued_on=today - timedelta(days=100),
    )


@pytest.fixture
def lapsed(lead, today):
    """Somebody of the lead's whose vision test is too old."""
    person = make_person(full_name="Lapsed", employee_number="LAPSED", line_lead=lead.person)
    return certify(person, today, tested_ago=400)


@pytest.fixture
def ending(lead, today):
    """Somebody of the lead's whose vision test ends within weeks."""
    person = make_person(full_name="Ending", employee_number="ENDING", line_lead=lead.person)
    return certify(person, today, tested_ago=350)


def text_of(response):
    assert response.status_code == 200
    if response.streaming:
        return b"".join(response.streaming_content).decode("utf-8-sig")
    return response.content.decode()


@pytest.mark.parametrize("path", READ_BY_LEADS)
def test_no_page_of_a_line_lead_speaks_of_vision(client, lead, lapsed, ending, path):
    client.force_login(lead)

    # The shapes are the same on every page, and what was asked for is said again.
    said = text_of(client.get(path)).lower().split("<main")[-1]
    assert "vision" not in said.replace("vision_not_current", "")


@pytest.mark.parametrize("path", ["/register/", "/people/LAPSED/standing/"])
def test_line_lead_is_told_whom_to_send_somebody_to(client, lead, lapsed, path):
    client.force_login(lead)

    assert "not current: see your instructor" in text_of(client.get(path))


def test_standing_in_a_link_or_a_choice_names_no_vision_test_either(client, lead, lapsed):
    client.force_login(lead)

    response = client.get("/register/")

    choices = dict(response.context["form"].fields["standing"].choices)
    assert "vision_not_current" not in choices
    assert "not_current" in choices
    assert "vision_not_current" not in text_of(response)


def test_line_lead_asking_for_vision_gets_nothing_narrowed(client, lead, lapsed, ending):
    """An answer that held only some of their people would tell who they are."""
    client.force_login(lead)

    asked = client.get("/register/?standing=vision_not_current")
    everyone = client.get("/register/")

    def people(response):
        return [person for person, _lines in response.context["groups"]]

    assert people(asked) == people(everyone)


def test_exports_of_a_line_lead_say_not_current(client, lead, lapsed, ending):
    client.force_login(lead)

    rows = text_of(client.get("/register/export.csv?q=Lapsed")).splitlines()
    (row,) = csv.DictReader(rows)
    assert row["standing"] == "not_current"
    rows = text_of(client.get("/register/export.csv?q=Ending")).splitlines()
    (row,) = csv.DictReader(rows)
    assert (row["standing"], row["ends_next_by"]) == ("certified", "see_instructor")

    book = b"".join(client.get("/register/export.xlsx").streaming_content)
    cells = [cell for row in load_workbook(io.BytesIO(book)).active.values for cell in row]
    assert not [cell for cell in cells if "vision" in str(cell).lower()]
    assert "not_current" in cells


def test_certificate_number_is_no_link_for_a_line_lead(client, lead, lapsed, ending):
    client.force_login(lead)

    page = text_of(client.get("/register/"))

    assert ending.number in page
    assert lapsed.number not in page  # With a no goes none: which one it is may tell why.
    for one in (ending, lapsed):
        assert f"/certificates/{one.number}/" not in page
        assert client.get(f"/certificates/{one.number}/").status_code == 404


def test_line_lead_may_know_of_their_own_vision_test(client, lead, today):
    certify(lead.person, today, tested_ago=400)
    client.force_login(lead)

    assert "vision not current" in text_of(client.get("/register/"))
    assert "vision test" in text_of(client.get("/my-card/")).lower()


@pytest.mark.parametrize("role", ["instructor", "quality"])
def test_instructors_and_quality_are_told_that_it_is_the_vision_test(client, lapsed, role):
    client.force_login(make_user(role))

    assert "vision not current" in text_of(client.get("/register/"))
    assert "vision not current" in text_of(client.get("/people/LAPSED/standing/"))
    found = client.get("/register/?standing=vision_not_current").context["groups"]
    assert [person.full_name for person, _lines in found] == ["Lapsed"]


def test_quality_of_one_site_who_leads_at_another_is_told_site_by_site(client, today):
    aldergate = make_site("Aldergate", "AL")
    user = make_user("quality", "line_lead")
    there = make_person(aldergate, full_name="There", line_lead=user.person)
    here = make_person(full_name="Here")
    certify(there, today, tested_ago=400)
    certify(here, today, tested_ago=400)
    client.force_login(user)

    response = client.get("/register/")

    said = {
        person.full_name: lines[0].said
        for person, lines in response.context["groups"]
        if lines[0].span
    }
    assert said == {"Here": "vision_not_current", "There": "not_current"}

    def narrowed(standing):
        groups = client.get("/register/", {"standing": standing}).context["groups"]
        return [person.full_name for person, _lines in groups]

    assert narrowed("vision_not_current") == ["Here"]
    assert narrowed("not_current") == ["There"]
    numbers = {one.url: one.number for one in response.context["counted"]}
    assert numbers["?standing=vision_not_current"] == numbers["?standing=not_current"] == 1


def test_line_lead_sees_their_own_people_and_no_others(client, lead, lapsed):
    make_person(full_name="Not theirs", employee_number="OTHER")
    board = make_board(lapsed.person)
    client.force_login(lead)

    assert "Not theirs" not in text_of(client.get("/register/"))
    assert client.get("/people/OTHER/").status_code == 404
    assert client.get("/people/OTHER/standing/").status_code == 404
    assert client.get(f"/boards/{board.number}/").status_code == 404


def test_bench_and_find_are_not_for_line_leads(client, lead):
    client.force_login(lead)

    assert client.get("/bench/").status_code == 403
    assert client.get("/find/?q=Lapsed").status_code == 403


def test_line_lead_of_somebody_without_the_role_reads_nothing(client, lapsed):
    """To be entered as somebody's lead gives nothing by itself."""
    stranger = make_user(person=make_person(full_name="Named as lead"))
    lapsed.person.line_lead = stranger.person
    lapsed.person.save(update_fields=["line_lead"])
    client.force_login(stranger)

    assert client.get("/register/").status_code == 403
    assert client.get("/people/LAPSED/standing/").status_code == 404

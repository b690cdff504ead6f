"""Name, number and line lead change from a day on; the past keeps what it was."""

from datetime import timedelta

import pytest
from django.urls import reverse

from people.exceptions import PeopleError
from people.models import FormerEmployeeNumber, LineLeadChange, NameChange, Person
from people.presenters import search
from people.queries.particulars import line_lead_on, name_on
from people.services import moves
from people.services.particulars import change_from_day
from people.services.people import change_person
from tests.factories import NOW, TODAY, make_person, make_site, make_user

pytestmark = pytest.mark.django_db

FIRST = TODAY - timedelta(days=10)


@pytest.fixture
def administrator():
    return make_user("administrator")


def change(person, actor, from_day=FIRST, reason="Marriage, seen the register entry.", **changes):
    return change_from_day(
        person=person, changes=changes, from_day=from_day, reason=reason, actor=actor, at=NOW
    )


def test_a_name_holds_from_its_day_and_the_old_one_before(administrator):
    person = make_person(full_name="Ari Vance")
    change(person, administrator, full_name="Ari Holt")
    change(person, administrator, from_day=TODAY, full_name="Ari Holt-Reyes")
    person.refresh_from_db()

    assert person.full_name == "Ari Holt-Reyes"
    assert [name_on(person, FIRST + timedelta(days=n)) for n in (-1, 0, 9, 10)] == [
        "Ari Vance",
        "Ari Holt",
        "Ari Holt",
        "Ari Holt-Reyes",
    ]


def test_an_old_name_is_found_by_search_list_and_register(client, administrator):
    change(make_person(full_name="Ari Vance"), administrator, full_name="Ari Holt")
    quality = make_user("quality")

    [hit] = search.find(quality, "vance").hits
    assert hit.label == "Ari Holt"
    assert "was called Ari Vance" in hit.detail
    assert [person.full_name for person in Person.objects.all().search("Vance")] == ["Ari Holt"]
    client.force_login(quality)
    assert "Ari Holt" in client.get(reverse("certification:register"), {"q": "Vance"}).text


def test_a_number_is_the_former_one_until_the_day_before(administrator):
    person = make_person(employee_number="CD-9")
    change(person, administrator, employee_number="CD-10")
    former = FormerEmployeeNumber.objects.get()
    assert (former.employee_number, former.until_on) == ("CD-9", FIRST - timedelta(days=1))


def test_a_line_lead_holds_from_its_day(administrator):
    lead, other = make_person(), make_person()
    person = make_person(line_lead=lead)
    change(person, administrator, line_lead=other)
    person.refresh_from_db()
    assert person.line_lead == other
    assert line_lead_on(person, FIRST - timedelta(days=1)) == lead
    assert line_lead_on(person, FIRST) == other


def test_a_lead_changed_on_the_form_or_by_a_move_is_kept_too(administrator):
    lead, there = make_person(), make_site("Aldergate", "AL", time_zone="Europe/London")
    person = make_person()
    change_person(person=person, line_lead=lead, actor=administrator, at=NOW)
    administrator.roles.create(site=there, role="administrator")
    administrator = type(administrator).objects.get(pk=administrator.pk)
    moves.move_person(
        person=person, site=there, from_day=TODAY, reason="Line 4.", actor=administrator, at=NOW
    )
    rows = LineLeadChange.objects.filter(person=person)
    assert [(row.before, row.after) for row in rows] == [(None, lead), (lead, None)]


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"full_name": "Ari Vance"}, "Nothing differs"),
        ({"full_name": "Ari Holt", "from_day": TODAY + timedelta(days=1)}, "still to come"),
        ({"full_name": "Ari Holt", "reason": " "}, "Say why"),
        ({"employee_number": "A/B"}, "cannot be a number"),
    ],
    ids=["same", "to come", "no reason", "number"],
)
def test_what_is_refused(administrator, fields, says):
    person = make_person(full_name="Ari Vance")
    with pytest.raises(PeopleError, match=says):
        change(person, administrator, **fields)
    assert not NameChange.objects.exists()


def test_no_change_comes_before_the_last_one(administrator):
    person = make_person(full_name="Ari Vance")
    change(person, administrator, full_name="Ari Holt")
    with pytest.raises(PeopleError, match=r"already\. Give that day or a later one"):
        change(person, administrator, from_day=FIRST - timedelta(days=1), full_name="Ari Reyes")


def test_nobody_leads_themselves_nor_changes_whom_they_do_not_keep(administrator):
    person = make_person()
    with pytest.raises(PeopleError, match="their own line lead"):
        change(person, administrator, line_lead=person)
    with pytest.raises(PeopleError, match="administrators of their sites"):
        change(person, make_user("quality"), full_name="Ari Holt")


def test_the_page_changes_what_its_writer_changed_alone(client, administrator):
    lead = make_person()
    person = make_person(full_name="Ari Vance")
    client.force_login(administrator)
    url = reverse("people:person_change", args=[person.employee_number])
    page = client.get(url)
    assert 'name="initial-full_name" value="Ari Vance"' in page.text
    shown = {
        "initial-full_name": "Ari Vance",
        "initial-employee_number": person.employee_number,
        "initial-line_lead": "",
        "employee_number": person.employee_number,
        "line_lead": "",
        "from_day": person.site.today().isoformat(),
        "reason": "Marriage.",
    }
    # Meanwhile somebody else gives them a line lead.
    Person.objects.filter(pk=person.pk).update(line_lead=lead)

    answer = client.post(url, shown | {"full_name": "Ari Holt"})

    assert answer.status_code == 302
    person.refresh_from_db()
    assert (person.full_name, person.line_lead) == ("Ari Holt", lead)
    assert "Ari Vance until then" in client.get(answer.url).text


def test_a_day_before_every_calendar_is_refused_with_a_sentence(client, administrator):
    client.force_login(administrator)
    person = make_person(employee_number="CD-9")
    url = reverse("people:person_change", args=["CD-9"])
    was = {"initial-employee_number": "CD-9", "initial-full_name": person.full_name}
    sent = {"full_name": person.full_name, "employee_number": "CD-10", "reason": "A slip."}
    answer = client.post(url, was | sent | {"from_day": "0001-01-01"})
    assert answer.status_code == 422
    assert "is no day from which it can hold" in answer.text
    assert not FormerEmployeeNumber.objects.exists()


def test_a_number_changes_no_earlier_than_it_last_did(administrator):
    person = make_person(employee_number="CD-9")
    change(person, administrator, employee_number="CD-10")
    with pytest.raises(PeopleError, match=f"changed on {FIRST} already"):
        change(person, administrator, FIRST - timedelta(days=1), employee_number="CD-11")
    change(person, administrator, TODAY, employee_number="CD-11")
    assert list(
        FormerEmployeeNumber.objects.order_by("until_on").values_list("employee_number", "until_on")
    ) == [("CD-9", FIRST - timedelta(days=1)), ("CD-10", TODAY - timedelta(days=1))]

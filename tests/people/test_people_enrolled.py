"""People are entered and changed, and stay findable under a number they had before."""

from datetime import timedelta

import pytest
from django.db import transaction

from people.exceptions import PeopleError
from people.models import FormerEmployeeNumber, Person, User
from people.services import people
from records.models import TrailEntry
from tests.factories import NOW, TODAY, make_person, make_site, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def instructor():
    return make_user("instructor")


def enrol(actor, number="10482", **fields):
    details = {"full_name": "Tamsin Okoro", "site": make_site(), **fields}
    return people.enrol_person(employee_number=number, actor=actor, at=NOW, **details)


def test_somebody_is_enrolled_with_an_entry_in_the_trail(instructor):
    person = enrol(instructor, started_on=TODAY)

    assert Person.objects.get(employee_number="10482") == person
    assert person.recorded_at == NOW
    entry = TrailEntry.objects.get()
    assert (entry.act, entry.actor) == ("person enrolled", instructor)


@pytest.mark.parametrize("number", ["10482", "c-7", "C-7"])
def test_a_number_that_somebody_has_is_not_given_again(instructor, number):
    make_person(employee_number="10482", full_name="Wren Abbott")
    make_person(employee_number="C-7", full_name="Wren Abbott")

    with pytest.raises(PeopleError, match="Wren Abbott’s"):
        enrol(instructor, number)


def test_a_number_that_somebody_had_is_not_given_again(instructor):
    person = enrol(instructor)
    people.change_person(person=person, employee_number="10999", actor=instructor, at=NOW)

    with pytest.raises(PeopleError, match="is not given again"):
        enrol(instructor, "10482", full_name="Somebody Else")


def test_a_contractor_names_an_employer(instructor):
    with pytest.raises(PeopleError, match="employed by"):
        enrol(instructor, kind=Person.Kind.CONTRACTOR)

    assert enrol(instructor, kind=Person.Kind.CONTRACTOR, employer="Brael Staffing").pk


def test_the_last_day_does_not_come_before_the_first(instructor):
    with pytest.raises(PeopleError, match="comes before the first"):
        enrol(instructor, started_on=TODAY, left_on=TODAY - timedelta(days=1))


def test_a_new_number_keeps_the_former_and_becomes_the_sign_in(instructor):
    user = make_user(person=enrol(instructor))

    people.change_person(person=user.person, employee_number="20001", actor=instructor, at=NOW)

    former = FormerEmployeeNumber.objects.get()
    assert (former.employee_number, former.until_on) == ("10482", TODAY)
    user.refresh_from_db()
    assert user.employee_number == user.person.employee_number == "20001"


def test_somebody_may_get_their_own_former_number_back(instructor):
    person = enrol(instructor)
    for number in ("20001", "10482", "20002"):
        person = people.change_person(
            person=person, employee_number=number, actor=instructor, at=NOW
        )

    former = person.former_numbers.order_by("employee_number")
    assert [number.employee_number for number in former] == ["10482", "20001"]


def test_a_change_tells_the_trail_what_was_and_is(instructor):
    person = enrol(instructor)

    changed = people.change_person(
        person=person, full_name="Tamsin Vale", site=person.site, actor=instructor, at=NOW
    )

    assert changed.full_name == "Tamsin Vale"
    entry = TrailEntry.objects.latest("pk")
    assert entry.act == "person changed"
    assert '"before":{"full_name":"Tamsin Okoro"}' in entry.payload.body


def test_what_did_not_change_leaves_no_entry(instructor):
    person = enrol(instructor)

    people.change_person(
        person=person,
        full_name=person.full_name,
        employee_number=person.employee_number,
        actor=instructor,
        at=NOW,
    )

    assert TrailEntry.objects.count() == 1


def test_nobody_is_their_own_line_lead(instructor):
    person = enrol(instructor)

    with pytest.raises(PeopleError, match="own line lead"):
        people.change_person(person=person, line_lead=person, actor=instructor, at=NOW)


def test_an_address_stays_one_sign_in():
    administrator = make_user("administrator")
    make_user(email="ines@skarnfell.example")
    person = make_user(email="old@skarnfell.example").person

    with pytest.raises(PeopleError, match="how somebody else signs in"), transaction.atomic():
        people.change_person(
            person=person, email="Ines@skarnfell.example", actor=administrator, at=NOW
        )

    people.change_person(person=person, email="new@skarnfell.example", actor=administrator, at=NOW)
    assert User.objects.get(person=person).email == "new@skarnfell.example"

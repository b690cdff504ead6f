"""Enrolling somebody in two classes at once says so, and is done once somebody says it anyway."""

from datetime import timedelta

import pytest
from django.db import connection
from django.urls import reverse

from people.models import Person
from records.models import TrailEntry
from tests.assessments.together import at_once, wait_behind
from tests.factories import NOW, TODAY, make_person, make_session, make_user
from training.exceptions import InAnotherClass, TrainingError
from training.models import Enrolment
from training.services import courses


@pytest.fixture
def instructor(client, db):
    user = make_user("instructor")
    client.force_login(user)
    return user


def test_somebody_in_another_class_on_the_same_day_is_named_first(client, instructor):
    person, free = make_person(full_name="Tamsin Okoro"), make_person()
    other = make_session(instructor=instructor, people=(person,))
    session = make_session(instructor=instructor, ends_on=TODAY + timedelta(days=1))
    address = reverse("training:class_enrol", args=[session.number])
    asked = {"people": f"{person.employee_number}\n{free.employee_number}"}

    refused = client.post(address, asked)
    told = refused.content.decode()
    assert refused.status_code == 422
    assert "In another class on the same days" in told
    assert other.number in told
    assert "Enrol all the same" in told
    assert not session.enrolments.exists()

    overlap = other.enrolments.get()
    assert client.post(address, {**asked, "overlap": [overlap.pk]}).status_code == 302
    assert session.enrolments.count() == 2


def test_class_between_whose_days_the_other_is_held_is_no_overlap(instructor):
    person = make_person()
    friday = TODAY + timedelta(days=2)
    make_session(
        instructor=instructor, people=(person,), starts_on=friday, ends_on=friday + timedelta(3)
    )
    saturday = friday + timedelta(days=1)
    session = make_session(instructor=instructor, starts_on=saturday, ends_on=saturday)

    assert courses.enrol_people(
        session=session, people=[person], actor=instructor, at=NOW, overlaps=[]
    )


def test_full_class_does_not_offer_to_enrol(client, instructor):
    session = make_session(instructor=instructor, people=(make_person(),), places=1)

    told = client.get(reverse("training:class_detail", args=[session.number])).content.decode()

    assert "The class is full" in told
    assert reverse("training:class_enrol", args=[session.number]) not in told


def moved(session, day, **fields):
    return courses.change_class(
        session=session,
        instructor=session.instructor,
        starts_on=day,
        ends_on=day,
        places=session.places,
        actor=session.instructor,
        at=NOW,
        known=[],
        overlaps=[],
        **fields,
    )


def test_class_moved_onto_the_days_of_another_names_whoever_is_in_both(client, db):
    bo, free = make_person(full_name="Bo Arvid"), make_person()
    other = make_session(
        instructor=make_user("instructor"), people=(bo,), starts_on=TODAY, ends_on=TODAY
    )
    later = TODAY + timedelta(days=7)
    session = make_session(
        instructor=make_user("instructor"), people=(bo, free), starts_on=later, ends_on=later
    )
    client.force_login(session.instructor)
    address = reverse("training:class_edit", args=[session.number])
    number = session.instructor.employee_number
    typed = {"instructor": number, "starts_on": TODAY, "ends_on": TODAY, "places": 4}

    refused = client.post(address, typed)
    assert refused.status_code == 422
    for words in ("Bo Arvid", other.number, "Nothing is saved yet.", "Save all the same"):
        assert words in refused.text
    session.refresh_from_db()
    assert session.starts_on == later

    overlap = other.enrolments.get()
    assert client.post(address, {**typed, "overlap": [overlap.pk]}).status_code == 302
    # Whoever was asked once is not asked again while the days stay.
    assert moved(session, TODAY, room="Bench room 2").room == "Bench room 2"


def test_instructor_and_people_who_are_in_both_are_named_at_once(client, instructor):
    bo = make_person(full_name="Bo Arvid")
    other = make_session(instructor=instructor, people=(bo,), starts_on=TODAY, ends_on=TODAY)
    later = TODAY + timedelta(days=7)
    session = make_session(instructor=instructor, people=(bo,), starts_on=later, ends_on=later)
    typed = {"instructor": instructor.employee_number, "places": 4}
    typed |= {"starts_on": TODAY, "ends_on": TODAY}
    address = reverse("training:class_edit", args=[session.number])

    refused = client.post(address, typed)
    assert "Bo Arvid" in refused.text
    assert f'name="known" value="{other.number}"' in " ".join(refused.text.split())
    told = {"known": [other.number], "overlap": [other.enrolments.get().pk]}
    assert client.post(address, typed | told).status_code == 302


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_of_two_classes_that_enrol_somebody_at_once_one_is_told():
    actor, person = make_user("instructor"), make_person()
    first, second = (make_session(instructor=actor) for _ in range(2))

    def enrol(session):
        try:
            courses.enrol_people(session=session, people=[person], actor=actor, at=NOW, overlaps=[])
        except InAnotherClass as error:
            return error
        return None

    given = at_once(lambda: enrol(first), lambda: enrol(second))

    assert sum(isinstance(one, InAnotherClass) for one in given) == 1
    assert Enrolment.objects.get().person == person


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
def test_a_place_is_given_free_once_however_many_press_at_once():
    actor = make_user("instructor")
    session = make_session(instructor=actor, people=(make_person(), make_person()))
    enrolment = session.enrolments.first()

    def give_free():
        try:
            courses.cancel_enrolment(
                enrolment=Enrolment.objects.get(pk=enrolment.pk), actor=actor, at=NOW
            )
        except (TrainingError, Enrolment.DoesNotExist) as error:
            return error
        return None

    given = at_once(*[give_free] * 3)

    assert given.count(None) == 1
    assert TrailEntry.objects.filter(act="enrolment cancelled").count() == 1
    assert session.enrolments.count() == 1
    # Whoever had the class open before, and presses after, is told so.
    with pytest.raises(TrainingError, match="not in the class any more"):
        courses.cancel_enrolment(enrolment=enrolment, actor=actor, at=NOW)


def test_who_left_since_the_page_was_filled_is_not_enrolled(instructor):
    person, session = make_person(), make_session(instructor=instructor)
    Person.objects.filter(pk=person.pk).update(left_on=session.starts_on - timedelta(days=1))

    with pytest.raises(TrainingError, match="before the class begins"):
        courses.enrol_people(session=session, people=[person], actor=instructor, at=NOW)
    assert not session.enrolments.exists()


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
@pytest.mark.django_db(transaction=True)
def test_somebody_enrolled_for_a_day_while_their_other_class_is_moved_onto_it_is_named():
    bo, later = make_person(full_name="Bo Arvid"), TODAY + timedelta(days=7)
    session, other = (
        make_session(instructor=make_user("instructor"), people=people, starts_on=on, ends_on=on)
        for people, on in (((bo,), later), ((), TODAY))
    )

    def enrol():
        return courses.enrol_people(
            session=other, people=[bo], actor=other.instructor, at=NOW, overlaps=[]
        )

    with pytest.raises(InAnotherClass):
        wait_behind(lambda: moved(session, TODAY), enrol)
    assert not other.enrolments.exists()

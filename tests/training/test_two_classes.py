"""Enrolling somebody in two classes at once says so, and is done once somebody says it anyway."""

from datetime import timedelta

import pytest
from django.db import connection
from django.urls import reverse

from records.models import TrailEntry
from tests.assessments.together import at_once
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

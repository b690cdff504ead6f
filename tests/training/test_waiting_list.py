"""Who waits for a full class gets the first place that is free, once and in order."""

import json
from datetime import timedelta

import pytest
from django.db import connection
from django.urls import reverse

from people.models import Person
from records.models import TrailEntry
from tests.assessments.together import at_once, wait_behind
from tests.factories import (
    NOW,
    TODAY,
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_session,
    make_site,
    make_user,
)
from training.exceptions import TrainingError
from training.models import Enrolment, WaitingPlace
from training.services import courses, waiting

pytestmark = pytest.mark.django_db

LATER = TODAY + timedelta(days=7)


@pytest.fixture
def instructor():
    return make_user("instructor")


def full_class(instructor, **fields):
    return make_session(
        instructor=instructor,
        **{"people": (make_person(),), "places": 1, "starts_on": LATER, "ends_on": LATER, **fields},
    )


def wait(session, *people):
    return waiting.wait_for_place(session=session, people=people, actor=session.instructor, at=NOW)


def free_a_place(session):
    courses.cancel_enrolment(
        enrolment=session.enrolments.order_by("pk").first(), actor=session.instructor, at=NOW
    )


def test_place_given_free_goes_to_who_has_waited_longest(instructor):
    session = full_class(instructor)
    first, second = make_person(), make_person()
    wait(session, first)
    wait(session, second, first)

    free_a_place(session)

    assert session.enrolments.get().person == first
    assert session.waiting_places.get().person == second
    moved = TrailEntry.objects.get(act="person moved up from waiting list")
    assert json.loads(moved.payload.body)["person"] == first.employee_number


def test_more_places_take_in_as_many_as_there_are(instructor):
    session = full_class(instructor)
    people = [make_person() for _each in range(3)]
    wait(session, *people)

    courses.change_class(
        session=session,
        instructor=instructor,
        starts_on=LATER,
        ends_on=LATER,
        places=3,
        actor=instructor,
        at=NOW,
    )

    assert set(session.people.all()) > set(people[:2])
    assert session.waiting_places.get().person == people[2]


def test_who_cannot_come_keeps_waiting_and_the_next_gets_the_place(instructor):
    session = full_class(instructor)
    left, busy, free = make_person(), make_person(), make_person()
    wait(session, left, busy, free)
    Person.objects.filter(pk=left.pk).update(left_on=TODAY)
    full_class(instructor, people=(busy,))

    free_a_place(session)

    assert session.enrolments.get().person == free
    assert [one.person for one in session.waiting_places.all()] == [left, busy]


def test_somebody_put_first_gets_the_place_and_the_reason_is_kept(instructor):
    session = full_class(instructor)
    _first, second = wait(session, make_person(), make_person())

    waiting.put_first(waiting=second, reason="Needed on line 3", actor=instructor, at=NOW)
    free_a_place(session)

    assert session.enrolments.get().person == second.person
    entry = TrailEntry.objects.get(act="person put first on waiting list")
    assert json.loads(entry.payload.body)["reason"] == "Needed on line 3"


def test_nobody_waits_beside_a_free_place_or_after_the_class_began(instructor):
    with pytest.raises(TrainingError, match="has a place free"):
        wait(full_class(instructor, places=2), make_person())
    with pytest.raises(TrainingError, match="has begun"):
        wait(full_class(instructor, starts_on=TODAY, ends_on=TODAY), make_person())


def test_class_that_has_begun_takes_in_nobody_by_itself(instructor):
    session = full_class(instructor, starts_on=TODAY, ends_on=TODAY)
    WaitingPlace.objects.create(session=session, person=make_person(), rank=1)

    free_a_place(session)

    assert not session.enrolments.exists()


def test_who_is_enrolled_after_all_waits_no_longer(instructor):
    session = full_class(instructor)
    [one] = wait(session, make_person())
    session.places = 2
    session.save(update_fields=["places"])

    courses.enrol_people(session=session, people=[one.person], actor=instructor, at=NOW)

    assert not session.waiting_places.exists()
    for act in (
        lambda: waiting.stop_waiting(waiting=one, actor=instructor, at=NOW),
        lambda: waiting.put_first(waiting=one, reason="x", actor=instructor, at=NOW),
    ):
        with pytest.raises(TrainingError, match="not on the waiting list any more"):
            act()


def test_instructor_keeps_the_waiting_list_on_the_page_of_the_class(client, instructor):
    today = make_site().today()
    days = {"starts_on": today + timedelta(days=3), "ends_on": today + timedelta(days=3)}
    session = full_class(instructor, **days)
    first, second = make_person(full_name="Ines Dahl"), make_person(full_name="Bo Arvid")
    client.force_login(instructor)
    page = reverse("training:class_detail", args=[session.number])

    def post(name, *more, **sent):
        answer = client.post(reverse(f"training:{name}", args=[session.number, *more]), sent)
        assert answer.url == page

    post("class_wait", people=f"{first.employee_number}\n{second.employee_number}")
    told = client.get(page).content.decode()
    assert told.index("Ines Dahl") < told.index("Bo Arvid")
    waits = session.waiting_places.get(person=second)
    post("waiting_first", waits.pk, reason="")
    assert "Say why." in client.get(page).content.decode()
    post("waiting_first", waits.pk, reason="Needed on line 3")
    assert session.waiting_places.first().person == second
    post("waiting_cancel", waits.pk)
    assert session.waiting_places.get().person == first


def test_enrolling_somebody_without_current_vision_test_is_said(client, instructor):
    scope = make_scope()
    person = make_person(full_name="Ines Dahl")
    make_certificate(person, scope, revision=make_revision(scope, vision_months=12))
    session = make_session(instructor=instructor, starts_on=LATER, ends_on=LATER)
    client.force_login(instructor)
    address = reverse("training:class_enrol", args=[session.number])

    answer = client.post(address, {"people": person.employee_number}, follow=True)

    assert "Ines Dahl has no current vision test on" in answer.content.decode()
    assert session.enrolments.get().person == person


def test_who_waits_reads_the_class_and_nobody_else_in_it(client):
    user = make_user()
    session = full_class(make_user("instructor"), people=(make_person(full_name="Ada Berg"),))
    WaitingPlace.objects.create(session=session, person=user.person, rank=1)
    WaitingPlace.objects.create(session=session, person=make_person(full_name="Bo Arvid"), rank=2)
    client.force_login(user)

    told = client.get(reverse("training:class_detail", args=[session.number])).content.decode()

    assert "Waiting list" in told
    assert not any(name in told for name in ("Ada Berg", "Bo Arvid", "Nobody is enrolled"))


together = pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")


@together
@pytest.mark.django_db(transaction=True)
def test_two_places_freed_at_once_go_to_the_first_two():
    instructor = make_user("instructor")
    session = full_class(instructor, people=(make_person(), make_person()), places=2)
    people = [make_person() for _each in range(3)]
    wait(session, *people)
    enrolments = list(session.enrolments.all())

    def cancel(enrolment):
        courses.cancel_enrolment(enrolment=enrolment, actor=instructor, at=NOW)

    at_once(*(lambda one=one: cancel(one) for one in enrolments))

    assert set(session.people.all()) == set(people[:2])
    assert session.waiting_places.get().person == people[2]


@together
@pytest.mark.django_db(transaction=True)
def test_who_begins_to_wait_while_a_place_is_given_free_gets_it():
    """The list is read before the class is locked, so it is read again once it is."""
    instructor = make_user("instructor")
    session = full_class(instructor)
    person = make_person()

    wait_behind(lambda: wait(session, person), lambda: free_a_place(session))

    assert Enrolment.objects.get().person == person
    assert not WaitingPlace.objects.exists()

"""A class has no more places than its room has benches; who and what is taken is said first."""

from datetime import timedelta

import pytest
from django.db import connection
from django.urls import reverse

from records.models import TrailEntry
from tests.assessments.together import at_once, wait_behind
from tests.factories import (
    NOW,
    TODAY,
    make_certificate,
    make_exercise,
    make_person,
    make_revision,
    make_scope,
    make_session,
    make_site,
    make_user,
)
from training.exceptions import MeetsOtherClasses, TrainingError
from training.models import ClassLetter, ClassSession, Lesson
from training.presenters.teachers import not_entitled_sentences
from training.services import courses, rooms

pytestmark = pytest.mark.django_db


@pytest.fixture
def instructor():
    return make_user("instructor")


@pytest.fixture
def room(instructor):
    return rooms.add_room(
        site=make_site(), name="Bench room 2", benches=4, actor=instructor, at=NOW
    )


def change(session, instructor, **fields):
    return courses.change_class(
        **{
            "session": session,
            "instructor": instructor,
            "starts_on": session.starts_on,
            "ends_on": session.ends_on,
            "places": session.places,
            "actor": instructor,
            "at": NOW,
            **fields,
        }
    )


def test_class_in_a_room_has_no_more_places_than_benches(instructor, room):
    session = make_session(instructor=instructor)

    with pytest.raises(TrainingError, match="Bench room 2 has 4 benches"):
        change(session, instructor, places=5, room="bench room 2")
    change(session, instructor, places=4, room="bench room 2")

    session.refresh_from_db()
    assert (session.held_in, session.room) == (room, "Bench room 2")


def test_any_other_place_is_words_alone(instructor, room):
    session = change(make_session(instructor=instructor), instructor, places=40, room="Canteen")

    assert (session.held_in, session.room, session.places) == (None, "Canteen", 40)


def test_closed_room_takes_no_class_from_that_day_on(instructor, room):
    fields = {"name": room.name, "benches": 4, "actor": instructor, "at": NOW}
    rooms.change_room(room=room, closed_on=TODAY + timedelta(days=2), **fields)
    session = make_session(instructor=instructor, ends_on=TODAY + timedelta(days=2), places=4)

    with pytest.raises(TrainingError, match="is closed from"):
        change(session, instructor, room=room.name)
    change(session, instructor, room=room.name, ends_on=TODAY + timedelta(days=1))


def test_room_keeps_the_benches_of_classes_to_come_and_takes_its_name_along(instructor, room):
    session = change(make_session(instructor=instructor, places=4), instructor, room=room.name)
    fields = {"closed_on": None, "actor": instructor, "at": NOW}

    with pytest.raises(TrainingError, match=f"{session.number} has 4 places there"):
        rooms.change_room(room=room, name=room.name, benches=3, **fields)
    with pytest.raises(TrainingError, match="give it another room first"):
        rooms.change_room(room=room, name=room.name, benches=4, **fields | {"closed_on": TODAY})
    courses.enrol_people(session=session, people=[make_person()], actor=instructor, at=NOW)
    for _press in range(2):
        rooms.change_room(room=room, name="Wire room", benches=4, **fields)

    session.refresh_from_db()
    assert session.room == "Wire room"
    letters = ClassLetter.objects.order_by("sequence")
    assert [letter.says["room"] for letter in letters] == ["Bench room 2", "Wire room"]
    acts = TrailEntry.objects.filter(act__startswith="room").order_by("pk")
    assert list(acts.values_list("act", flat=True)) == ["room added", "room changed"]


def test_room_name_is_one_at_a_site_however_capitalised(instructor, room):
    with pytest.raises(TrainingError, match="has a room BENCH ROOM 2 already"):
        rooms.add_room(site=room.site, name="BENCH ROOM 2", benches=1, actor=instructor, at=NOW)
    elsewhere = make_site("Aldergate", "AL", time_zone="Europe/London")
    rooms.add_room(site=elsewhere, name="Bench room 2", benches=1, actor=instructor, at=NOW)


@pytest.mark.parametrize("shared", ["room", "lead", "other"])
def test_class_that_meets_another_says_so_until_it_is_known(instructor, room, shared):
    second = make_user("instructor")
    lead, others = {
        "room": (second, ()),
        "lead": (instructor, ()),
        "other": (second, [instructor]),
    }[shared]
    other = change(make_session(instructor=instructor, places=4), instructor, room=room.name)
    session = make_session(instructor=second, places=4)
    wanted = {"others": others, "room": room.name if shared == "room" else ""}

    with pytest.raises(MeetsOtherClasses) as refusal:
        change(session, lead, known=[], **wanted)
    [meeting] = refusal.value.meetings
    assert (meeting.session, meeting.day, meeting.same_room) == (other, TODAY, shared == "room")
    assert bool(meeting.instructors) is (shared != "room")
    session.refresh_from_db()
    assert session.held_in is None

    change(session, lead, known=[other.number], **wanted)
    assert [one.pk for one in ClassSession.objects.get(pk=session.pk).teachers()] == [
        lead.pk,
        *(one.pk for one in others),
    ]


def test_class_on_another_day_meets_nothing(instructor, room):
    change(make_session(instructor=instructor, places=4), instructor, room=room.name)
    tomorrow = TODAY + timedelta(days=1)
    session = make_session(instructor=instructor, places=4, starts_on=tomorrow, ends_on=tomorrow)

    assert change(session, instructor, room=room.name, known=[]).held_in == room


def test_others_who_teach_are_instructors_at_the_site(instructor):
    with pytest.raises(TrainingError, match="is not an instructor at Castelmar"):
        change(make_session(instructor=instructor), instructor, others=[make_user("quality")])


def test_page_of_a_class_says_who_is_not_certified_to_teach_it(client, instructor):
    exercise = make_exercise()
    session = make_session(instructor=instructor, ends_on=TODAY + timedelta(days=1))
    Lesson.objects.create(
        course_revision=session.course_revision,
        order=1,
        title="Wrap",
        minutes=60,
        exercise=exercise,
    )
    assert not_entitled_sentences(session) == []

    types = list(exercise.positions.values_list("joint_type", flat=True).distinct())
    scope = make_scope(level="instructor", joint_types=types)
    revision = make_revision(scope)
    [sentence] = not_entitled_sentences(session)
    assert str(instructor) in sentence
    assert "25 Nov 2026" in sentence
    client.force_login(instructor)
    page = client.get(reverse("training:class_detail", args=[session.number])).content.decode()
    assert "is not certified as instructor" in page

    make_certificate(instructor.person, scope, revision=revision, issued_on=TODAY)
    assert not_entitled_sentences(session) == []


def test_meeting_class_is_said_on_the_page_and_saved_at_the_second_press(client, instructor, room):
    today = make_site().today()
    days = {"starts_on": today, "ends_on": today, "places": 4}
    other = change(make_session(instructor=instructor, **days), instructor, room=room.name)
    session = make_session(instructor=instructor, **days)
    client.force_login(instructor)
    address = reverse("training:class_edit", args=[session.number])
    typed = {**days, "instructor": instructor.employee_number, "room": room.name}

    refused = client.post(address, typed)
    assert refused.status_code == 422
    assert "Save all the same" in refused.content.decode()
    assert client.post(address, {**typed, "known": other.number}).status_code == 302
    assert ClassSession.objects.filter(held_in=room).count() == 2


def test_rooms_are_entered_and_changed_on_their_pages(client, instructor):
    client.force_login(instructor)
    new = reverse("training:room_new")
    typed = {"site": make_site().pk, "name": "Bench room 3", "benches": 6}

    assert client.get(new).status_code == 200
    assert client.post(new, typed).url == reverse("training:room_list")
    again = client.post(new, typed)
    assert again.status_code == 422
    assert "already" in again.content.decode()
    page = client.get(reverse("training:room_list")).content.decode()
    assert "Bench room 3" in page
    room = make_site().rooms.get()
    edit = reverse("training:room_edit", args=[room.pk])
    assert client.post(edit, {"name": "Bench room 3", "benches": "0"}).status_code == 422
    assert client.post(edit, {"name": "Bench room 3", "benches": "8"}).status_code == 302
    room.refresh_from_db()
    assert room.benches == 8


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
@pytest.mark.django_db(transaction=True)
def test_of_two_classes_put_in_one_room_at_once_the_second_says_so(instructor, room):
    sessions = [make_session(instructor=make_user("instructor"), places=4) for _each in range(2)]

    def put(session):
        try:
            return change(session, session.instructor, room=room.name, known=[])
        except MeetsOtherClasses as error:
            return error

    results = at_once(*(lambda one=one: put(one) for one in sessions))

    assert sorted(type(result) for result in results if isinstance(result, Exception)) == [
        MeetsOtherClasses
    ]
    assert ClassSession.objects.filter(held_in=room).count() == 1


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
@pytest.mark.django_db(transaction=True)
def test_class_given_a_room_while_it_is_renamed_has_the_new_name(instructor, room):
    session = make_session(instructor=instructor, places=4)

    def rename():
        return rooms.change_room(
            room=room, name="Wire room", benches=4, closed_on=None, actor=instructor, at=NOW
        )

    wait_behind(lambda: change(session, instructor, room="Bench room 2"), rename)

    session.refresh_from_db()
    assert (session.held_in, session.room) == (room, "Wire room")


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
@pytest.mark.django_db(transaction=True)
def test_class_whose_instructor_is_changed_meanwhile_is_filled_and_renamed(instructor, room):
    session, person = make_session(instructor=instructor, places=4), make_person()
    change(session, instructor, room=room.name)
    first, second = make_user("instructor"), make_user("instructor")

    def enrol():
        return courses.enrol_people(session=session, people=[person], actor=instructor, at=NOW)

    def rename():
        return rooms.change_room(
            room=room, name="Wire room", benches=4, closed_on=None, actor=instructor, at=NOW
        )

    wait_behind(lambda: change(session, first, room=room.name), enrol)
    wait_behind(lambda: change(session, second, room=room.name), rename)

    session.refresh_from_db()
    assert session.enrolments.get().person == person
    assert (session.room, session.instructor) == ("Wire room", second)

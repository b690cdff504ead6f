"""Courses are read by everyone; classes are kept by instructors and read by quality."""

import re
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from tests.factories import (
    NOW,
    load_published_content,
    make_person,
    make_session,
    make_site,
    make_user,
)
from training.models import Attendance, ClassSession, CourseRevision
from training.services import attendance

pytestmark = pytest.mark.django_db

LIST = reverse("training:class_list")
NEW = reverse("training:class_new")


@pytest.fixture
def loaded():
    load_published_content()


@pytest.fixture
def instructor(client):
    user = make_user("instructor")
    client.force_login(user)
    return user


def running(instructor, **fields):
    """A class that runs today, whichever day of the week that is."""
    today = make_site().today()
    return make_session(instructor=instructor, starts_on=today, ends_on=today, **fields)


def url(name, session, *more):
    return reverse(f"training:{name}", args=[session.number, *more])


def test_courses_are_read_by_everyone(client, loaded):
    client.force_login(make_user())

    assert "Re-certification day" in client.get(reverse("training:course_list")).content.decode()
    page = client.get(reverse("training:course_detail", args=["HS-TERM"])).content.decode()
    assert "Day 3" in page
    assert reverse("training:exercise_detail", args=["EX-CUP"]) in page
    assert reverse("training:exercise_detail", args=["EX-PIERCE"]) in page
    assert "licensed safety practice" in page.split("Day 3")[1]
    assert NEW not in page


def test_an_older_revision_of_a_course_is_still_read(client, loaded):
    client.force_login(make_user())
    first = CourseRevision.objects.get(course__code="HS-TERM")
    CourseRevision.objects.create(
        course=first.course, revision=2, summary="Shorter.", days=2, published_at=NOW
    )
    page = reverse("training:course_detail", args=["HS-TERM"])

    assert "Shorter." in client.get(page).content.decode()
    assert "Shorter." not in client.get(page, {"revision": "1"}).content.decode()
    assert client.get(page, {"revision": "9"}).status_code == 404
    missing = reverse("training:course_detail", args=["HS-NONE"])
    assert client.get(missing).status_code == 404


@pytest.mark.parametrize(
    ("role", "listed", "plans"),
    [
        ("instructor", 200, 200),
        ("quality", 200, 403),
        ("administrator", 403, 403),
        (None, 403, 403),
    ],
)
def test_classes_are_for_roles(client, role, listed, plans):
    client.force_login(make_user(*([role] if role else [])))

    assert client.get(LIST).status_code == listed
    assert client.get(NEW).status_code == plans


def test_whoever_is_not_signed_in_is_asked_to(client):
    for address in (LIST, NEW, url("class_detail", make_session())):
        assert client.get(address).url.startswith(reverse("account_login"))


def test_the_list_begins_today(client, instructor):
    today = make_site().today()
    now = running(instructor)
    past = make_session(
        instructor=instructor,
        starts_on=today - timedelta(days=9),
        ends_on=today - timedelta(days=8),
    )

    def shown(**query):
        page = client.get(LIST, query).content.decode()
        return {session.number for session in (now, past) if session.number in page}

    assert shown() == {now.number}
    assert shown(when="past") == {past.number}
    assert shown(when="all") == {now.number, past.number}


def typed(**fields):
    return {
        "course_revision": CourseRevision.objects.get(course__code="HS-RECERT").pk,
        "site": make_site().pk,
        "starts_on": "2026-12-14",
        "ends_on": "2026-12-14",
        "places": "6",
        **fields,
    }


def test_a_class_is_planned(client, loaded, instructor):
    answer = client.post(NEW, typed(instructor=instructor.employee_number))

    session = ClassSession.objects.get()
    assert answer.url == url("class_detail", session)
    assert (session.places, session.instructor) == (6, instructor)
    assert "Nobody is enrolled yet" in client.get(answer.url).content.decode()


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"ends_on": "2026-12-01"}, "comes before the first"),
        ({"places": "0"}, "greater than or equal to 1"),
        ({"starts_on": "soon"}, "Enter a valid date"),
        ({"instructor": "nobody"}, "Select a valid choice"),
    ],
    ids=["ends first", "no places", "no date", "no instructor"],
)
def test_what_cannot_be_is_said_and_no_class_planned(client, loaded, instructor, fields, message):
    answer = client.post(NEW, typed(**{"instructor": instructor.employee_number, **fields}))

    assert answer.status_code == 422
    assert message in answer.content.decode()
    assert not ClassSession.objects.exists()


def test_a_class_is_changed(client, instructor):
    session = running(instructor)
    fields = typed_change(session, instructor)
    assert client.get(url("class_edit", session)).status_code == 200

    assert client.post(url("class_edit", session), {**fields, "room": "Bench room 2"}).status_code
    session.refresh_from_db()
    assert session.room == "Bench room 2"
    refused = client.post(url("class_edit", session), {**fields, "ends_on": "2020-01-01"})
    assert refused.status_code == 422


def test_a_class_that_was_changed_meanwhile_is_not_changed_back(client, instructor):
    session = running(instructor)
    [seen] = re.findall(r'name="seen" value="(\w+)"', client.get(url("class_edit", session)).text)
    typed_here = {**typed_change(session, instructor), "seen": seen, "places": "9"}
    ClassSession.objects.filter(pk=session.pk).update(room="Bench room 2")

    refused = client.post(url("class_edit", session), typed_here)

    assert refused.status_code == 422
    assert "Somebody else changed this class" in refused.text
    assert "Room, as it stands now: Bench room 2" in refused.text
    session.refresh_from_db()
    assert (session.room, session.places == 9) == ("Bench room 2", False)
    [now] = re.findall(r'name="seen" value="(\w+)"', refused.text)
    assert client.post(url("class_edit", session), typed_here | {"seen": now}).status_code == 302
    session.refresh_from_db()
    assert (session.room == "Bench room 2", session.places) == (False, 9)


def typed_change(session, instructor):
    return {
        "instructor": instructor.employee_number,
        "starts_on": session.starts_on.isoformat(),
        "ends_on": session.ends_on.isoformat(),
        "places": session.places,
    }


def test_people_are_enrolled_by_number_by_name_and_by_tick(client, instructor):
    session = running(instructor)
    for number, name in (("10482", "Tamsin Okoro"), ("10483", "Wren Abbott"), ("10484", "Noor")):
        make_person(employee_number=number, full_name=name)

    answer = client.post(
        url("class_enrol", session), {"people": "10482\n\n wren abbott ", "ticked": ["10484"]}
    )

    assert answer.url == url("class_detail", session)
    enrolled = session.people.values_list("employee_number", flat=True)
    assert set(enrolled) == {"10482", "10483", "10484"}


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"people": "10482\nNobody Known"}, "number or name Nobody Known"),
        ({"people": " "}, "Say who"),
        ({"people": "10482\n10483"}, "1 place left and 2 are wanted"),
    ],
    ids=["unknown", "nobody", "too many"],
)
def test_who_cannot_be_enrolled_is_said_and_nobody_is(client, instructor, fields, message):
    session = running(instructor, places=1)
    make_person(employee_number="10482")
    make_person(employee_number="10483")

    answer = client.post(url("class_enrol", session), fields)

    assert answer.status_code == 422
    assert message in answer.content.decode()
    assert not session.enrolments.exists()


def test_attendance_is_taken(client, instructor):
    session = running(instructor, people=(make_person(), make_person()))
    first = session.enrolments.first()
    day = url("class_attendance", session, session.starts_on.isoformat())
    assert client.get(day).content.decode().count("checked") == 2

    client.post(day, {"present": [first.pk]})

    assert Attendance.objects.get(present=True).enrolment == first
    page = client.get(url("class_detail", session)).content.decode()
    assert (page.count("> there"), page.count("> absent")) == (1, 1)
    assert client.get(day).content.decode().count("checked") == 1


@pytest.mark.parametrize("day", ["2020-01-01", "yesterday", "2026-13-01"])
def test_a_day_that_is_not_of_the_class_is_unknown(client, instructor, day):
    session = running(instructor)

    assert client.get(url("class_attendance", session, day)).status_code == 404


def test_somebody_is_taken_off_a_class(client, instructor):
    session = running(instructor, people=(make_person(), make_person()))
    first, second = session.enrolments.all()

    client.post(url("enrolment_cancel", session, first.pk))
    assert session.enrolments.get() == second

    attendance.take_attendance(
        session=session,
        day=session.starts_on,
        present=[],
        actor=instructor,
        at=timezone.now(),
    )
    answer = client.post(url("enrolment_cancel", session, second.pk), follow=True)
    assert "they stay in the class" in answer.content.decode()
    assert session.enrolments.get() == second


def test_quality_reads_a_class_and_changes_nothing(client):
    session = running(make_user("instructor"), people=(make_person(full_name="Wren Abbott"),))
    client.force_login(make_user("quality"))

    page = client.get(url("class_detail", session)).content.decode()

    assert "Wren Abbott" in page
    assert url("class_enrol", session) not in page
    assert client.post(url("class_enrol", session), {"people": "1"}).status_code == 404
    assert client.get(url("class_edit", session)).status_code == 404


def test_whoever_is_enrolled_sees_the_class_and_not_the_others(client):
    user = make_user(person=make_person(full_name="Tamsin Okoro"))
    others = make_person(full_name="Wren Abbott")
    session = running(make_user("instructor"), people=(user.person, others))
    client.force_login(user)

    page = client.get(url("class_detail", session)).content.decode()

    assert "Tamsin Okoro" in page
    assert "Wren Abbott" not in page


def test_a_class_of_others_is_unknown(client):
    session = running(make_user("instructor"))
    elsewhere = make_site("Aldergate", "AL", time_zone="Europe/London")

    for user in (make_user(), make_user("instructor", site=elsewhere)):
        client.force_login(user)
        assert client.get(url("class_detail", session)).status_code == 404
    unknown = reverse("training:class_detail", args=["CA-K-99999"])
    assert client.get(unknown).status_code == 404


def test_acts_take_post_alone(client, instructor):
    session = running(instructor, people=(make_person(),))

    assert client.get(url("class_enrol", session)).status_code == 405
    cancel = url("enrolment_cancel", session, session.enrolments.get().pk)
    assert client.get(cancel).status_code == 405
    assert client.post(url("class_detail", session)).status_code == 405

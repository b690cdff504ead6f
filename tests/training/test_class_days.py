"""A class is held on days of its own, which every page and every act goes by."""

from datetime import date, timedelta

import pytest
import time_machine
from django.urls import reverse

from certification.presenters import card
from tests.factories import NOW, make_person, make_session, make_user
from training.exceptions import TrainingError
from training.models import Attendance, ClassSession
from training.queries.classes import class_days, weekdays_chosen
from training.services import attendance, courses

pytestmark = pytest.mark.django_db

FRIDAY, SATURDAY, SUNDAY, MONDAY = (date(2026, 11, day) for day in (27, 28, 29, 30))
NOON = "2026-11-28 11:00+00:00"  # Of the Saturday.


@pytest.fixture
def instructor(client):
    user = make_user("instructor")
    client.force_login(user)
    return user


def plan(instructor, starts_on, ends_on, **fields):
    model = make_session(instructor=instructor)
    return courses.plan_class(
        course_revision=model.course_revision,
        site=model.site,
        instructor=instructor,
        starts_on=starts_on,
        ends_on=ends_on,
        places=4,
        actor=instructor,
        at=NOW,
        **fields,
    )


@pytest.mark.parametrize(
    ("starts_on", "ends_on", "weekdays", "days"),
    [
        (date(2026, 11, 26), MONDAY, (), [26, 27, 30]),
        (SATURDAY, SUNDAY, (), [28, 29]),
        (FRIDAY, SUNDAY, (), [27, 28, 29]),
        (SATURDAY, SATURDAY, (), [28]),
        (date(2026, 11, 26), MONDAY, (6,), [26, 28, 30]),
        (FRIDAY, MONDAY, (5, 6, 7, 1), [27, 28, 29, 30]),
    ],
    ids=["over a weekend", "weekend", "into a weekend", "one day", "Saturday", "every day"],
)
def test_class_is_planned_for_days_of_its_own(instructor, starts_on, ends_on, weekdays, days):
    session = plan(instructor, starts_on, ends_on, weekdays=weekdays)

    assert [day.day for day in class_days(session)] == days


def test_days_stay_when_the_working_days_of_the_site_change(instructor):
    session = plan(instructor, FRIDAY, MONDAY)
    session.site.working_days = [2, 3]
    session.site.save(update_fields=["working_days"])

    assert class_days(ClassSession.objects.get(pk=session.pk)) == [FRIDAY, MONDAY]


@time_machine.travel(NOON, tick=False)
def test_every_page_says_the_same_of_a_class_on_a_weekend(client, instructor):
    session = make_session(
        instructor=instructor, people=(make_person(),), starts_on=FRIDAY, ends_on=SUNDAY
    )
    day = reverse("assessments:class_day", args=[session.number])

    assert client.get(reverse("assessments:class_day_today")).url == day
    assert [held.day for held in client.get("/bench/").context["bench"].classes] == [2]
    page = client.get(reverse("training:class_detail", args=[session.number])).content.decode()
    assert day in page
    attendance = reverse("training:class_attendance", args=[session.number, "2026-11-28"])
    assert attendance in page
    enrolment = session.enrolments.get()
    assert client.post(attendance, {"present": [enrolment.pk]}).status_code == 302
    assert Attendance.objects.get().day == SATURDAY
    assert "is not held today" not in client.get(day).content.decode()


@time_machine.travel(NOON, tick=False)
def test_no_page_takes_a_day_between_for_one_of_the_class(client, instructor):
    session = make_session(
        instructor=instructor, people=(make_person(),), starts_on=FRIDAY, ends_on=MONDAY
    )
    day = reverse("assessments:class_day", args=[session.number])

    assert (
        "No class runs today" in client.get(reverse("assessments:class_day_today")).content.decode()
    )
    assert client.get("/bench/").context["bench"].classes == []
    page = client.get(reverse("training:class_detail", args=[session.number])).content.decode()
    assert day not in page
    assert "is not held today" in client.get(day).content.decode()
    missing = reverse("training:class_attendance", args=[session.number, "2026-11-28"])
    assert client.get(missing).status_code == 404


def test_card_names_the_next_day_of_the_class(instructor):
    person = make_person()
    make_session(instructor=instructor, people=(person,), starts_on=FRIDAY, ends_on=MONDAY)

    assert [line.by for line in card._classes(person, SATURDAY)] == [MONDAY]


def change(session, instructor, **fields):
    return courses.change_class(
        **{
            "session": session,
            "instructor": instructor,
            "starts_on": session.starts_on,
            "ends_on": session.ends_on,
            "places": session.places,
            "actor": instructor,
            "at": NOW + timedelta(days=9),
            **fields,
        }
    )


def test_class_that_is_moved_keeps_to_the_days_there(instructor):
    session = plan(instructor, FRIDAY, MONDAY)
    change(session, instructor, starts_on=date(2026, 12, 2), ends_on=date(2026, 12, 4))

    assert [day.day for day in class_days(session)] == [2, 3, 4]
    session.refresh_from_db()
    assert weekdays_chosen(session) == []
    change(session, instructor, weekdays=(2,))
    assert [day.day for day in class_days(session)] == [2, 4]


def test_day_on_which_attendance_was_taken_stays_a_day_of_the_class(instructor):
    session = make_session(
        instructor=instructor, people=(make_person(),), starts_on=FRIDAY, ends_on=SUNDAY
    )
    attendance.take_attendance(
        session=session, day=SATURDAY, present=[], actor=instructor, at=NOW + timedelta(days=9)
    )

    with pytest.raises(TrainingError, match="Attendance was taken on Sat 28 Nov 2026"):
        change(session, instructor, weekdays=(5,))
    assert class_days(session) == [FRIDAY, SATURDAY, SUNDAY]


def test_form_of_a_class_shows_and_takes_its_weekdays(client, instructor):
    session = plan(instructor, FRIDAY, MONDAY, weekdays=(6,))
    address = reverse("training:class_edit", args=[session.number])

    shown = client.get(address).context["form"]["weekdays"].value()
    assert shown == [1, 5, 6]
    answer = client.post(
        address,
        {
            "instructor": instructor.employee_number,
            "starts_on": "2026-11-27",
            "ends_on": "2026-11-30",
            "places": "4",
            "weekdays": ["7"],
        },
        follow=True,
    )
    assert "Fri 27 Nov 2026, Sun 29 Nov 2026, Mon 30 Nov 2026" in answer.content.decode()
    assert class_days(session) == [FRIDAY, SUNDAY, MONDAY]

"""Classes are planned, filled to their places and attended on their days."""

from datetime import date, timedelta

import pytest

from records.models import TrailEntry
from tests.factories import NOW, TODAY, make_person, make_session, make_site, make_user
from training.exceptions import TrainingError
from training.models import Attendance, Course, Enrolment
from training.services import attendance, courses

pytestmark = pytest.mark.django_db


@pytest.fixture
def instructor():
    return make_user("instructor")


def plan(instructor, **fields):
    course, _made = Course.objects.get_or_create(code="HS-1", defaults={"title": "Terminals"})
    return courses.plan_class(
        **{
            "course_revision": course.revisions.get_or_create(
                revision=1, defaults={"published_at": NOW}
            )[0],
            "site": make_site(),
            "instructor": instructor,
            "starts_on": TODAY,
            "ends_on": TODAY + timedelta(days=2),
            "places": 2,
            "actor": instructor,
            "at": NOW,
            **fields,
        }
    )


def test_a_class_gets_a_number_of_its_site(instructor):
    session = plan(instructor)

    assert session.number == "CA-K-00001"
    assert TrailEntry.objects.get().act == "class planned"


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"ends_on": TODAY - timedelta(days=1)}, "comes before the first"),
        ({"ends_on": TODAY + timedelta(days=200)}, "Plan several classes"),
    ],
    ids=["ends before it starts", "too long"],
)
def test_a_class_that_cannot_be_is_not_planned(instructor, fields, message):
    with pytest.raises(TrainingError, match=message):
        plan(instructor, **fields)


def test_a_class_is_held_by_an_instructor_of_the_site(instructor):
    elsewhere = make_site("Aldergate", "AL", time_zone="Europe/London")

    with pytest.raises(TrainingError, match="is not an instructor at Aldergate"):
        plan(instructor, site=elsewhere)
    with pytest.raises(TrainingError, match="is not an instructor at Castelmar"):
        plan(make_user("quality"))


def test_people_are_enrolled_once(instructor):
    session = plan(instructor)
    person = make_person()

    courses.enrol_people(session=session, people=[person], actor=instructor, at=NOW)
    again = courses.enrol_people(session=session, people=[person], actor=instructor, at=NOW)

    assert again == []
    assert session.enrolments.get().person == person


def test_a_class_is_not_overfilled_and_nobody_is_enrolled_by_half(instructor):
    session = plan(instructor)
    people = [make_person() for _number in range(3)]

    with pytest.raises(TrainingError, match="2 places left and 3 are wanted"):
        courses.enrol_people(session=session, people=people, actor=instructor, at=NOW)
    assert not Enrolment.objects.exists()

    courses.enrol_people(session=session, people=people[:2], actor=instructor, at=NOW)
    with pytest.raises(TrainingError, match="0 places left"):
        courses.enrol_people(session=session, people=people, actor=instructor, at=NOW)


def test_whoever_leaves_before_the_class_is_not_enrolled(instructor):
    person = make_person(left_on=TODAY - timedelta(days=1), full_name="Joss Ferreira")

    with pytest.raises(TrainingError, match="Joss Ferreira left on Tue 24 Nov 2026"):
        courses.enrol_people(session=plan(instructor), people=[person], actor=instructor, at=NOW)


def test_attendance_is_said_for_everybody_and_may_be_said_again(instructor):
    session = make_session(people=(make_person(), make_person()), instructor=instructor)
    first, second = session.enrolments.all()

    for present in ([first.pk], [second.pk]):
        attendance.take_attendance(
            session=session, day=TODAY, present=present, actor=instructor, at=NOW
        )

    present = dict(Attendance.objects.values_list("enrolment", "present"))
    assert present == {first.pk: False, second.pk: True}
    assert TrailEntry.objects.filter(act="attendance taken").count() == 2


@pytest.mark.parametrize(
    ("day", "message"),
    [
        (TODAY - timedelta(days=1), "is not held on"),
        (TODAY + timedelta(days=1), "still to come"),
    ],
    ids=["before the class", "to come"],
)
def test_attendance_is_taken_on_a_day_of_the_class(instructor, day, message):
    session = make_session(
        people=(make_person(),), instructor=instructor, ends_on=TODAY + timedelta(days=1)
    )

    with pytest.raises(TrainingError, match=message):
        attendance.take_attendance(session=session, day=day, present=[], actor=instructor, at=NOW)


def test_attendance_of_nobody_is_not_taken(instructor):
    with pytest.raises(TrainingError, match="Enrol people first"):
        attendance.take_attendance(
            session=make_session(), day=TODAY, present=[], actor=instructor, at=NOW
        )


def test_a_place_is_given_free_until_attendance_is_taken(instructor):
    session = make_session(people=(make_person(), make_person()), instructor=instructor)
    first, second = session.enrolments.all()

    courses.cancel_enrolment(enrolment=first, actor=instructor, at=NOW)
    attendance.take_attendance(session=session, day=TODAY, present=[], actor=instructor, at=NOW)

    with pytest.raises(TrainingError, match="they stay in the class"):
        courses.cancel_enrolment(enrolment=second, actor=instructor, at=NOW)
    assert session.enrolments.get() == second


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


def test_a_class_is_moved(instructor):
    session = make_session(instructor=instructor)

    change(session, instructor, ends_on=TODAY + timedelta(days=4), room="Bench room 2")

    session.refresh_from_db()
    assert (session.ends_on, session.room) == (TODAY + timedelta(days=4), "Bench room 2")


def test_a_class_keeps_its_people_and_the_days_they_attended(instructor):
    session = make_session(people=(make_person(), make_person()), instructor=instructor)
    attendance.take_attendance(session=session, day=TODAY, present=[], actor=instructor, at=NOW)

    with pytest.raises(TrainingError, match="at least as many places"):
        change(session, instructor, places=1)
    with pytest.raises(TrainingError, match="Attendance was taken on Wed 25 Nov 2026"):
        change(
            session,
            instructor,
            starts_on=TODAY + timedelta(days=1),
            ends_on=TODAY + timedelta(days=2),
        )


def test_a_class_on_days_that_cannot_be_reckoned_with_is_not_planned(instructor):
    for day in (date(1, 1, 1), date(9999, 12, 31)):
        with pytest.raises(TrainingError, match="in the years 1900 to 2200"):
            plan(instructor, starts_on=day, ends_on=day)

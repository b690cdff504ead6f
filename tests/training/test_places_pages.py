"""From names that were ticked in a list to a class: put in one, or in one planned for them."""

from datetime import timedelta

import pytest

from tests.factories import NOW, make_person, make_session, make_site, make_user
from training.models import ClassSession, Course, CourseRevision, Enrolment

pytestmark = pytest.mark.django_db

PLACES = "/classes/places/"


@pytest.fixture
def today():
    return make_site().today()


@pytest.fixture
def instructor(client):
    user = make_user("instructor")
    client.force_login(user)
    return user


@pytest.fixture
def people():
    return [make_person(full_name=name) for name in ("Ada Brisk", "Ben Colt", "Cy Dunne")]


def coming(today, days=7, **fields):
    day = today + timedelta(days=days)
    return make_session(starts_on=day, ends_on=day, **{"places": 4, **fields})


def numbers(people):
    return [person.employee_number for person in people]


def place(client, people, session, **fields):
    return client.post(
        PLACES,
        {"person": numbers(people), "session": session and session.number, **fields},
        follow=True,
    )


def said(response):
    return " ".join(str(message) for message in response.context["messages"])


def test_ticked_names_stand_beside_the_classes_to_come(client, instructor, people, today):
    first = coming(today, people=(people[1],))
    coming(today, days=-7)
    later = coming(today, days=30)

    found = client.get(PLACES, {"person": [*numbers(people), numbers(people)[0], "nobody"]})

    places = found.context["places"]
    assert [one.person for one in places.people] == people
    assert [one.session for one in places.classes] == [first, later]
    assert places.in_one == 1
    assert list(places.people[1].enrolled) == [first]
    assert [(one.free, one.newcomers) for one in places.classes] == [(3, 2), (4, 3)]


def test_all_are_put_in_the_class_by_one_press(client, instructor, people, today):
    session = coming(today)

    response = place(client, people, session)

    assert response.redirect_chain[-1][0] == f"/classes/{session.number}/"
    assert set(Enrolment.objects.filter(session=session).values_list("person", flat=True)) == {
        person.pk for person in people
    }
    assert said(response) == "3 people are enrolled."


def test_second_press_enrols_nobody_twice_and_says_who_was_there(client, instructor, people, today):
    session = coming(today)
    place(client, people, session)

    again = place(client, people, session)

    assert session.enrolments.count() == 3
    assert said(again) == "0 people are enrolled. 3 were in the class already."


def test_class_without_room_for_all_is_no_choice_and_takes_nobody(
    client, instructor, people, today
):
    session = coming(today, places=2)

    shown = client.get(PLACES, {"person": numbers(people)})
    refused = place(client, people, session)

    assert not shown.context["places"].classes[0].has_room
    assert f'value="{session.number}"' not in shown.content.decode()
    assert "has 2 places left and 3 are wanted" in refused.content.decode()
    assert not session.enrolments.exists()


def test_who_is_in_another_class_on_these_days_is_said_once_before(
    client, instructor, people, today
):
    coming(today, people=(people[0],))
    session = coming(today)

    asked = place(client, people, session)
    assert asked.status_code == 422
    assert "In another class on the same days." in asked.content.decode()
    assert not session.enrolments.exists()

    overlaps = [str(enrolment.pk) for enrolment in asked.context["overlaps"]]
    place(client, people, session, overlap=overlaps)
    assert session.enrolments.count() == 3


@pytest.mark.parametrize(
    ("who", "choose", "message"),
    [
        ([], True, "Nobody is ticked"),
        (["Ada"], False, "Choose a class, or plan one for them."),
    ],
)
def test_what_is_missing_is_said(client, instructor, people, today, who, choose, message):
    session = coming(today)
    ticked = [person for person in people if person.full_name.split()[0] in who]

    response = place(client, ticked, session if choose else "")

    assert response.status_code == 422
    if ticked:
        assert message in response.content.decode()
    assert not Enrolment.objects.exists()


def test_class_of_another_site_and_people_elsewhere_are_no_choice(client, instructor, today):
    there = make_site("Aldergate", "AL")
    stranger = make_person(there)
    session = make_session(there, starts_on=today, ends_on=today)

    shown = client.get(PLACES, {"person": stranger.employee_number})
    refused = place(client, [stranger], session)

    assert shown.context["places"].people == []
    assert refused.status_code == 422
    assert not Enrolment.objects.exists()


def plan(client, instructor, people, today, **fields):
    course, _made = Course.objects.get_or_create(code="T-1", title="Terminals")
    revision, _made = CourseRevision.objects.get_or_create(
        course=course, revision=1, defaults={"published_at": NOW}
    )
    return client.post(
        "/classes/new/",
        {
            "course_revision": revision.pk,
            "site": make_site().pk,
            "instructor": instructor.employee_number,
            "starts_on": today,
            "ends_on": today,
            "places": 8,
            "room": "",
            "person": numbers(people),
            **fields,
        },
        follow=True,
    )


def test_class_is_planned_and_filled_in_one_act(client, instructor, people, today):
    shown = client.get("/classes/new/", {"person": numbers(people)})
    assert "Plan the class and enrol 3" in shown.content.decode().replace("\u00a0", " ")

    response = plan(client, instructor, people, today)

    assert ClassSession.objects.get().enrolments.count() == 3
    assert "3 people are enrolled" in said(response)


def test_class_with_too_few_places_for_them_is_not_planned(client, instructor, people, today):
    response = plan(client, instructor, people, today, places=2)

    assert response.status_code == 422
    assert "Give it more places" in response.content.decode()
    assert not ClassSession.objects.exists()


def test_planning_twice_by_a_second_press_asks_about_the_first(client, instructor, people, today):
    plan(client, instructor, people, today)

    again = plan(client, instructor, people, today)

    assert again.status_code == 422
    told = again.content.decode()
    assert "In another class on the same days." in told
    assert "an instructor is taken on the same day" in told
    first = ClassSession.objects.get()

    # What is known by now is sent along, and nothing is asked twice.
    known = {"known": first.number}
    assert (
        f'value="{first.number}"'
        in plan(client, instructor, people, today, **known).content.decode()
    )
    overlap = list(first.enrolments.values_list("pk", flat=True))
    plan(client, instructor, people, today, **known, overlap=overlap)
    assert ClassSession.objects.count() == 2

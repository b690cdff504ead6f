"""People find the classes that serve what they need, book a place and give it back in time."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.urls import reverse

from certification.queries.needs import needs
from people.models import Person
from tests.assessments.together import at_once
from tests.factories import (
    NOW,
    TODAY,
    make_board,
    make_certificate,
    make_exercise,
    make_person,
    make_revision,
    make_scope,
    make_session,
    make_site,
    make_user,
)
from training.exceptions import InAnotherClass, TrainingError
from training.models import ClassSession, Lesson
from training.presenters.offers import offers_for
from training.services import booking

pytestmark = pytest.mark.django_db

LATER = TODAY + timedelta(days=7)
OPEN = {"starts_on": LATER, "ends_on": LATER, "open_to": "site"}


def book(session, person, at=NOW, act=booking.book_place):
    return act(session=session, person=person, actor="test", at=at)


def teach(session, exercise):
    Lesson.objects.create(
        course_revision=session.course_revision,
        order=1,
        title="Wrap",
        minutes=60,
        exercise=exercise,
    )
    return session


def test_place_is_booked_once_however_often_pressed():
    session, person = make_session(**OPEN), make_person()

    assert book(session, person) == book(session, person)
    assert session.enrolments.get().person == person


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"open_to": "nobody"}, "not open to you"),
        ({"starts_on": TODAY, "ends_on": TODAY}, "Places were booked until"),
        ({"book_until_days": 8}, "Places were booked until Tue 24 Nov 2026"),
        ({"cancelled_at": NOW}, "is cancelled"),
        ({"places": 0}, "The last place is taken"),
    ],
    ids=["closed", "begins today", "too late", "cancelled", "full"],
)
def test_place_that_cannot_be_had_is_refused(fields, message):
    session = make_session(**OPEN | fields)

    with pytest.raises(TrainingError, match=message):
        book(session, make_person())
    assert not session.enrolments.exists()


def test_class_of_another_site_is_booked_only_where_it_is_open_to_all():
    elsewhere = make_site("Aldergate", "AL", time_zone="Europe/London")
    person = make_person(elsewhere)
    with pytest.raises(TrainingError, match="not open to you"):
        book(make_session(**OPEN), person)
    book(make_session(**OPEN | {"open_to": "all"}), person)


def test_who_moved_since_the_page_was_shown_is_refused():
    session, person = make_session(**OPEN), make_person()
    elsewhere = make_site("Aldergate", "AL", time_zone="Europe/London")
    Person.objects.filter(pk=person.pk).update(site=elsewhere)

    with pytest.raises(TrainingError, match="not open to you"):
        book(session, person)


def test_nobody_books_two_classes_on_one_day():
    person = make_person()
    book(make_session(**OPEN), person)

    with pytest.raises(InAnotherClass):
        book(make_session(**OPEN), person)


def test_place_given_back_in_time_goes_to_who_waits():
    person, next_one = make_person(), make_person()
    session = make_session(**OPEN | {"places": 1})
    book(session, person)
    for _press in range(2):
        book(session, next_one, act=booking.book_waiting)

    book(session, person, act=booking.give_back)

    assert session.enrolments.get().person == next_one
    with pytest.raises(TrainingError, match="You have no place"):
        book(session, person, act=booking.give_back)


def test_place_is_not_given_back_on_the_last_day_but_waiting_always_ends():
    session = make_session(**OPEN | {"places": 1})
    person, waits = make_person(), make_person()
    book(session, person)
    book(session, waits, act=booking.book_waiting)
    late = NOW + timedelta(days=7)

    with pytest.raises(TrainingError, match="Places were given back until Tue 1 Dec 2026"):
        book(session, person, at=late, act=booking.give_back)
    book(session, waits, at=late, act=booking.give_back)
    assert not session.waiting_places.exists()


@pytest.fixture
def exercise():
    return make_exercise()


def test_classes_that_serve_what_ends_come_first(exercise):
    person, scope = make_person(), make_scope()
    revision = make_revision(scope, exercise=exercise)
    make_certificate(person, scope, revision=revision, issued_on=TODAY - timedelta(days=670))
    other = make_session(**OPEN)
    serving = teach(make_session(**OPEN | {"ends_on": LATER + timedelta(days=1)}), exercise)

    offers = offers_for(person, NOW)

    [offer] = offers.serving
    assert offer.session == serving
    assert [need.title for need in offer.serves] == [scope.title]
    assert offer.serves[0].by == date(2027, 1, 24)
    assert [one.session for one in offers.others] == [other]


def test_needs_are_what_ended_then_what_ends_then_what_was_begun(exercise):
    person = make_person()
    ended, ending, begun, far, strange = (make_scope(title=f"Scope {n}") for n in range(5))
    for scope, days in ((ended, 800), (ending, 700), (far, 10)):
        make_certificate(person, scope, issued_on=TODAY - timedelta(days=days))
    make_revision(begun, exercise=exercise)
    make_revision(strange, exercise=make_exercise())
    make_board(person, exercise)

    assert [need.scope_code for need in needs(person, TODAY)] == [
        ended.code,
        ending.code,
        begun.code,
    ]


def test_my_card_leads_to_a_place_in_three_presses(client):
    user = make_user()
    today = user.person.site.today()
    scope, exercise = make_scope(), make_exercise()
    make_certificate(
        user.person,
        scope,
        revision=make_revision(scope, exercise=exercise),
        issued_on=today - timedelta(days=670),
    )
    days = {"starts_on": today + timedelta(days=5), "ends_on": today + timedelta(days=5)}
    session = teach(make_session(**OPEN | days), exercise)
    client.force_login(user)
    offers = reverse("training:class_offers")
    address = {
        name: reverse(f"training:{name}", args=[session.number])
        for name in ("class_book", "class_give_back", "class_book_waiting")
    }

    assert f'href="{offers}"' in client.get(reverse("certification:my_card")).content.decode()
    assert address["class_book"] in client.get(offers).content.decode()
    told = client.post(address["class_book"], follow=True).content.decode()
    assert "You have a place in" in told
    assert address["class_give_back"] in told
    assert "free again" in client.post(address["class_give_back"], follow=True).content.decode()
    refused = client.post(address["class_book_waiting"], follow=True).content.decode()
    assert "has a place free" in refused


def test_class_that_is_not_offered_is_not_there(client):
    client.force_login(make_user())
    session = make_session(**OPEN | {"open_to": "nobody"})

    for name in ("class_book", "class_give_back", "class_book_waiting"):
        assert client.post(reverse(f"training:{name}", args=[session.number])).status_code == 404
    assert session.number not in client.get(reverse("training:class_offers")).content.decode()


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
@pytest.mark.django_db(transaction=True)
def test_last_place_is_given_to_one_of_two_who_book_at_once():
    session = make_session(**OPEN | {"places": 1})
    people = [make_person(), make_person()]

    def try_booking(person):
        try:
            return book(session, person)
        except TrainingError as error:
            return str(error)

    given = at_once(*(lambda one=one: try_booking(one) for one in people))

    assert sum("The last place is taken" in one for one in given if isinstance(one, str)) == 1
    assert ClassSession.objects.get().enrolments.count() == 1

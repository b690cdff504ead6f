"""A session ends some hours after signing in, however busy it is kept; a kiosk's does not."""

from datetime import timedelta

import pytest
import time_machine
from django.core.cache import cache
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from config.middleware import this_minute
from people.middleware import tablets
from people.services import tablets as tablet_services
from records.models import TrailEntry
from tests.factories import NOW, PASSWORD, make_kiosk, make_person, make_user

pytestmark = pytest.mark.django_db

LOGIN = reverse("account_login")
PAGE = reverse("people:own_sign_in")


@pytest.fixture(autouse=True)
def clock(monkeypatch):
    monkeypatch.setattr("config.middleware.this_minute", this_minute)  # As it passes here.
    cache.clear()
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller
    cache.clear()


def sign_in(client, user):
    return client.post(LOGIN, {"login": user.employee_number, "password": PASSWORD})


def busy(client, clock, hours, page=PAGE):
    """What each half hour answers, since whoever is idle is signed out anyway."""
    answers = []
    for _half in range(int(hours * 2)):
        clock.shift(timedelta(minutes=30))
        answers.append(client.get(page).status_code)
    return answers


def test_busy_session_ends_after_its_hours(client, clock):
    user = make_user(password=PASSWORD)
    sign_in(client, user)

    assert busy(client, clock, 11.5) == [200] * 23
    clock.shift(timedelta(minutes=29, seconds=59))
    assert client.get(PAGE).status_code == 200
    clock.shift(1)
    answer = client.get(PAGE, follow=True)

    assert answer.redirect_chain == [(f"{LOGIN}?next={PAGE}", 302)]
    assert "A session ends after 12 h." in answer.text
    assert TrailEntry.objects.last().act == "signed out"
    sign_in(client, user)
    assert busy(client, clock, 1) == [200, 200]


def test_hours_are_a_setting(client, clock, settings):
    settings.SESSION_HOURS = 2
    sign_in(client, make_user(password=PASSWORD))
    assert busy(client, clock, 2) == [200, 200, 200, 302]


def test_message_is_in_the_language_of_who_was_signed_in(client, clock, settings):
    settings.SESSION_HOURS = 2
    sign_in(client, make_user(password=PASSWORD, person=make_person(language="de")))
    clock.shift(timedelta(hours=2))
    answer = client.get(PAGE, follow=True, headers={"accept-language": "de"})
    assert "Eine Sitzung endet nach 2 Std." in answer.text


def test_session_without_the_mark_has_ended(client):
    client.force_login(make_user())
    session = client.session
    del session["signed_in_at"]
    session.save()
    assert client.get(PAGE).url.startswith(LOGIN)


def test_request_under_way_does_not_bring_an_ended_session_back(client, clock):
    sign_in(client, make_user(password=PASSWORD))
    old = client.cookies["sessionid"].value
    clock.shift(timedelta(hours=12))
    client.get(PAGE)
    under_way = Client()
    under_way.cookies["sessionid"] = old
    assert under_way.get(PAGE).url.startswith(LOGIN)


def test_kiosk_stays(client, clock):
    client.force_login(make_kiosk())
    bench = reverse("certification:bench_check")
    assert busy(client, clock, 30, bench) == [200] * 60


@pytest.fixture
def shared(client):
    keeper = make_user("instructor", password=PASSWORD)
    tablet, token = tablet_services.declare_tablet(
        site=keeper.person.site, name="Bench room 2", actor=keeper, at=NOW
    )
    tablet_services.set_pin(user=keeper, pin="2580", badge="CARD-7", proof="password", at=NOW)
    response = HttpResponse()
    tablets.set_cookie(response, tablet, token)
    client.cookies.update(response.cookies)
    return keeper


def test_shared_tablet_asks_for_the_password_after_the_hours_too(client, clock, shared, settings):
    settings.SESSION_HOURS = 1
    client.post(reverse("people:tablet_open"), {"badge": "CARD-7", "pin": "2580"})
    assert client.get(PAGE).status_code == 200
    awake = reverse("people:tablet_awake")
    for _minute in range(59):
        clock.shift(60)
        assert client.get(awake).status_code == 204
    clock.shift(60)
    assert client.get(PAGE).url.startswith(LOGIN)


def test_password_at_a_shared_tablet_begins_the_hours_anew(client, clock, shared, settings):
    settings.SESSION_HOURS = 1
    client.post(reverse("people:tablet_open"), {"badge": "CARD-7", "pin": "2580"})
    clock.shift(timedelta(minutes=59))
    client.post(reverse("people:tablet_full"), {"password": PASSWORD})
    clock.shift(timedelta(minutes=3))
    assert client.get(PAGE).status_code == 200

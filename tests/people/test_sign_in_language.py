"""Signing in speaks the language of the browser, and then that of the person."""

import re

import pytest
from django.core import mail
from django.http import HttpResponse
from django.urls import reverse
from django.utils.html import strip_tags

from people.middleware import tablets
from people.models import SharedTablet
from people.services import tablets as tablet_services
from tests.factories import NOW, PASSWORD, make_person, make_user

pytestmark = pytest.mark.django_db

LOGIN = reverse("account_login")
ENGLISH = re.compile(
    r"\b(the|your|you|is|are|with|and|not|this|that|sign|password|address|again)\b",
    re.IGNORECASE,
)
GERMAN = {"accept-language": "de-AT,de;q=0.9,en;q=0.5"}


def words(answer):
    body = bytes(answer.content).decode().partition("<body")[2].partition(">")[2]
    return " ".join(strip_tags(body).split())


def is_german(answer):
    assert answer.status_code in (200, 422)
    assert '<html lang="de">' in answer.content.decode()
    assert answer["Content-Language"] == "de"
    assert "Accept-Language" in answer["Vary"]
    english = ENGLISH.findall(re.sub(r"https?://\S+", "", words(answer)))
    assert english == [], words(answer)
    return True


@pytest.mark.parametrize(
    "name",
    [
        "account_login",
        "account_reset_password",
        "account_reset_password_done",
        "account_reset_password_from_key_done",
    ],
)
def test_page_before_signing_in_is_in_the_browsers_language(client, name):
    assert is_german(client.get(reverse(name), headers=GERMAN))
    english = client.get(reverse(name), headers={"accept-language": "fr,en;q=0.5"})
    assert '<html lang="en">' in english.content.decode()


@pytest.mark.parametrize("name", ["account_change_password", "account_logout"])
def test_page_of_ones_own_is_in_ones_own_language(client, name):
    person = make_person(language="de", email="marta@skarnfell.example")
    client.force_login(make_user(person=person, password=PASSWORD, email=person.email))
    assert is_german(client.get(reverse(name), headers={"accept-language": "en"}))
    client.force_login(make_user(person=make_person(), password=PASSWORD))
    assert '<html lang="en">' in client.get(reverse(name), headers=GERMAN).content.decode()


def test_what_is_wrong_is_said_in_the_same_language(client):
    wrong = client.post(LOGIN, {"login": "1", "password": "x"}, headers=GERMAN)
    assert is_german(wrong)
    assert "is-error" in wrong.content.decode()


def test_one_time_password_is_changed_in_ones_own_language(client):
    user = make_user(
        person=make_person(language="de"), password=PASSWORD, password_is_one_time=True
    )
    client.force_login(user)
    page = client.get("/my-card/", follow=True)
    assert is_german(page)
    assert "Wählen Sie ein eigenes" in words(page)


PIN = reverse("people:pin")
FITS = {"badge": "CARD-7", "pin": "2580", "again": "2580", "password": PASSWORD}


@pytest.fixture
def reader(client):
    """Somebody who reads German, at a shared tablet."""
    user = make_user(person=make_person(language="de", full_name="Marta Lind"), password=PASSWORD)
    keeper = make_user("instructor")
    tablet, token = tablet_services.declare_tablet(
        site=keeper.person.site, name="Platz 7", actor=keeper, at=NOW
    )
    client.force_login(user)
    response = HttpResponse()
    tablets.set_cookie(response, tablet, token)
    client.cookies.update(response.cookies)
    return user


def test_badge_and_pin_are_set_and_given_up_in_ones_own_language(client, reader):
    make_user(person=make_person(employee_number="55555"))
    assert is_german(client.get(PIN))
    for change, says in (
        ({"again": "2581"}, "Die beiden sind verschieden"),
        ({"password": "x"}, "Das ist nicht Ihr Passwort"),
        ({"badge": "55555"}, "gehört jemand anderem"),
        ({"pin": "12", "again": "12"}, "vier bis acht Ziffern"),
        ({"pin": "1234", "again": "1234"}, "auf- oder abwärts"),
        ({"pin": "7777", "again": "7777"}, "die sich wiederholt"),
        ({"pin": "1999", "again": "1999"}, "Eine Jahreszahl"),
        ({"badge": "X-4471", "pin": "4471", "again": "4471"}, "lesen andere"),
    ):
        refused = client.post(PIN, FITS | change)
        assert is_german(refused)
        assert says in words(refused)
    done = client.post(PIN, FITS, follow=True)
    assert is_german(done)
    assert "Ausweis und PIN sind gesetzt" in words(done)
    assert is_german(client.post(PIN, {"act": "remove", "remove-password": ""}))
    gone = client.post(PIN, {"act": "remove", "remove-password": PASSWORD}, follow=True)
    assert "Ihre PIN ist gelöscht" in words(gone)


def test_wrong_password_says_nothing_of_signing_where_nothing_is_signed(client):
    client.force_login(make_user(password=PASSWORD))
    refused = client.post(PIN, FITS | {"password": "x"})
    assert "That is not your password. Type it again, or reset it." in words(refused)


@pytest.mark.parametrize("path", ["/my-card/", PIN])
def test_bar_of_a_shared_tablet_speaks_as_its_page_does(client, reader, path):
    def bar():
        answer = client.get(path)
        assert '<html lang="de">' in answer.text
        [bar] = re.findall(r'<aside class="tablet-bar.*?</aside>', answer.text, re.DOTALL)
        assert 'aria-label="Gemeinsames Tablet"' in bar
        return " ".join(strip_tags(bar.replace("<", " <")).split())

    assert bar() == "Marta Lind, Platz 7 Person wechseln Sperren"
    tablet_services.set_pin(user=reader, pin="2580", badge="", proof="password", at=NOW)
    badge = {"badge": reader.employee_number, "pin": "2580"}
    client.post(reverse("people:tablet_open"), badge)
    assert bar() == ("Nur lesen , Marta Lind, Platz 7 Voll anmelden Person wechseln Sperren")
    refused = client.post(PIN, FITS)
    assert refused.status_code == 403
    assert ENGLISH.findall(words(refused)) == []


def test_lock_speaks_to_whoever_locked_it_and_before_signing_in_to_the_browser(client, reader):
    lock, full = reverse("people:tablet"), reverse("people:tablet_full")
    in_english = {"accept-language": "en"}

    def german(answer):
        assert answer["Content-Language"] == "de"
        assert ENGLISH.findall(words(answer)) == [], words(answer)
        return words(answer)

    assert "Sie sind voll angemeldet" in german(client.get(lock, headers=in_english))
    client.post(reverse("people:tablet_lock"))
    assert "Gesperrt von" in german(client.get(lock, headers=in_english))
    assert "Das ist nicht Ihr Passwort" in german(client.post(full, {"password": "x"}))
    wrong = {"badge": "55555", "pin": "2580"}
    assert "passen nicht zusammen" in german(client.post(reverse("people:tablet_open"), wrong))
    client.post(full, {"password": PASSWORD})
    client.post(reverse("account_logout"))
    assert is_german(client.get(lock, headers=GERMAN))
    assert '<html lang="en">' in client.get(lock, headers=in_english).text


def test_who_only_reads_is_told_so_in_their_language_on_every_page(client, reader):
    tablet_services.set_pin(user=reader, pin="2580", badge="", proof="password", at=NOW)
    badge = {"badge": reader.employee_number, "pin": "2580"}
    client.post(reverse("people:tablet_open"), badge)
    refused = client.post("/boards/new/", {})
    assert refused.status_code == 403
    assert "Sie sind nur zum Lesen angemeldet" in words(refused)
    assert ENGLISH.findall(words(refused)) == []


def test_end_of_a_shared_tablet_is_told_in_the_language_of_the_page_that_follows(client, reader):
    tablet_services.set_pin(user=reader, pin="2580", badge="", proof="password", at=NOW)
    badge = {"badge": reader.employee_number, "pin": "2580"}
    client.post(reverse("people:tablet_open"), badge)
    tablet = SharedTablet.objects.get()
    tablet_services.revoke_tablet(tablet=tablet, actor=tablet.declared_by, at=NOW)
    page = client.get("/boards/", headers=GERMAN, follow=True)
    assert is_german(page)
    assert "kein gemeinsames mehr" in words(page)


def test_link_to_a_new_password_comes_in_the_same_language(client):
    make_user(person=make_person(email="marta@skarnfell.example"), password=PASSWORD)
    client.post(
        reverse("account_reset_password"), {"email": "marta@skarnfell.example"}, headers=GERMAN
    )
    [message] = mail.outbox
    assert "Passwort" in message.body


def test_next_answer_does_not_keep_the_language(client):
    client.get(LOGIN, headers=GERMAN)
    assert '<html lang="en">' in client.get(LOGIN).content.decode()

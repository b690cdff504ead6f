"""Signing in speaks the language of the browser, and then that of the person."""

import re

import pytest
from django.core import mail
from django.urls import reverse
from django.utils.html import strip_tags

from tests.factories import PASSWORD, make_person, make_user

pytestmark = pytest.mark.django_db

LOGIN = reverse("account_login")
ENGLISH = re.compile(
    r"\b(the|your|you|is|are|with|and|not|this|that|sign|password|address|again)\b",
    re.IGNORECASE,
)
GERMAN = {"accept-language": "de-AT,de;q=0.9,en;q=0.5"}


def words(answer):
    body = answer.content.decode().partition("<body")[2].partition(">")[2]
    return " ".join(strip_tags(body).split())


def is_german(answer):
    assert answer.status_code in (200, 422)
    assert '<html lang="de">' in answer.content.decode()
    assert answer["Content-Language"] == "de"
    assert "Accept-Language" in answer["Vary"]
    found = ENGLISH.findall(re.sub(r"https?://\S+", "", words(answer)))
    assert found == [], words(answer)
    return True


@pytest.mark.parametrize(
    "name",
    [
        "account_login",
        "account_inactive",
        "account_signup",
        "account_reset_password",
        "account_reset_password_done",
        "account_reset_password_from_key_done",
    ],
)
def test_page_before_signing_in_is_in_the_browsers_language(client, name):
    assert is_german(client.get(reverse(name), headers=GERMAN))
    english = client.get(reverse(name), headers={"accept-language": "fr,en;q=0.5"})
    assert '<html lang="en">' in english.content.decode()


@pytest.mark.parametrize("name", ["account_change_password", "account_email", "account_logout"])
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


def test_link_to_a_new_password_comes_in_the_same_language(client):
    make_user(person=make_person(), password=PASSWORD, email="marta@skarnfell.example")
    client.post(
        reverse("account_reset_password"), {"email": "marta@skarnfell.example"}, headers=GERMAN
    )
    [message] = mail.outbox
    assert "Passwort" in message.body


def test_next_answer_does_not_keep_the_language(client):
    client.get(LOGIN, headers=GERMAN)
    assert '<html lang="en">' in client.get(LOGIN).content.decode()

"""Signing in: by number or e-mail, never by signing up, and not by trying passwords."""

import pytest
from django.core.cache import cache
from django.urls import reverse

from tests.factories import PASSWORD, make_person, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def no_attempts_yet():
    cache.clear()
    yield
    cache.clear()


@pytest.fixture
def user():
    person = make_person(employee_number="K-204")
    return make_user(person=person, password=PASSWORD, email="signe@skarnfell.example")


def sign_in(client, login, password=PASSWORD):
    return client.post(reverse("account_login"), {"login": login, "password": password})


@pytest.mark.parametrize("login", ["K-204", "k-204", "signe@skarnfell.example"])
def test_number_and_mail_both_sign_in(client, user, login):
    assert sign_in(client, login).status_code == 302
    assert client.session["_auth_user_id"] == str(user.pk)


def test_a_wrong_password_does_not_sign_in(client, user):
    sign_in(client, "K-204", "a guess")
    assert "_auth_user_id" not in client.session


def test_trying_passwords_is_stopped_even_for_the_right_one(client, user):
    for number in range(10):
        sign_in(client, "K-204", f"guess {number}")
    sign_in(client, "K-204")
    assert "_auth_user_id" not in client.session


@pytest.mark.parametrize("path", ["signup/", "email/", "password/set/", "reauthenticate/", ""])
@pytest.mark.parametrize("method", ["get", "post"])
def test_what_nobody_uses_of_signing_in_is_not_served(client, user, path, method):
    new = {"username": "new", "email": "new@skarnfell.example", "action_add": ""}
    client.force_login(user)
    assert getattr(client, method)(f"/account/{path}", new).status_code == 404


def test_the_administrators_pages_ask_for_the_same_sign_in(client):
    response = client.get("/admin/")
    assert response.status_code == 302
    assert client.get(response.url).url.startswith(reverse("account_login"))

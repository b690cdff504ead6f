"""Administrators open sign-ins, give roles and replace lost passwords; others find nothing."""

import re

import pytest
from django.urls import reverse

from people.models import User
from tests.factories import PASSWORD, make_person, make_site, make_user

pytestmark = pytest.mark.django_db

ACTS = ("person_sign_in", "sign_in_password", "sign_in_switch")


@pytest.fixture
def tamsin():
    return make_person(employee_number="10482", full_name="Tamsin Okoro")


@pytest.fixture
def administrator(client):
    user = make_user("administrator")
    client.force_login(user)
    return user


def url(name):
    return reverse(f"people:{name}", args=["10482"])


def shown_password(answer):
    return re.search(r"<code>([a-z0-9-]+)</code>", answer.content.decode())[1]


def test_a_sign_in_is_opened_and_its_password_shown_once(client, administrator, tamsin):
    assert "Open a sign-in" in client.get(url("person_sign_in")).content.decode()

    answer = client.post(url("person_sign_in"), {"CA": ["instructor"]})

    user = User.objects.get(person=tamsin)
    assert user.check_password(shown_password(answer))
    assert user.has_role("instructor")
    assert "no-store" in answer.headers["Cache-Control"]
    again = client.get(url("person_sign_in")).content.decode()
    assert shown_password(answer) not in again
    assert "one-time password" in again


def test_whoever_signs_in_with_it_has_to_choose_their_own(client, administrator, tamsin):
    password = shown_password(client.post(url("person_sign_in"), {}))
    client.logout()

    client.post(reverse("account_login"), {"login": "10482", "password": password})

    assert client.get("/").url == reverse("account_change_password")


def test_roles_are_saved(client, administrator, tamsin):
    user = make_user("instructor", person=tamsin)

    answer = client.post(url("person_sign_in"), {"CA": ["quality", "line_lead"]})

    assert answer.url == url("person_sign_in")
    assert User.objects.get(pk=user.pk).role_names() == {"quality", "line_lead", "operator"}


def test_a_site_that_the_administrator_does_not_hold_is_not_offered(client, administrator, tamsin):
    make_site("Aldergate", "AL", time_zone="Europe/London")
    make_user(person=tamsin)

    assert "Aldergate" not in client.get(url("person_sign_in")).content.decode()
    client.post(url("person_sign_in"), {"CA": [], "AL": ["quality"]})
    assert User.objects.get(person=tamsin).role_names() == {"operator"}


def test_an_unknown_role_is_refused(client, administrator, tamsin):
    make_user(person=tamsin)

    assert client.post(url("person_sign_in"), {"CA": ["emperor"]}).status_code == 422


def test_the_last_administrator_stays(client):
    own = make_user("administrator", person=make_person(employee_number="10482"))
    client.force_login(own)

    answer = client.post(url("person_sign_in"), {"CA": []})

    assert answer.status_code == 422
    assert "Nobody else administers Castelmar" in answer.content.decode()


def test_a_lost_password_is_replaced_and_ends_open_sessions(client, administrator, tamsin):
    user = make_user(person=tamsin, password=PASSWORD)
    other = type(client)()
    other.login(username="10482", password=PASSWORD)

    answer = client.post(url("sign_in_password"))

    assert User.objects.get(pk=user.pk).check_password(shown_password(answer))
    assert other.get("/").url.startswith(reverse("account_login"))


def test_a_sign_in_is_closed_and_opened_again(client, administrator, tamsin):
    user = make_user(person=tamsin)

    client.post(url("sign_in_switch"), {"act": "close"})
    assert not User.objects.get(pk=user.pk).is_active
    client.post(url("sign_in_switch"), {"act": "open"})
    assert User.objects.get(pk=user.pk).is_active


def test_what_is_refused_is_said_on_the_page(client):
    own = make_user("administrator", person=make_person(employee_number="10482"))
    client.force_login(own)

    answer = client.post(url("sign_in_switch"), {"act": "close"}, follow=True)

    assert "Another administrator" in answer.content.decode()
    assert User.objects.get(pk=own.pk).is_active


def test_acts_on_a_sign_in_that_is_not_there_are_unknown(client, administrator, tamsin):
    assert client.post(url("sign_in_password")).status_code == 404
    assert client.post(url("sign_in_switch"), {"act": "close"}).status_code == 404


def test_acts_take_post_alone(client, administrator, tamsin):
    make_user(person=tamsin)

    assert client.get(url("sign_in_password")).status_code == 405
    assert client.get(url("sign_in_switch")).status_code == 405


@pytest.mark.parametrize("role", ["instructor", "quality", "line_lead", None])
def test_others_find_nothing(client, tamsin, role):
    make_user(person=tamsin)
    client.force_login(make_user(*([role] if role else [])))

    assert {client.post(url(name)).status_code for name in ACTS} == {404}


def test_administrators_of_another_site_find_nothing(client, tamsin):
    make_user(person=tamsin)
    elsewhere = make_site("Aldergate", "AL", time_zone="Europe/London")
    client.force_login(make_user("administrator", site=elsewhere))

    assert {client.post(url(name)).status_code for name in ACTS} == {404}


def test_whoever_is_not_signed_in_is_asked_to(client, tamsin):
    assert client.get(url("person_sign_in")).url.startswith(reverse("account_login"))

"""A link to a new password goes to the address in somebody's record, works once and an hour."""

import re
from datetime import timedelta

import pytest
import time_machine
from allauth.account.models import EmailAddress
from django.conf import settings
from django.core import mail
from django.core.cache import cache
from django.urls import reverse
from django.utils import timezone

from people.services.passwords import change_password
from people.views.passwords import PasswordResetView
from tests.factories import PASSWORD, make_person, make_user

pytestmark = pytest.mark.django_db

RESET = reverse("account_reset_password")
NEW = "a lamp over the far bench"
ADDRESS = "signe@skarnfell.example"


@pytest.fixture(autouse=True)
def no_attempts_yet():
    cache.clear()
    yield
    cache.clear()


@pytest.fixture
def user():
    return make_user(person=make_person(email=ADDRESS), password=PASSWORD, email=ADDRESS)


def ask_for_link(client, email=ADDRESS, **more):
    return client.post(RESET, {"email": email}, **more)


def link_of(message):
    [link] = re.findall(r"https?://\S+/key/\S+", message.body)
    assert link.startswith(settings.PUBLIC_URL + "/")
    return link.removeprefix(settings.PUBLIC_URL)


def follow(client, link, password=NEW):
    """The page that the link leads to, and what it answers to a new password."""
    page = client.get(link, follow=True)
    if not page.redirect_chain:
        return page
    return client.post(
        page.redirect_chain[-1][0], {"password1": password, "password2": password}, follow=True
    )


def test_link_sets_a_new_password_once(client, user):
    ask_for_link(client, ADDRESS.upper())
    [message] = mail.outbox
    assert message.to == [ADDRESS]

    assert "From now on the new password holds" in follow(client, link_of(message)).text
    user.refresh_from_db()
    assert user.check_password(NEW)

    again = follow(client, link_of(message), "yet another one, for the thief")
    assert "This link no longer works" in again.text
    user.refresh_from_db()
    assert user.check_password(NEW)


@pytest.mark.parametrize(("minutes", "works"), [(59, True), (61, False)])
def test_link_works_for_an_hour(client, user, minutes, works):
    ask_for_link(client)
    with time_machine.travel(timezone.now() + timedelta(minutes=minutes), tick=False):
        follow(client, link_of(mail.outbox[0]))
    user.refresh_from_db()
    assert user.check_password(NEW) == works


def test_link_leads_to_the_sites_own_address_whatever_host_was_asked(client, user):
    ask_for_link(client, headers={"host": "localhost"})
    link_of(mail.outbox[0])
    assert "localhost" not in mail.outbox[0].body


def test_address_that_an_open_session_added_gets_nothing_and_signs_nobody_in(client, user):
    added = "passer-by@skarnfell.example"
    EmailAddress.objects.create(user=user, email=added, verified=True, primary=True)

    ask_for_link(client, added)
    assert mail.outbox == []
    client.post(reverse("account_login"), {"login": added, "password": PASSWORD})
    assert "_auth_user_id" not in client.session

    # It does not keep the address in the record from getting its link either.
    ask_for_link(client)
    assert mail.outbox[0].to == [ADDRESS]


def test_address_of_the_sign_in_alone_gets_nothing(client):
    make_user(person=make_person(), password=PASSWORD, email=ADDRESS)
    ask_for_link(client)
    assert mail.outbox == []


def test_nobody_learns_whose_address_it_is(client, user, monkeypatch):
    known, unknown = ask_for_link(client), ask_for_link(client, "nobody@skarnfell.example")

    assert (known.status_code, known.url) == (unknown.status_code, unknown.url) == (302, known.url)
    assert len(mail.outbox) == 1

    def refuse(*_args, **_kwargs):
        raise OSError("no answer")

    monkeypatch.setattr("django.core.mail.backends.locmem.EmailBackend.send_messages", refuse)
    assert ask_for_link(client).status_code == 302


def test_link_is_sent_once_the_answer_is_given(rf, user, monkeypatch):
    sent = []
    monkeypatch.setattr(
        "people.views.passwords.send_reset_links", lambda *asked: sent.append(asked)
    )
    monkeypatch.setattr("allauth.account.views.ratelimit.consume_or_429", lambda *_a, **_k: None)
    view = PasswordResetView()
    view.setup(rf.post(RESET))
    form = view.get_form_class()({"email": ADDRESS})
    assert form.is_valid()

    response = view.form_valid(form)
    assert sent == []
    response.close()
    assert [asked[0] for asked in sent] == [ADDRESS]


def test_link_ends_with_a_closed_sign_in_and_another_address(client, user):
    ask_for_link(client)
    link = link_of(mail.outbox[0])
    type(user).objects.update(is_active=False)
    assert "no longer works" in follow(client, link).text
    type(user).objects.update(is_active=True)
    user.person.email = "new@skarnfell.example"
    user.person.save(update_fields=["email"])
    assert "no longer works" in follow(client, link).text
    user.refresh_from_db()
    assert user.check_password(PASSWORD)


def test_closed_sign_in_says_so_to_whoever_knows_the_password(client, user):
    type(user).objects.update(is_active=False)
    right = client.post(reverse("account_login"), {"login": ADDRESS, "password": PASSWORD})
    wrong = client.post(reverse("account_login"), {"login": ADDRESS, "password": "a guess"})
    assert "This sign-in is closed" in right.text
    assert "This sign-in is closed" not in wrong.text
    assert "_auth_user_id" not in client.session
    ask_for_link(client)
    assert mail.outbox == []


def test_new_password_does_not_open_what_was_closed_meanwhile(user):
    type(user).objects.update(is_active=False)
    change_password(user=user, password=NEW, at=timezone.now())
    user.refresh_from_db()
    assert not user.is_active
    assert user.check_password(NEW)


def test_whoever_has_no_password_is_led_to_a_link(client):
    client.force_login(make_user())
    assert client.get(reverse("account_change_password")).url == RESET

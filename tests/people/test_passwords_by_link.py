"""An administrator never knows a password by which somebody else could sign."""

import json
import re

import pytest
from django.core import mail
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from people.exceptions import ProofRefused
from people.models import User
from people.services.proof import prove_identity
from records.models import TrailEntry
from tests.factories import PASSWORD, make_person, make_user

pytestmark = pytest.mark.django_db

ADDRESS = "signe@skarnfell.example"
NEW = "a lamp over the far bench"
LOGIN = reverse("account_login")


@pytest.fixture(autouse=True)
def no_attempts_yet():
    cache.clear()
    yield
    cache.clear()


@pytest.fixture
def administrator(client):
    user = make_user("administrator", person=make_person(full_name="Ada Holm"))
    client.force_login(user)
    return user


@pytest.fixture
def signe():
    return make_person(email=ADDRESS, full_name="Signe Aas")


def page(person, name="person_sign_in"):
    return reverse(f"people:{name}", args=[person.employee_number])


def link():
    [message] = mail.outbox
    assert message.to == [ADDRESS]
    [link] = re.findall(r"/account/password/reset/key/\S+", message.body)
    return link


def choose(path, password=NEW):
    stranger = Client()
    form = stranger.get(path, follow=True).redirect_chain[-1][0]
    stranger.post(form, {"password1": password, "password2": password})


def acts(user):
    entries = TrailEntry.objects.filter(about_type="sign-in", about_id=str(user.pk))
    told = [(entry.act, entry.actor) for entry in entries.order_by("number")]
    return [each for each in told if "refused" not in each[0]]


def test_opened_sign_in_shows_no_password_but_sends_a_link(client, administrator, signe):
    answer = client.post(page(signe), {"CA": ["quality"]}, follow=True)

    user = User.objects.get(person=signe)
    assert not user.has_usable_password()
    assert "<code>" not in answer.text
    assert f"has been sent a link to choose a password, to {ADDRESS}" in answer.text
    assert link() not in answer.text
    with pytest.raises(ProofRefused):
        prove_identity(user, "")

    choose(link())
    user = User.objects.get(pk=user.pk)
    assert prove_identity(user, NEW) == "password"
    assert not user.password_is_one_time
    assert acts(user) == [
        ("sign-in opened", administrator),
        ("roles set", administrator),
        ("link to a new password sent", None),
        ("password set by a link", user),
    ]


def test_lost_password_ends_at_once_with_every_session(client, administrator, signe):
    user = make_user("quality", person=signe, password=PASSWORD, email=ADDRESS)
    session = Client()
    session.force_login(user)
    assert session.get(reverse("people:own_sign_in")).status_code == 200

    answer = client.post(page(signe, "sign_in_password"), follow=True)

    assert "<code>" not in answer.text
    assert session.get(reverse("people:own_sign_in")).status_code == 302
    with pytest.raises(ProofRefused):
        prove_identity(User.objects.get(pk=user.pk), PASSWORD)
    choose(link())
    assert prove_identity(User.objects.get(pk=user.pk), NEW) == "password"


def test_mail_that_cannot_be_sent_is_said_and_can_be_tried_again(
    client, administrator, signe, settings
):
    settings.EMAIL_BACKEND = "tests.people.test_passwords_by_link.BrokenBackend"
    answer = client.post(page(signe), {}, follow=True)
    assert "could not be sent" in answer.text
    assert "link to a new password sent" not in str(acts(User.objects.get(person=signe)))

    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    client.post(page(signe, "sign_in_password"))
    choose(link())
    assert User.objects.get(person=signe).check_password(NEW)


class BrokenBackend:
    def __init__(self, **_options):
        pass

    def send_messages(self, _messages):
        raise OSError("no mail server")


def test_link_is_in_the_persons_language(client, administrator):
    person = make_person(email=ADDRESS, language="de")
    client.post(page(person), {})
    assert mail.outbox[0].subject == "Wählen Sie Ihr Passwort"


def test_without_mail_the_trail_tells_who_gave_a_password_and_when_it_was_used(
    client, administrator
):
    person = make_person()
    shown = re.search(r"<code>([a-z0-9-]+)</code>", client.post(page(person), {}).text)[1]
    user = User.objects.get(person=person)
    with pytest.raises(ProofRefused):
        prove_identity(user, shown)

    taker = Client(REMOTE_ADDR="10.1.2.3")
    taker.post(LOGIN, {"login": person.employee_number, "password": shown})
    change = reverse("account_change_password")
    assert taker.get(reverse("people:own_sign_in")).url == change
    taker.post(change, {"oldpassword": shown, "password1": NEW, "password2": NEW})

    entries = TrailEntry.objects.filter(about_type="sign-in", about_id=str(user.pk))
    told = [
        (entry.act, entry.actor, json.loads(entry.payload.body).get("from"))
        for entry in entries.order_by("number")
        if "refused" not in entry.act
    ]
    assert told == [
        ("sign-in opened", administrator, None),
        ("signed in with a one-time password", user, "10.1.2.3"),
        ("password chosen after a one-time one", user, "10.1.2.3"),
    ]

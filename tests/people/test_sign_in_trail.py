"""Signing in and out, and what changes of a sign-in, is in the trail; people see their own."""

import json
import re
from datetime import timedelta

import pytest
from django.core import mail
from django.core.cache import cache
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django.utils.html import strip_tags

from people.exceptions import PeopleError, ProofRefused
from people.models import User, WrongTries
from people.services import sign_in_trail, sign_ins, tablets
from people.services.passwords import set_password_by_link
from people.services.proof import prove_identity
from people.services.reset_links import reset_tokens
from records.models import TrailEntry, TrailPayload
from tests.factories import NOW, PASSWORD, make_person, make_site, make_user

pytestmark = pytest.mark.django_db

LOGIN = reverse("account_login")
OWN = reverse("people:own_sign_in")
NEW = "a lamp over the far bench"
ADDRESS = "runa@skarnfell.example"


@pytest.fixture(autouse=True)
def no_attempts_yet():
    cache.clear()
    yield
    cache.clear()


@pytest.fixture
def user():
    person = make_person(email=ADDRESS, full_name="Runa Whitlock")
    return make_user("instructor", person=person, password=PASSWORD, email=ADDRESS)


def sign_in(client, login, password=PASSWORD, **more):
    login = getattr(login, "employee_number", login)
    return client.post(LOGIN, {"login": login, "password": password}, **more)


def acts(about=None):
    entries = TrailEntry.objects.filter(about_type="sign-in").order_by("number")
    if about is not None:
        entries = entries.filter(about_id=str(getattr(about, "pk", about)))
    return [
        (entry.act, entry.actor and entry.actor.pk, json.loads(entry.payload.body))
        for entry in entries.select_related("payload", "actor")
    ]


def test_signing_in_and_out_and_a_wrong_password_are_in_the_trail(client, user):
    sign_in(client, user, "my secret guess", REMOTE_ADDR="10.1.2.3")
    sign_in(client, user, REMOTE_ADDR="10.1.2.3")
    client.post(reverse("account_logout"))

    assert acts(user) == [
        ("sign-in refused", None, {"from": "10.1.2.3"}),
        ("signed in", user.pk, {"from": "10.1.2.3"}),
        ("signed out", user.pk, {}),
    ]
    assert not TrailPayload.objects.filter(body__contains="secret").exists()


def test_right_password_of_a_closed_sign_in_is_a_refusal(client, user):
    User.objects.filter(pk=user.pk).update(is_active=False)
    sign_in(client, user)
    assert [act for act, _actor, _payload in acts(user)] == ["sign-in refused"]


def test_what_was_typed_for_a_number_is_nowhere(client):
    sign_in(client, "my own Passw0rd!", "x")
    assert acts("0") == [("sign-in refused", None, {"from": "127.0.0.1"})]
    assert not TrailPayload.objects.filter(body__icontains="Passw0rd").exists()


def test_nobody_fills_the_trail_with_refusals(client, user, monkeypatch):
    for n in range(40):
        WrongTries.objects.all().delete()  # However the waits are got round.
        cache.clear()
        sign_in(client, user, "a guess")
        sign_in(client, f"nobody-{n}", "a guess")
    assert len(acts(user)) == len(acts("0")) == sign_in_trail.MOST_AN_HOUR

    later = timezone.now() + timedelta(hours=1, minutes=1)
    sign_in_trail.record_bounded(sign_in_trail.REFUSED, user, address="", at=later)
    assert len(acts(user)) == sign_in_trail.MOST_AN_HOUR + 1


def test_wrong_password_of_a_proof_is_in_the_trail(client, user):
    with pytest.raises(ProofRefused):
        prove_identity(user, "a guess")
    client.force_login(user)
    change = {"oldpassword": "a guess", "password1": NEW, "password2": NEW}
    client.post(reverse("account_change_password"), change)
    assert [act for act, _actor, _payload in acts(user)] == ["password refused"] * 2


def test_password_changed_and_set_by_a_link_are_in_the_trail(client, user):
    sign_in(client, user)
    change = {"oldpassword": PASSWORD, "password1": NEW, "password2": NEW}
    assert client.post(reverse("account_change_password"), change).status_code == 302
    assert acts(user)[-1] == ("password changed", user.pk, {"from": "127.0.0.1"})
    assert client.get(OWN).status_code == 200  # The session goes on.

    stranger = Client()
    stranger.post(reverse("account_reset_password"), {"email": ADDRESS})
    [link] = re.findall(r"/account/password/reset/key/\S+", mail.outbox[0].body)
    form = stranger.get(link, follow=True).redirect_chain[-1][0]
    stranger.post(form, {"password1": PASSWORD, "password2": PASSWORD})
    assert acts(user)[-2:] == [
        ("link to a new password sent", None, {"from": ""}),
        ("password set by a link", user.pk, {"from": "127.0.0.1"}),
    ]


def test_link_that_two_windows_hold_open_sets_one_password(user):
    token = reset_tokens.make_token(User.objects.select_related("person").get(pk=user.pk))
    first, second = (User.objects.get(pk=user.pk) for _ in range(2))
    now = timezone.now()
    set_password_by_link(user=first, token=token, password=NEW, at=now)
    with pytest.raises(PeopleError, match="no longer works"):
        set_password_by_link(user=second, token=token, password="another one, later", at=now)
    user.refresh_from_db()
    assert user.check_password(NEW)


def shown(client):
    page = client.get(OWN).text
    return [
        " ".join(strip_tags(row.replace("<", " <")).split())
        for row in re.findall(r"<tr>.*?</tr>", page, re.DOTALL)[1:]
    ]


def test_people_see_what_was_done_with_their_own_sign_in_the_latest_first(client, user):
    administrator = make_user("administrator", person=make_person(full_name="Ada Holm"))
    sign_ins.set_roles(
        user=user, roles=[(make_site(), "quality")], actor=administrator, at=timezone.now()
    )
    tablet, _token = tablets.declare_tablet(
        site=make_site(), name="Bench room 2", actor=administrator, at=NOW
    )
    tablets.set_pin(user=user, pin="2580", badge="", proof="password", at=timezone.now())
    tablets.open_by_badge(tablet=tablet, badge=user.employee_number, pin="2580", at=timezone.now())
    sign_in(client, user, "a guess")
    sign_in(Client(), make_user(password=PASSWORD), "a guess")
    sign_in(client, user)

    rows = shown(client)

    for row, words in zip(
        rows,
        (
            "Signed in from 127.0.0.1",
            "Signing in refused from 127.0.0.1",
            "Opened a shared tablet by badge and PIN from Bench room 2",
            "Badge and PIN set",
            "Roles set by Ada Holm; before: CA: instructor; now: CA: quality",
        ),
        strict=True,
    ):
        assert words in row


def test_page_is_linked_from_the_foot_and_reads_a_bounded_number(
    client, user, django_assert_num_queries
):
    client.force_login(user)
    for _ in range(60):
        sign_in_trail.record_signed_in(user, address="10.0.0.1", at=timezone.now())
    assert f'href="{OWN}"' in client.get(OWN).text.partition("<footer")[2]
    with django_assert_num_queries(5):  # Session, user, roles, entries about and by them.
        assert len(shown(client)) == 50


def test_page_speaks_its_readers_language(client):
    user = make_user(person=make_person(language="de"), password=PASSWORD)
    sign_in(client, user)
    assert "Angemeldet" in shown(client)[0]
    assert "Ihre letzten Anmeldungen" in client.get(OWN).text

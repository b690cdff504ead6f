"""Passkeys are registered, sign in beside the password, and prove alone who signs."""

import json
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
import time_machine
from allauth.mfa.models import Authenticator
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from people.exceptions import PeopleError, ProofRefused
from people.models import PasskeyChallenge, Site, User
from people.services import passkeys
from people.services.proof import Given, prove_identity
from records.models import TrailEntry
from tests.factories import NOW, PASSWORD, make_user
from tests.people.soft_passkey import SoftPasskey

pytestmark = pytest.mark.django_db

ORIGIN = "https://solder.skarnfell.example"
NEW = reverse("people:passkey_new")
OPTIONS = reverse("people:passkey_options")
FOR_PROOF = reverse("people:passkey_proof")
LOGIN = reverse("account_login")
ASKED = reverse("mfa_authenticate")
FOR_SIGN_IN = reverse("mfa_passkey_options")
OWN = reverse("people:own_sign_in")
PIN = reverse("people:pin")
PROOF = passkeys.Purpose.PROOF


@pytest.fixture(autouse=True)
def clock(settings):
    settings.PUBLIC_URL = ORIGIN
    cache.clear()
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller
    cache.clear()


@pytest.fixture
def user():
    return make_user("instructor", password=PASSWORD)


@pytest.fixture
def passkey(user):
    made = SoftPasskey(ORIGIN)
    options = passkeys.registration_options(user, NOW)
    passkeys.register_passkey(user=user, name="grey key", answer=made.make(options), at=NOW)
    return made


def again(user):
    return User.objects.get(pk=user.pk)


def options_for(user, purpose=PROOF):
    return json.loads(json.dumps(passkeys.options_for_use(user, purpose, timezone.now())))


def sign_in(client, user):
    return client.post(LOGIN, {"login": user.employee_number, "password": PASSWORD})


def acts(user):
    entries = TrailEntry.objects.filter(about_type="sign-in", about_id=str(user.pk))
    return [(entry.act, json.loads(entry.payload.body)) for entry in entries.order_by("number")]


# Registering


def test_passkey_is_registered_with_the_password_and_gives_recovery_codes(client, user):
    client.force_login(user)
    assert "Have the browser make it" in client.get(NEW).text
    options = client.post(OPTIONS).json()
    assert options["publicKey"]["rp"]["id"] == "solder.skarnfell.example"
    answer = SoftPasskey(ORIGIN).make(options)

    wrong = client.post(NEW, {"name": "grey", "password": "a guess", "credential": answer})
    assert "not your password" in wrong.text
    none = client.post(NEW, {"name": "grey", "password": PASSWORD, "credential": ""})
    assert "No passkey was made" in none.text
    assert not Authenticator.objects.exists()

    page = client.post(NEW, {"name": "grey", "password": PASSWORD, "credential": answer}).text
    assert page.count("<li><code>") == 10
    assert acts(user)[-1] == ("second factor added", {"kind": "passkey", "from": "127.0.0.1"})
    assert "grey" in client.get(reverse("people:second_factor")).text


@pytest.mark.parametrize(
    "changes",
    [
        {"verified": False},
        {"origin": "https://solder.skarnfell.example.evil.example"},
        {"origin": "http://solder.skarnfell.example"},
    ],
    ids=["owner not verified", "another site", "without TLS"],
)
def test_passkey_of_less_is_refused(user, changes):
    answer = SoftPasskey(ORIGIN).make(passkeys.registration_options(user, NOW), **changes)
    with pytest.raises(PeopleError, match="not for this page"):
        passkeys.register_passkey(user=user, name="x", answer=answer, at=NOW)
    assert not Authenticator.objects.exists()


@pytest.mark.parametrize("answer", ["", "{}", "[]", "null", '{"id": 1}', "not JSON", '{"id":"é"}'])
def test_what_is_no_answer_is_refused(user, passkey, answer):
    with pytest.raises(PeopleError):
        passkeys.register_passkey(user=user, name="x", answer=answer, at=NOW)
    with pytest.raises(ProofRefused):
        passkeys.use_passkey(user, answer, PROOF, NOW)


def test_answer_registers_once_and_for_whom_it_was_asked(user):
    options = passkeys.registration_options(user, NOW)
    answer = SoftPasskey(ORIGIN).make(options)
    with pytest.raises(PeopleError):
        passkeys.register_passkey(user=make_user(), name="x", answer=answer, at=NOW)
    passkeys.register_passkey(user=user, name="x", answer=answer, at=NOW)
    with pytest.raises(PeopleError):
        passkeys.register_passkey(user=user, name="x", answer=answer, at=NOW)


def test_ten_are_the_most(user):
    for n in range(11):
        answer = SoftPasskey(ORIGIN).make(passkeys.registration_options(user, NOW))
        if n == 10:
            with pytest.raises(PeopleError, match="Ten passkeys"):
                passkeys.register_passkey(user=user, name="x", answer=answer, at=NOW)
        else:
            passkeys.register_passkey(user=user, name=f"key {n}", answer=answer, at=NOW)


@pytest.mark.parametrize(
    ("address", "possible"),
    [
        ("https://solder.skarnfell.example", True),
        ("http://localhost:8000", True),
        ("http://127.0.0.1:8000", False),
        ("https://10.0.0.7", False),
        ("https://[fd00::7]", False),
        ("http://solder.skarnfell.example", False),
    ],
)
def test_passkeys_are_offered_where_browsers_take_them(client, user, settings, address, possible):
    settings.PUBLIC_URL = address
    client.force_login(user)
    assert (client.get(NEW).status_code == 200) == possible
    assert (client.post(OPTIONS).status_code == 200) == possible


# Signing in


def test_passkey_takes_the_place_of_a_code_when_signing_in(client, user, passkey):
    assert sign_in(client, user).url == ASKED
    assert "Use a passkey" in client.get(ASKED).text
    answer = passkey.use(client.post(FOR_SIGN_IN).json())

    assert client.get(OWN).url.startswith(LOGIN)
    assert client.post(ASKED, {"passkey": answer}).url == "/"
    assert client.get(OWN).status_code == 200
    assert acts(user)[-1] == ("signed in", {"from": "127.0.0.1", "with": "passkey"})

    other = Client()
    sign_in(other, user)
    assert "not recognised" in other.post(ASKED, {"passkey": answer}).text
    assert other.get(OWN).url.startswith(LOGIN)


def test_nobody_is_asked_by_passkey_before_the_password(client, user, passkey):
    assert client.post(FOR_SIGN_IN).url == LOGIN


# Proof


def test_passkey_proves_alone(user, passkey):
    Site.objects.update(second_factor_signs=True)
    answer = passkey.use(options_for(user))
    assert prove_identity(again(user), Given(passkey=answer)) == "passkey"
    with pytest.raises(ProofRefused):
        prove_identity(again(user), Given(passkey=answer))


@pytest.mark.parametrize(
    "changes",
    [
        {"verified": False},
        {"origin": "https://evil.example"},
        {"rp_id": "evil.example"},
    ],
    ids=["owner not verified", "another origin", "another site"],
)
def test_answer_of_less_proves_nothing(user, passkey, changes):
    answer = passkey.use(options_for(user), **changes)
    with pytest.raises(ProofRefused, match="not recognised"):
        prove_identity(again(user), Given(passkey=answer))
    assert acts(user)[-1][0] == "second factor refused"


def test_answer_for_signing_in_proves_nothing(user, passkey):
    answer = passkey.use(options_for(user, passkeys.Purpose.SIGN_IN))
    with pytest.raises(ProofRefused):
        prove_identity(again(user), Given(passkey=answer))


def test_answer_is_good_for_five_minutes(user, passkey, clock):
    late, in_time = (options_for(user) for _ in range(2))
    clock.shift(timedelta(minutes=4, seconds=59))
    assert prove_identity(again(user), Given(passkey=passkey.use(in_time))) == "passkey"
    clock.shift(1)
    with pytest.raises(ProofRefused):
        prove_identity(again(user), Given(passkey=passkey.use(late)))


def test_another_persons_passkey_and_a_copy_prove_nothing(user, passkey):
    stranger = SoftPasskey(ORIGIN)
    other = make_user(password=PASSWORD)
    passkeys.register_passkey(
        user=other,
        name="x",
        answer=stranger.make(passkeys.registration_options(other, NOW)),
        at=NOW,
    )
    with pytest.raises(ProofRefused):
        prove_identity(again(user), Given(passkey=stranger.use(options_for(user))))
    forged = SoftPasskey(ORIGIN, credential_id=passkey.credential_id)
    with pytest.raises(ProofRefused):
        prove_identity(again(user), Given(passkey=forged.use(options_for(user))))
    prove_identity(again(user), Given(passkey=passkey.use(options_for(user))))
    copied = SoftPasskey(ORIGIN, 0, passkey.credential_id, passkey.key)
    with pytest.raises(ProofRefused):
        prove_identity(again(user), Given(passkey=copied.use(options_for(user))))


def test_passkey_of_a_closed_sign_in_proves_nothing(user, passkey):
    answer = passkey.use(options_for(user))
    User.objects.filter(pk=user.pk).update(is_active=False)
    with pytest.raises(ProofRefused, match="closed"):
        prove_identity(again(user), Given(passkey=answer))


@pytest.mark.django_db(transaction=True)
def test_answer_that_two_acts_give_at_once_proves_one(user, passkey):
    given = Given(passkey=passkey.use(options_for(user)))

    def prove(_n):
        try:
            return prove_identity(again(user), given)
        except ProofRefused:
            return "refused"
        finally:
            connection.close()

    with ThreadPoolExecutor(3) as pool:
        assert sorted(pool.map(prove, range(3))) == ["passkey", "refused", "refused"]


def test_page_that_signs_takes_it(client, user, passkey):
    client.force_login(user)
    page = client.get(PIN).text
    assert 'name="password_passkey"' in page
    assert 'name="password_code"' not in page
    answer = passkey.use(client.post(FOR_PROOF).json())
    typed = {"badge": "", "pin": "2580", "again": "2580", "password": ""}
    assert client.post(PIN, typed).status_code == 422
    assert client.post(PIN, typed | {"password_passkey": answer}).url == PIN
    assert acts(user)[-1] == ("badge and PIN set", {"badge": "", "proof": "passkey"})


def test_whoever_has_none_is_not_offered_one(client, user):
    client.force_login(user)
    assert "password_passkey" not in client.get(PIN).text
    assert client.post(FOR_PROOF).status_code == 422


def test_questions_without_answer_do_not_pile_up(user, passkey, clock):
    for _ in range(40):
        options_for(user)
    assert PasskeyChallenge.objects.count() == passkeys.MAX_CHALLENGES
    clock.shift(timedelta(minutes=6))
    options_for(user)
    assert PasskeyChallenge.objects.count() == 1

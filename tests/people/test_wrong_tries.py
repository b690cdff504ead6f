"""A password is tried a few times at once, wherever it is asked for; then each try waits longer."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
import time_machine
from django.core.cache import cache
from django.db import connection, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from people.exceptions import ProofRefused, TabletRefused, TriedTooOften
from people.models import BadgePin, User, WrongTries
from people.services import tablets, tries
from people.services.proof import prove_identity
from tests.assessments.together import somebody_waits_for_us
from tests.factories import NOW, PASSWORD, make_user

pytestmark = pytest.mark.django_db

PIN = reverse("people:pin")
CHANGE = reverse("account_change_password")
LOGIN = reverse("account_login")


@pytest.fixture(autouse=True)
def clock():
    cache.clear()
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller
    cache.clear()


@pytest.fixture
def user():
    return make_user("instructor", password=PASSWORD)


def at_address(user, address):
    user = User.objects.get(pk=user.pk)
    user.from_address = address
    return user


def fail(user, times=3):
    for _ in range(times):
        with pytest.raises(ProofRefused, match="not your password"):
            prove_identity(user, "a guess")


def test_right_password_waits_after_three_wrong_ones(user, clock):
    fail(user)
    with pytest.raises(TriedTooOften, match="Wait 31 seconds"):
        prove_identity(user, PASSWORD)
    clock.shift(31)
    assert prove_identity(user, PASSWORD) == "password"
    fail(user, 2)
    assert prove_identity(user, PASSWORD) == "password"


def test_waits_grow_to_five_minutes_and_are_forgotten(user, clock):
    fail(user)
    waits_s = []
    for _ in range(6):
        wait = WrongTries.objects.get(key__startswith="from:").wait_until - timezone.now()
        waits_s.append(wait.total_seconds())
        clock.shift(wait)
        fail(user, 1)
    assert waits_s == [30, 60, 120, 240, 300, 300]
    clock.shift(timedelta(hours=2))
    fail(user)


def test_somebody_elsewhere_stops_the_owner_for_a_minute_at_most(user, clock):
    fail(at_address(user, "10.0.0.9"))
    assert prove_identity(at_address(user, "10.0.0.7"), PASSWORD) == "password"

    for n in range(40):
        try:
            prove_identity(at_address(user, f"10.0.1.{n}"), "a guess")
        except ProofRefused as error:
            refused = error
    assert isinstance(refused, TriedTooOften)  # From ever new addresses too.
    with pytest.raises(TriedTooOften):
        prove_identity(at_address(user, "10.0.0.7"), PASSWORD)
    clock.shift(60)
    assert prove_identity(at_address(user, "10.0.0.7"), PASSWORD) == "password"


def test_colleague_is_not_stopped(user):
    fail(user)
    assert prove_identity(make_user(password=PASSWORD), PASSWORD) == "password"


def sign_in(client, user, password=PASSWORD):
    return client.post(LOGIN, {"login": user.employee_number, "password": password})


@pytest.mark.django_db(transaction=True)
def test_count_outlives_the_act_that_is_refused_with_it(user, client):
    """What a view asks for before its act is stored, whatever becomes of the act."""
    client.force_login(user)
    typed = {"badge": "", "pin": "2580", "again": "2580"}
    for _ in range(3):
        assert "not your password" in client.post(PIN, typed | {"password": "a guess"}).text
    elsewhere = Client()
    elsewhere.force_login(user)
    assert "Too many wrong tries" in elsewhere.post(PIN, typed | {"password": PASSWORD}).text
    assert not BadgePin.objects.exists()


def test_every_place_that_asks_counts_together(user, client):
    client.force_login(user)
    client.post(PIN, {"act": "remove", "remove-password": "a guess"})
    change = {"oldpassword": "a guess", "password1": "x", "password2": "x"}
    assert "That is not your password" in client.post(CHANGE, change).text
    assert "Too many" not in sign_in(Client(), user, "a guess").text

    new = {"password1": "a lamp over the far bench", "password2": "a lamp over the far bench"}
    assert "Too many wrong tries" in client.post(CHANGE, new | {"oldpassword": PASSWORD}).text
    assert "Too many wrong tries" in sign_in(Client(), user).text
    user.refresh_from_db()
    assert user.check_password(PASSWORD)
    with pytest.raises(TabletRefused, match="Too many wrong tries"):
        tablets.prove_password_at_tablet(
            user=at_address(user, "127.0.0.1"), password=PASSWORD, tablet=None, at=NOW
        )


def test_login_of_nobody_waits_like_somebodys_and_is_kept_as_a_hash(user, client):
    answers = {}
    for login in (user.employee_number, "nobody-at-all"):
        answers[login] = [
            "Too many" in client.post(LOGIN, {"login": login, "password": "a guess"}).text
            for _ in range(5)
        ]
    assert answers[user.employee_number] == answers["nobody-at-all"] == [False] * 3 + [True] * 2
    assert not WrongTries.objects.filter(key__contains="nobody").exists()


def test_rows_that_strangers_make_are_bounded(client, monkeypatch):
    monkeypatch.setattr(tries, "MAX_ROWS", 4)
    for n in range(9):
        client.post(LOGIN, {"login": f"nobody-{n}", "password": "a guess"})
    assert WrongTries.objects.filter(key__startswith="login:").count() == 4


@pytest.mark.django_db(transaction=True)
def test_tries_at_once_do_not_pass_each_other(user):
    counted = tries.password_tries(user)

    def try_once(_n):
        try:
            tries.count_try(counted, NOW)
        except TriedTooOften:
            return "waits"
        finally:
            connection.close()
        return "looked at"

    with ThreadPoolExecutor(8) as pool:
        answers = sorted(pool.map(try_once, range(8)))
    assert answers == ["looked at"] * 3 + ["waits"] * 5


@pytest.mark.skipif(connection.vendor != "postgresql", reason="PostgreSQL only")
@pytest.mark.django_db(transaction=True)
def test_a_right_try_takes_counts_in_the_order_that_others_take_them_in():
    for key in ("b", "a"):  # Rows lie in any order.
        WrongTries.objects.create(key=key, failures=1)

    def forget():
        try:
            tries.forget_tries([tries.Counted("a"), tries.Counted("b")])
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            WrongTries.objects.select_for_update().get(key="a")
            waiting = pool.submit(forget)
            while not somebody_waits_for_us():
                assert not waiting.done(), waiting.result()
            assert WrongTries.objects.select_for_update(nowait=True).get(key="b")
        waiting.result()
    assert set(WrongTries.objects.values_list("failures", flat=True)) == {0}

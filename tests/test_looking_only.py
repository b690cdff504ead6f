"""A session by badge and PIN writes nothing, and a locked tablet shows nothing, at any address."""

import time
from collections.abc import Iterator
from datetime import timedelta

import pytest
from django.db import transaction
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from people.middleware import tablets
from people.models import TabletUse, User
from people.services import tablets as services
from records.models import TrailEntry
from tests.access_scenario import Scenario, build, put_back
from tests.factories import NOW, PASSWORD
from tests.test_access_table import (
    EVERY_NAME,
    OF_DJANGO,
    OF_PROGRAMS,
    TABLE,
    address,
    addresses_of_django,
    asked,
)

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

WRITES = ("POST", "PUT", "PATCH", "DELETE")
MAY_SEND = {"people:tablet_open", "people:tablet_full", "people:tablet_lock"}
OPEN_WHEN_LOCKED = {"people:tablet", "people:tablet_open", "people:tablet_full"}
SIGN_OUT = "account_logout"
OF_A_SCRIPT = {"Accept": "application/json"}
SENTENCE = "Sign in fully with your password"


@pytest.fixture(scope="module")
def scenario(django_db_setup, django_db_blocker) -> Iterator[Scenario]:
    with django_db_blocker.unblock(), transaction.atomic():
        yield build()
        transaction.set_rollback(True)


def on_tablet(
    scenario: Scenario, reader: str, *, looking: bool = False, locked: bool = False
) -> Client:
    """Somebody at a shared tablet."""
    user = scenario.users[reader]
    tablet, token = services.declare_tablet(
        site=scenario.users["instructor"].person.site,
        name=f"Tablet {time.monotonic_ns()}",
        actor=scenario.users["instructor"],
        at=NOW,
    )
    client = Client()
    client.force_login(user)
    held = client.session
    held.update(
        {tablets.SESSION_TABLET: tablet.pk} | ({tablets.SESSION_READ_ONLY: True} if looking else {})
    )
    held.save()
    TabletUse.objects.create(
        session_id=str(held.session_key), seen_at=timezone.now(), locked=locked
    )
    response = HttpResponse()
    tablets.set_cookie(response, tablet, token)
    client.cookies.update(response.cookies)
    return client


def every_address(scenario: Scenario, reader: str) -> Iterator[tuple[str, str, dict]]:
    things = scenario.things_for(reader)
    for name, row in TABLE.items():
        if not name.startswith(OF_PROGRAMS):
            yield name.split(",")[0], address(name, row, things), asked(row, things)
    for name, url in addresses_of_django(TrailEntry.objects.first()):
        yield name, url, {}


def test_every_address_of_the_site_is_among_those_asked(scenario):
    found = {name for name, _url, _data in every_address(scenario, "instructor")}
    programs = {name for name in EVERY_NAME if name.startswith(OF_PROGRAMS)}
    # Django's admin answers what it does not know by one address more, which has no name.
    assert {name for name in EVERY_NAME if not OF_DJANGO.match(name)} - programs <= found
    assert {name for name in EVERY_NAME if OF_DJANGO.match(name)} - {"admin:"} <= found


@pytest.mark.parametrize("reader", ["instructor", "staff"])
def test_looking_refuses_every_unsafe_method_at_every_address(scenario, reader):
    with put_back():
        client = on_tablet(scenario, reader, looking=True)
        entries = TrailEntry.objects.count()
        for name, url, data in every_address(scenario, reader):
            if name in MAY_SEND or name == SIGN_OUT:
                continue
            # What is refused is the method, whoever sends it: one reader sends them all. A form
            # sends POST alone, and a script that sends another is answered as scripts are.
            for method in WRITES if reader == "instructor" else ("POST",):
                send = getattr(client, method.lower())
                is_form = method == "POST"
                response = send(url, data) if is_form else send(url, headers=OF_A_SCRIPT)
                assert response.status_code == 403, (name, method)
                assert SENTENCE in response.content.decode(), (name, method)
        assert TrailEntry.objects.count() == entries


def test_looking_sends_no_more_than_what_opens_locks_and_signs_out(scenario):
    for name in (*sorted(MAY_SEND), SIGN_OUT):
        with put_back():
            client = on_tablet(scenario, "instructor", looking=True)
            response = client.post(reverse(name), {})
            assert response.status_code in (200, 302, 422), name


def test_looking_reads_what_that_person_reads(scenario):
    with put_back():
        client = on_tablet(scenario, "instructor", looking=True)
        board = scenario.things["owner"]["board"]
        for name in ("assessments:board_detail", "assessments:board_result"):
            assert client.get(reverse(name, args=[board.number])).status_code == 200
        assert client.get(reverse("certification:register")).status_code == 200
        assert client.get(reverse("audit:who_was_that")).status_code == 403


@pytest.mark.parametrize("looking", [False, True])
def test_locked_tablet_answers_every_address_with_the_lock(scenario, looking):
    with put_back():
        client = on_tablet(scenario, "instructor", looking=looking, locked=True)
        lock = reverse("people:tablet")
        for name, url, data in every_address(scenario, "instructor"):
            if name in OPEN_WHEN_LOCKED or name == SIGN_OUT:
                continue
            for method in ("get", "post"):
                response = getattr(client, method)(url, data)
                assert (response.status_code, response.url.split("?")[0]) == (302, lock), name
            inside = client.get(url, data, headers={"HX-Request": "true"})
            assert inside.headers["HX-Redirect"].startswith(lock), name
            assert inside.content == b"", name


def idle(client: Client, seconds: int) -> None:
    TabletUse.objects.filter(session_id=client.session.session_key).update(
        seen_at=timezone.now() - timedelta(seconds=seconds)
    )


def test_kiosk_at_a_shared_tablet_neither_locks_nor_looks(scenario):
    with put_back():
        client = on_tablet(scenario, "kiosk")
        idle(client, 10_000)
        answer = client.get(reverse("certification:bench_check"))
        assert answer.status_code == 200
        assert "tablet-bar" not in answer.text
        assert not TabletUse.objects.filter(locked=True).exists()


def test_sign_in_of_nobody_that_is_no_kiosk_locks_at_every_address(scenario):
    """One made by Django's own command, as whoever installs the site has."""
    with put_back():
        scenario.users["root"] = User.objects.create_superuser("root", PASSWORD)
        client = on_tablet(scenario, "root")
        lock = reverse("people:tablet")
        assert client.get("/admin/").status_code == 200
        assert "tablet-bar" in client.get(reverse("people:pin")).text
        idle(client, 10_000)
        for name, url, data in every_address(scenario, "instructor"):
            if name not in OPEN_WHEN_LOCKED and name != SIGN_OUT:
                response = client.get(url, data)
                assert (response.status_code, response.url.split("?")[0]) == (302, lock), name
        assert "Locked" in client.get(lock).text
        full = reverse("people:tablet_full")
        assert client.post(full, {"password": PASSWORD}).status_code == 302
        assert client.get("/admin/").status_code == 200
        assert client.post(reverse("people:tablet_lock")).status_code == 302
        assert client.get("/admin/").status_code == 302

"""A shared tablet's pages: declared, locked after idling, opened for looking and in full."""

import re
from datetime import datetime, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from assessments.views import boards as boards_views
from config.middleware import LAST_SEEN
from people.middleware import tablets
from people.models import BadgePin, SharedTablet, TabletUse
from people.services import tablets as services
from tests import factories
from tests.factories import NOW, PASSWORD

pytestmark = pytest.mark.django_db

PIN = "2580"
HTMX = {"HX-Request": "true", "HX-Current-URL": "http://testserver/boards/?state=waiting"}
LOCK = "/tablet/"


@pytest.fixture(autouse=True)
def _hashed_quickly(settings):
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture
def instructor():
    return factories.make_user("instructor", password=PASSWORD)


@pytest.fixture
def operator():
    user = factories.make_user(password=PASSWORD)
    services.set_pin(user=user, pin=PIN, badge="CARD-7", proof="password", at=NOW)
    return user


@pytest.fixture
def client(client, instructor) -> Client:
    """The instructor at a browser that they have declared a shared tablet."""
    client.force_login(instructor)
    data = {"site": instructor.person.site.prefix, "name": "Bench room 2"}
    answer = client.post(reverse("people:tablet_list"), data, follow=True)
    assert "This browser is the shared tablet Bench room 2. It locks after 5 minutes" in answer.text
    return client


def use_of(client) -> TabletUse:
    return TabletUse.objects.get(session_id=client.session.session_key)


def idle(client, seconds):
    TabletUse.objects.filter(session_id=client.session.session_key).update(
        seen_at=timezone.now() - timedelta(seconds=seconds)
    )


def by_pin(client, badge="CARD-7", pin=PIN, **more):
    return client.post(reverse("people:tablet_open"), {"badge": badge, "pin": pin, **more})


def in_full(client, password=PASSWORD, **more):
    return client.post(reverse("people:tablet_full"), {"password": password, **more})


def who(client) -> str:
    return client.session.get("_auth_user_id", "")


def test_cookie_is_out_of_scripts_reach_and_stays(client):
    cookie = client.cookies[tablets.COOKIE]
    assert cookie["httponly"]
    assert cookie["samesite"] == "Lax"
    assert int(cookie["max-age"]) > 300 * 24 * 3600


@pytest.fixture
def clock(monkeypatch):
    """A clock that stands still until it is set on."""
    stands = [timezone.now()]
    monkeypatch.setattr(timezone, "now", lambda: stands[0])

    def set_on(seconds: int) -> datetime:
        stands[0] += timedelta(seconds=seconds)
        return stands[0]

    return set_on


@pytest.mark.parametrize(("idle_s", "locks"), [(299, False), (310, False), (311, True)])
def test_tablet_locks_after_the_sites_minutes_without_a_request(client, clock, idle_s, locks):
    clock(10)
    client.get("/boards/")
    clock(idle_s)
    answer = client.get("/boards/?state=waiting")
    assert (answer.status_code == 302) == locks
    if locks:
        assert answer.url == f"{LOCK}?next=%2Fboards%2F%3Fstate%3Dwaiting"
        assert client.get("/boards/").status_code == 302


def test_each_request_counts_the_time_anew_and_the_site_says_how_long(client, clock, instructor):
    for _ in range(3):
        now = clock(200)
        assert client.get("/boards/").status_code == 200
        assert use_of(client).seen_at == now
    site = instructor.person.site
    site.lock_minutes = 1
    site.save(update_fields=["lock_minutes"])
    clock(75)
    assert client.get("/boards/").status_code == 302


def test_other_browsers_neither_lock_nor_ask_anything_more(instructor, clock):
    other = Client()
    other.force_login(instructor)
    other.get("/boards/")
    clock(10_000)
    with CaptureQueriesContext(connection) as queries:
        assert other.get("/boards/").status_code == 200
    assert not any("tablet" in query["sql"] for query in queries)
    for name in ("tablet", "tablet_awake", "tablet_full"):
        assert other.get(reverse(f"people:{name}")).status_code == 404
    for name in ("tablet_open", "tablet_lock", "tablet_full"):
        assert other.post(reverse(f"people:{name}")).status_code == 404
    stranger = Client()
    assert stranger.get(LOCK).url == "/account/login/"
    assert by_pin(stranger).url == "/account/login/"


def test_lock_needs_no_token_of_the_latest_sign_in_and_nothing_else_goes_without(client):
    client.handler.enforce_csrf_checks = True
    client.get("/boards/")
    assert in_full(client).status_code == 403
    assert client.post(reverse("people:pin"), {}).status_code == 403
    lock_by_the_button(client)
    assert client.get("/boards/").url.startswith(LOCK)
    assert in_full(client).status_code == 403


@pytest.fixture
def meanwhile(client, monkeypatch):
    """Ask for the boards, and let something happen in the same browser before the answer."""

    def ask(act):
        client.get("/boards/")
        session = client.session
        session[LAST_SEEN] = 0  # So that the answer saves the session as it was when it was asked.
        session.save()
        other = Client()
        other.cookies = client.cookies
        render = boards_views.render
        acts = [act]

        def late(*args, **kwargs):
            while acts:
                acts.pop()(other)
            return render(*args, **kwargs)

        monkeypatch.setattr(boards_views, "render", late)
        answer = client.get("/boards/")
        assert not acts
        return answer

    return ask


def lock_by_the_button(client):
    assert client.post(reverse("people:tablet_lock")).url == LOCK


def lock_by_idling(client):
    idle(client, 10_000)
    assert client.get("/boards/").url.startswith(LOCK)


@pytest.mark.parametrize("lock", [lock_by_the_button, lock_by_idling])
def test_request_that_began_before_the_lock_does_not_undo_it(client, meanwhile, lock):
    assert meanwhile(lock).status_code == 200
    for url in ("/boards/", "/register/"):
        assert client.get(url).url.startswith(LOCK)
    assert in_full(client, next="/boards/").url == "/boards/"
    assert client.get("/boards/").status_code == 200


def test_request_that_began_in_full_does_not_give_looking_more(client, meanwhile, instructor):
    services.set_pin(user=instructor, pin=PIN, badge="", proof="password", at=NOW)
    meanwhile(lambda other: by_pin(other, instructor.employee_number))
    assert who(client) == str(instructor.pk)
    assert "Read only" in client.get("/boards/").text
    assert client.post("/criteria/sets/1/draft/").status_code == 403


@pytest.mark.django_db(transaction=True)
def test_session_that_ended_meanwhile_counts_as_locked_and_keeps_no_row(client):
    client.get("/boards/")
    use = use_of(client)
    client.post(reverse("account_logout"))
    assert not TabletUse.objects.exists()
    assert tablets._track_use(use.pk, SharedTablet.objects.get()).locked
    assert not TabletUse.objects.exists()


def test_losing_the_cookie_unlocks_nothing(client):
    client.get("/boards/")
    del client.cookies[tablets.COOKIE]
    idle(client, 1000)
    assert client.get("/boards/").status_code == 302


@pytest.mark.parametrize("value", ["1.token", "x", "", "1.token:signed"])
def test_cookie_that_was_not_given_makes_no_tablet(instructor, value):
    other = Client()
    other.force_login(instructor)
    other.cookies[tablets.COOKIE] = value
    assert other.get(LOCK).status_code == 404


@pytest.mark.parametrize("state", ["signed in", "locked", "signed out"])
def test_tablet_that_is_used_while_the_secret_key_is_changed_stays_one(client, settings, state):
    if state == "locked":
        client.post(reverse("people:tablet_lock"))
    elif state == "signed out":
        client.post(reverse("account_logout"))
    before = client.cookies[tablets.COOKIE].value
    settings.SECRET_KEY_FALLBACKS = [settings.SECRET_KEY]
    settings.SECRET_KEY = "another one for tests alone, longer than fifty characters"
    client.get("/boards/")
    signed = client.cookies[tablets.COOKIE]
    assert signed.value != before
    assert (signed["httponly"], int(signed["max-age"])) == (True, tablets.COOKIE_AGE_S)
    assert tablets.COOKIE not in client.get(LOCK).cookies

    settings.SECRET_KEY_FALLBACKS = []
    other = Client()
    other.cookies[tablets.COOKIE] = signed.value
    assert "Bench room 2" in other.get(LOCK).text
    other.cookies[tablets.COOKIE] = before
    assert other.get(LOCK).status_code in {302, 404}


def test_locked_piece_of_a_page_leads_to_the_lock_and_back(client):
    client.post(reverse("people:tablet_lock"))
    answer = client.get("/boards/", headers=HTMX)
    assert answer.headers["HX-Redirect"] == f"{LOCK}?next=%2Fboards%2F%3Fstate%3Dwaiting"
    page = client.get(answer.headers["HX-Redirect"])
    assert "Locked" in page.text
    assert "no-store" in page.headers["Cache-Control"]
    assert in_full(client, next="/boards/?state=waiting").url == "/boards/?state=waiting"
    assert client.get("/boards/").status_code == 200


@pytest.mark.parametrize("onward", ["https://elsewhere.example/", "//elsewhere.example", "boards"])
def test_unlocking_leads_nowhere_else(client, onward):
    client.post(reverse("people:tablet_lock"))
    assert in_full(client, next=onward).url == "/"


def test_wrong_password_unlocks_nothing_and_waits_at_last(client):
    client.post(reverse("people:tablet_lock"))
    for _ in range(3):
        answer = in_full(client, "no")
        assert answer.status_code == 422
        assert "That is not your password" in answer.text
    assert "Too many wrong tries" in in_full(client).text
    assert client.get("/boards/").status_code == 302


def test_badge_and_pin_change_who_looks_and_leave_nothing_of_who_was_there(client, operator):
    client.get("/boards/")
    session = client.session
    session["seen"] = {"how": "photograph"}
    session.save()
    before = client.session.session_key
    assert by_pin(client, next="/register/").url == "/"
    assert who(client) == str(operator.pk)
    assert client.session.session_key != before
    assert "seen" not in client.session
    page = client.get("/boards/")
    assert "Read only" in page.text
    assert operator.get_full_name() in page.text


def test_who_looks_may_write_after_the_password_and_not_before(client, operator):
    by_pin(client)
    pin_page = reverse("people:pin")
    data = {"badge": "", "pin": "4471", "again": "4471", "password": PASSWORD}
    refused = client.post(pin_page, data)
    assert refused.status_code == 403
    assert "/tablet/full/?next=" in refused.text
    as_json = client.post(pin_page, data, headers={"Accept": "application/json"})
    assert as_json.json()["saved"] is False
    inside = client.post(pin_page, data, headers=HTMX)
    assert inside.headers["HX-Redirect"].startswith("/tablet/full/")
    assert in_full(client).status_code == 302
    assert client.post(pin_page, data).status_code == 302
    assert "Read only" not in client.get("/boards/").text


def test_lock_opened_by_ones_own_pin_is_for_looking(client, instructor):
    services.set_pin(user=instructor, pin=PIN, badge="", proof="password", at=NOW)
    client.post(reverse("people:tablet_lock"))
    answer = by_pin(client, instructor.employee_number, next="/boards/")
    assert answer.url == "/boards/"
    assert who(client) == str(instructor.pk)
    assert client.post("/criteria/sets/1/draft/").status_code == 403


def test_stranger_at_a_tablet_looks_by_badge_and_pin(client, operator):
    client.post(reverse("account_logout"))
    assert "Badge and PIN" in client.get("/account/login/").text
    assert client.get(LOCK).status_code == 200
    assert by_pin(client).status_code == 302
    assert who(client) == str(operator.pk)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        ({"badge": "", "pin": PIN}, "Scan your badge"),
        ({"badge": "CARD-7", "pin": ""}, "Type your PIN"),
        ({"badge": "CARD-7", "pin": "9999"}, "do not go together"),
    ],
)
def test_what_does_not_open_says_so_and_who_is_signed_in_stays(
    client, operator, instructor, data, says
):
    answer = by_pin(client, **data)
    assert answer.status_code == 422
    assert says in answer.text
    assert who(client) == str(instructor.pk)


def test_tablet_that_is_revoked_signs_out_who_looks_and_frees_who_does_not(client, operator):
    by_pin(client)
    tablet = SharedTablet.objects.get()
    services.revoke_tablet(tablet=tablet, actor=tablet.declared_by, at=NOW)
    answer = client.get("/boards/", follow=True)
    assert who(client) == ""
    assert "This tablet is no longer shared" in answer.text
    client.force_login(tablet.declared_by)
    idle(client, 10_000)
    assert client.get("/boards/").status_code == 200


def test_tablet_that_was_none_for_a_while_begins_to_count_anew(client, clock, instructor):
    tablet = SharedTablet.objects.get()
    client.get("/boards/")
    services.revoke_tablet(tablet=tablet, actor=instructor, at=NOW)
    clock(10_000)
    assert client.get("/boards/").status_code == 200
    clock(1000)
    data = {"site": instructor.person.site.prefix, "name": "Bench room 3"}
    assert "is the shared tablet Bench room 3" in (
        client.post(reverse("people:tablet_list"), data, follow=True).text
    )


def test_one_browser_is_one_tablet_and_another_sites_are_not_ones_own(client, instructor):
    page = reverse("people:tablet_list")
    data = {"site": instructor.person.site.prefix, "name": "Again"}
    again = client.post(page, data)
    assert again.status_code == 422
    assert "is the shared tablet Bench room 2 already" in again.text
    there = factories.make_user("administrator", site=factories.make_site("Aldergate", "AL"))
    other = Client()
    other.force_login(there)
    assert "Bench room 2" not in other.get(page).text
    assert other.post(page, data).status_code == 422
    tablet = SharedTablet.objects.get()
    revoke = reverse("people:tablet_revoke", args=[tablet.pk])
    assert other.post(revoke).status_code == 404
    assert client.post(revoke, follow=True).status_code == 200
    assert SharedTablet.objects.in_use().count() == 0


def test_own_pin_is_set_under_the_password_and_given_up_under_it(client, instructor):
    page = reverse("people:pin")
    data = {"badge": "CARD-8", "pin": "4471", "again": "4471", "password": PASSWORD}
    for change, says in (
        ({"again": "4472"}, "The two differ"),
        ({"pin": "1234", "again": "1234"}, "counts up or down"),
        ({"password": "no"}, "not your password"),
    ):
        answer = client.post(page, data | change)
        assert answer.status_code == 422
        assert says in answer.text
        assert not BadgePin.objects.exists()
    assert "are set" in client.post(page, data, follow=True).text
    assert BadgePin.objects.get().badge == "CARD-8"
    remove = {"act": "remove", "remove-password": "no"}
    assert client.post(page, remove).status_code == 422
    assert "given up" in client.post(page, remove | {"remove-password": PASSWORD}, follow=True).text
    assert not BadgePin.objects.exists()


def test_who_comes_to_sign_in_fully_types_the_password_first(client, operator):
    by_pin(client)
    page = client.get(reverse("people:tablet_full")).text
    assert page.index('id="id_password"') < page.index('id="id_badge"')
    assert re.search(r'<input[^>]*name="password"[^>]*autofocus', page)
    refused = in_full(client, "not it")
    assert refused.status_code == 422
    assert refused.text.index('id="id_password"') < refused.text.index('id="id_badge"')
    # Whoever comes to change users shows a badge.
    page = client.get(reverse("people:tablet")).text
    assert page.index('id="id_badge"') < page.index('id="id_password"')
    assert "autofocus" not in page

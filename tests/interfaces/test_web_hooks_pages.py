"""The pages of web hooks: made, stopped and looked after by administrators."""

import re
import time
from pathlib import Path

import pytest
from django.urls import reverse
from django.utils.html import strip_tags

from interfaces.models import WebHook, WebHookDelivery
from interfaces.services import web_hook_sending as hook_sending
from interfaces.services import web_hooks as hooks
from records.models import TrailEntry
from tests.factories import make_scope, make_site, make_user
from tests.interfaces.web_hook_scenes import make_hook
from tests.reminders.reminder_scenes import NOW, aldergate, ends_in, somebody

pytestmark = pytest.mark.django_db

LIST = reverse("interfaces:hook_list")
NEW = reverse("interfaces:hook_new")
SENT = reverse("interfaces:hook_deliveries")


@pytest.fixture
def administrator(client):
    user = make_user("administrator", person=somebody("Anders Vik"))
    client.force_login(user)
    return user


def words(answer):
    main = bytes(answer.content).decode().partition("<main")[2].partition("</main>")[0]
    return " ".join(strip_tags(main).split())


def filled(**fields):
    return {
        "site": make_site().pk,
        "name": "Line control",
        "address": "https://plant.example.org/events",
        "events": ["ended", "suspended"],
        **fields,
    }


def again(delivery):
    return reverse("interfaces:hook_delivery_send_again", args=[delivery.pk])


def stop(hook):
    return reverse("interfaces:hook_stop", args=[hook.pk])


def news(number=1):
    for _ in range(number):
        ends_in(400, somebody("Marta Ruiz"), make_scope())
    hooks.write_due_deliveries(NOW)


def test_secret_is_shown_once(client, administrator):
    made = client.post(NEW, filled())
    hook = WebHook.objects.get()
    assert hook.secret in words(made)
    assert "no-store" in made["Cache-Control"]
    listed = client.get(LIST)
    assert hook.secret not in listed.content.decode()
    for text in ("Line control", "https://plant.example.org/events", "ended, suspended."):
        assert text in words(listed)
    assert "Nothing taken yet" in words(listed)
    assert "Anders Vik" in words(listed)


@pytest.mark.parametrize(
    "wrong",
    [
        pytest.param({"address": "http://plant.example.org/"}, id="without https"),
        pytest.param({"address": "https://localhost/"}, id="this machine"),
        pytest.param({"events": []}, id="no event"),
        pytest.param({"events": ["born"]}, id="unknown event"),
        pytest.param({"name": ""}, id="no name"),
    ],
)
def test_form_says_what_is_wrong(client, administrator, wrong):
    answer = client.post(NEW, filled(**wrong))
    assert answer.status_code == 422
    assert "invalid-feedback" in answer.content.decode()
    assert not WebHook.objects.exists()


def test_site_of_another_administrator_cannot_be_chosen(client, administrator):
    assert client.post(NEW, filled(site=aldergate().pk)).status_code == 422


def test_stopping_is_listed_and_final(client, administrator):
    hook = make_hook()
    assert "in use" in words(client.get(LIST))
    assert "Nothing more goes to Plant." in words(client.post(stop(hook), follow=True))
    assert "stopped" in words(client.get(LIST))
    assert "It was stopped already." in words(client.post(stop(hook), follow=True))


def test_what_was_sent_is_listed_with_state_attempts_and_answer(client, administrator, monkeypatch):
    make_hook()
    news()
    assert "Certified: Marta Ruiz" in words(client.get(SENT))
    assert "waits to be sent" in words(client.get(SENT))
    monkeypatch.setattr(hook_sending, "post", lambda *_given: (503, "503 busy"))
    hook_sending.send_due(clock=lambda: NOW)
    assert "not taken yet, tried again" in words(client.get(SENT))
    WebHookDelivery.objects.update(attempts=29, due_at=NOW)
    hook_sending.send_due(clock=lambda: NOW)
    page = words(client.get(SENT, {"state": "failed"}))
    assert "not taken, given up" in page
    assert "503 busy (30 attempts)" in page
    assert "1 event was given up." in page
    assert "1 event given up" in words(client.get(LIST))
    assert "No event matches" in words(client.get(SENT, {"state": "accepted"}))


def test_given_up_is_sent_again_by_an_administrator(client, administrator, monkeypatch):
    make_hook()
    news()
    delivery = WebHookDelivery.objects.get()
    assert "Only what was taken or given up" in words(client.post(again(delivery), follow=True))
    WebHookDelivery.objects.update(failed_at=NOW, attempts=30)
    assert "with the same id" in words(client.post(again(delivery), follow=True))
    posted = []
    monkeypatch.setattr(
        hook_sending, "post", lambda _to, body, headers: posted.append((body, headers)) or (204, "")
    )
    delivery.refresh_from_db()
    hook_sending.send_due(clock=lambda: delivery.due_at)
    assert posted[0][0] == bytes(delivery.body)
    assert posted[0][1]["Jointworthy-Delivery"] == delivery.delivery_id
    assert TrailEntry.objects.filter(act="web hook delivery sent again").count() == 1


def test_nothing_yet_says_what_a_web_hook_is(client, administrator):
    assert "No system is told" in words(client.get(LIST))
    assert "Nothing has been sent yet" in words(client.get(SENT))


def test_other_sites_are_not_listed(client, administrator):
    other_site = aldergate()
    hook = make_hook(site=other_site)
    ends_in(400, somebody(site=other_site))
    hooks.write_due_deliveries(NOW)
    assert "No system is told" in words(client.get(LIST))
    assert "Nothing has been sent yet" in words(client.get(SENT))
    assert client.post(stop(hook)).status_code == 404
    assert client.post(again(WebHookDelivery.objects.get())).status_code == 404


@pytest.mark.parametrize("role", ["operator", "line_lead", "instructor", "quality"])
def test_pages_are_for_administrators(client, role):
    client.force_login(make_user(role))
    for url in (LIST, NEW, SENT):
        assert client.get(url).status_code == 403


def test_lists_take_the_same_queries_for_many(client, administrator, django_assert_num_queries):
    make_hook()
    news()
    for url in (LIST, SENT):
        client.get(url)
    counted = []
    for _ in range(2):
        for url in (LIST, SENT):
            with django_assert_num_queries(QUERIES[url]):
                client.get(url)
        counted.append(WebHookDelivery.objects.count())
        make_hook()
        news(3)
    assert counted[1] > counted[0]


QUERIES = {LIST: 4, SENT: 8}


def test_documented_check_works():
    """The example for whoever writes the other side is run as it stands there."""
    page = (Path(__file__).resolve().parents[2] / "docs/connecting-programs.md").read_text()
    [example] = re.findall(r"```python\n(.*?)```", page, re.DOTALL)
    namespace: dict = {}
    exec(example, namespace)
    check = namespace["comes_from_jointworthy"]
    timestamp, body = str(int(time.time())), b'{"event":"ended"}'
    headers = {
        "Jointworthy-Timestamp": timestamp,
        "Jointworthy-Signature": hook_sending.signature("word", timestamp, body),
    }
    assert check(headers, body, "word")
    assert not check(headers, body + b" ", "word")
    assert not check(headers, body, "other")
    old = {"Jointworthy-Timestamp": "1700000000"}
    old["Jointworthy-Signature"] = hook_sending.signature("word", "1700000000", body)
    assert not check(old, body, "word")

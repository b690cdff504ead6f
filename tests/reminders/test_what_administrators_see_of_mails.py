"""Administrators see that mails go out, and cannot tell which are about a vision test."""

import re

import pytest
from django.urls import reverse
from django.utils import timezone

from records.models import TrailEntry
from reminders.models import Message, Reminder
from reminders.services import mail
from tests.factories import make_certificate, make_revision, make_scope, make_user
from tests.reminders.reminder_scenes import (
    DAY,
    NOW,
    aldergate,
    at,
    days,
    ends_in,
    somebody,
    sweep,
    sweep_and_send,
    vision_ends_in,
)

pytestmark = pytest.mark.django_db

OUTBOX = reverse("reminders:reminders_outbox")


@pytest.fixture(autouse=True)
def _it_is_six_past(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: NOW)


@pytest.fixture
def scope():
    return make_scope(title="Turrets")


@pytest.fixture
def of_vision(scope):
    """The message to Ada Brink, whose vision test ends in a week."""
    person = somebody("Ada Brink")
    revision = make_revision(scope, vision_months=12)
    make_certificate(person, scope, revision=revision, issued_on=DAY - days(90))
    vision_ends_in(7, person)
    sweep()
    return Message.objects.get(person=person)


@pytest.fixture
def of_certificate(scope):
    """The message to Ben Carlow, whose certificate ends in a week."""
    person = somebody("Ben Carlow")
    ends_in(7, person, scope)
    sweep()
    return Message.objects.get(person=person)


def address_of(message, end=""):
    return reverse("reminders:reminder_message", args=[message.pk]) + end


def page(client, message):
    answer = client.get(address_of(message))
    assert answer.status_code == 200
    return answer.content.decode().partition("<main")[2].partition("</main>")[0]


def without_what_differs_anyway(text):
    """A page without the names, ids and numbers that any two messages have of their own."""
    text = re.sub(r"Ada Brink|Ben Carlow|ada@|ben@", "NAME", text)
    return re.sub(r"[0-9a-f]{32}|send-again|/outbox/\d+/", "ID", text)


def test_page_is_the_same_whatever_ends(client, of_vision, of_certificate):
    client.force_login(make_user("administrator"))
    first, second = (
        without_what_differs_anyway(page(client, one)) for one in (of_vision, of_certificate)
    )
    assert "Certification, 7 days before" in first
    assert first == second


def test_quality_reads_what_ends_and_the_text(client, of_vision):
    client.force_login(make_user("quality"))
    text = page(client, of_vision)
    assert "Vision test V-1, 7 days before" in text
    assert mail.text_of(of_vision).splitlines()[0] in text


def test_reason_why_a_reminder_left_a_message_is_told_to_quality_alone(client, of_vision):
    of_vision.reminders.update(state=Reminder.State.DROPPED, why="Another vision test counts now.")
    client.force_login(make_user("quality"))
    assert "Another vision test counts now." in page(client, of_vision)
    client.force_login(make_user("administrator"))
    text = page(client, of_vision)
    assert "No longer needed" in text
    assert "vision" not in text.lower()


def test_outbox_is_searched_by_subject_too(client, of_certificate):
    client.force_login(make_user("administrator"))
    for words, found in (("through wed 2 dec", 1), ("vision", 0)):
        assert client.get(OUTBOX, {"q": words}).context["page"].paginator.count == found


# Sending again


def give_up(message):
    Message.objects.filter(pk=message.pk).update(
        failed_at=NOW, refused=True, attempts=1, answer="550 no such user"
    )


def test_message_sent_again_is_the_same_mail_and_stands_in_the_trail(client, of_certificate):
    give_up(of_certificate)
    user = make_user("administrator")
    client.force_login(user)
    client.post(address_of(of_certificate, "send-again/"))
    mail.send_due_messages(clock=lambda: at(DAY, 5, 30))
    after = Message.objects.get(pk=of_certificate.pk)
    assert after.state == Message.State.SENT
    assert after.message_id == of_certificate.message_id
    assert bytes(after.raw) == bytes(of_certificate.raw)
    assert TrailEntry.objects.get(act="message sent again").actor == user


def test_administrator_of_another_site_cannot_send_it_again(client, of_certificate):
    give_up(of_certificate)
    client.force_login(make_user("administrator", site=aldergate()))
    assert client.post(address_of(of_certificate, "send-again/")).status_code == 404
    assert Message.objects.get(pk=of_certificate.pk).state == Message.State.FAILED


def test_message_that_nobody_wrote_is_not_there(client):
    sweep_and_send()
    client.force_login(make_user("administrator"))
    assert client.get("/reminders/outbox/99999999/").status_code == 404
    assert client.post("/reminders/outbox/99999999/send-again/").status_code == 404

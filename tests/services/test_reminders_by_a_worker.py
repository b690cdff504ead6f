"""A reminder goes out through a real worker, once, whatever is asked twice."""

import email
from datetime import timedelta

import pytest
from django.conf import settings
from django.utils import timezone

from operations.queries import health
from reminders.models import Message, Reminder, SiteSweep
from tests.factories import (
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
)
from tests.services.processes import wait_until

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def message_ids():
    """The Message-IDs of the mails in the outbox, which this empties before and after."""

    def files():
        return list(settings.OUTBOX_DIR.glob("*.eml"))

    def clear():
        for file in files():
            file.unlink()

    clear()
    yield lambda: [email.message_from_bytes(file.read_bytes())["Message-ID"] for file in files()]
    clear()


@pytest.fixture
def ending_soon():
    """Somebody whose certificate of a year ends in a month, where any hour of any day is right."""
    site = make_site(send_hour=0, working_days=list(range(1, 8)), time_zone="UTC")
    person = make_person(site, email="signe@skarnfell.example")
    today = site.today(timezone.now())
    scope = make_scope()
    make_certificate(
        person,
        scope,
        revision=make_revision(scope, validity_months=12),
        issued_on=today - timedelta(days=335),
    )
    return person


def sent():
    return Message.objects.filter(sent_at__isnull=False)


def test_the_sweep_writes_and_the_worker_sends(start_worker, send, ending_soon, message_ids):
    start_worker()
    send("reminders.sweep")
    wait_until(lambda: sent().exists())
    message = sent().get()
    assert message.recipient == ending_soon.email
    assert message_ids() == [f"<{message.message_id}>"]


def test_work_that_waits_elsewhere_does_not_hold_reminders_up(
    processes, link, send, ending_soon, message_ids, monkeypatch
):
    """As while every other worker is busy with work logs and photographs."""
    monkeypatch.setattr(health.current_app, "connection_for_read", lambda: link.clone())
    for _ in range(3):
        send("work_logs.check_due")
    processes.worker("config", "--queues", "reminders")
    send("reminders.sweep")
    wait_until(lambda: sent().exists())
    assert len(message_ids()) == 1
    assert health.queue_depths() == {"celery": 3, "reminders": 0}


def test_sweeping_again_sends_nothing_again(start_worker, send, ending_soon, message_ids):
    start_worker()
    for _ in range(3):
        send("reminders.sweep")
        send("reminders.send")
    wait_until(lambda: sent().exists())
    swept_at = timezone.now()
    send("reminders.sweep")
    wait_until(lambda: SiteSweep.objects.get().finished_at > swept_at)
    assert len(message_ids()) == 1
    assert Reminder.objects.filter(person=ending_soon, message__isnull=False).count() == 1


def test_a_lost_message_delays_and_loses_nothing(
    start_worker, send, lose_messages, ending_soon, message_ids
):
    send("reminders.sweep")
    lose_messages()
    start_worker()
    send("reminders.sweep")
    wait_until(lambda: sent().exists())
    assert len(message_ids()) == 1

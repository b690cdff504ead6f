"""Workers that are killed while they sweep and send lose no reminder and repeat none unseen."""

import random
import time
from datetime import timedelta

import pytest
from django.utils import timezone

from certification.models import Message, Reminder
from certification.models.reminders import CLAIM_LAPSES_AFTER
from tests.factories import make_certificate, make_person, make_revision, make_scope, make_site
from tests.services.conftest import kill, wait_until
from tests.services.mail_server import Running

pytestmark = [
    pytest.mark.services,
    pytest.mark.slow,
    pytest.mark.django_db(transaction=True),
]

PEOPLE = 60


@pytest.fixture
def server(monkeypatch):
    """A mail server; asked for before `start_worker`, which reads the environment once."""
    running = Running()
    running.start()
    monkeypatch.setenv("EMAIL_URL", f"smtp://127.0.0.1:{running.port}")
    yield running.server
    running.stop()


@pytest.fixture
def ending_soon():
    """People whose certificates of a year end in a month, where any hour of any day is right."""
    site = make_site(send_hour=0, working_days=list(range(1, 8)), time_zone="UTC")
    scope = make_scope()
    revision = make_revision(scope, validity_months=12)
    for number in range(PEOPLE):
        make_certificate(
            make_person(site, email=f"p{number}@skarnfell.example"),
            scope,
            revision=revision,
            issued_on=site.today(timezone.now()) - timedelta(days=335),
        )


def let_claims_lapse():
    """As if so much time had passed that whoever held a message has surely died."""
    long_ago = timezone.now() - 2 * CLAIM_LAPSES_AFTER
    Message.objects.filter(claimed_at__isnull=False, sent_at__isnull=True).update(
        claimed_at=long_ago
    )


def sent():
    return Message.objects.filter(sent_at__isnull=False).count()


def test_mail_arrives_at_the_server_as_it_was_fixed(server, start_worker, send, ending_soon):
    start_worker()
    send("certification.tasks.sweep_reminders")
    wait_until(lambda: sent() == PEOPLE)
    assert sorted(server.given) == sorted(
        (message.recipient, bytes(message.raw)) for message in Message.objects.all()
    )
    assert set(Message.objects.values_list("answer", flat=True)) == {"250 2.0.0 Ok: queued as 4Xz"}


def test_two_workers_that_are_asked_at_once_send_each_mail_once(
    server, start_worker, send, ending_soon
):
    server.slow_s = 0.02
    for _ in range(2):
        start_worker()
    for _ in range(3):
        send("certification.tasks.sweep_reminders")
        send("certification.tasks.send_due_messages")
    wait_until(lambda: sent() == PEOPLE)
    assert len(server.given) == len(set(server.message_ids)) == PEOPLE
    assert Reminder.objects.filter(state="written").count() == PEOPLE


def test_workers_killed_at_any_instant_lose_nothing(server, start_worker, send, ending_soon):
    server.slow_s = 0.05
    chance = random.Random(7)

    def progress():
        return Reminder.objects.count() + len(server.given)

    def ask():
        """What beat asks for again and again."""
        send("certification.tasks.sweep_reminders")
        send("certification.tasks.send_due_messages")

    for _ in range(3):
        worker = start_worker()
        before = progress()
        ask()
        wait_until(lambda before=before: progress() > before)
        time.sleep(chance.uniform(0, 0.6))
        kill(worker)
        let_claims_lapse()
    assert sent() < PEOPLE, "killed before everything was done"
    start_worker()
    ask()
    wait_until(lambda: sent() == PEOPLE)
    assert set(Reminder.objects.values_list("state", flat=True)) <= {"written", "overtaken"}
    assert Reminder.objects.filter(state="written").count() == PEOPLE
    assert {recipient for recipient, _raw in server.given} == {
        f"p{number}@skarnfell.example" for number in range(PEOPLE)
    }
    assert len(set(server.given)) == len(set(server.message_ids)) == PEOPLE

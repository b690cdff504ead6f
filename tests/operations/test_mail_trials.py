"""Test mails go out as other mails do, and what is said of them is what became of them."""

import re
from datetime import timedelta
from email import message_from_bytes
from email.policy import SMTP

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from operations.exceptions import TrialRefused
from operations.models import MailTrial
from operations.queries.mail_trials import mail_truth
from operations.services import mail_trials
from records.models import TrailEntry
from records.queries.verification import verify_records
from tests.factories import make_person, make_user
from tests.services.mail_server import Running

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]

PAGE = reverse("operations:mail_trial")
ADDRESS = "ada@skarnfell.example"
MINUTE = timedelta(minutes=1)


@pytest.fixture
def server(settings):
    running = Running()
    running.start()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", running.port
    yield running.server
    running.stop()


@pytest.fixture
def administrator():
    return make_user("administrator", person=make_person(full_name="Ada Holm", email=ADDRESS))


def ask(actor, at=None, recipient=ADDRESS):
    return mail_trials.ask_for_trial(recipient=recipient, actor=actor, at=at or timezone.now())


def send():
    return mail_trials.send_due_trials(clock=timezone.now)


def link_in(raw: bytes) -> str:
    body = message_from_bytes(raw, policy=SMTP).get_body(("plain",)).get_content()
    found = re.search(r"http://\S+?(/set-up/mail/arrived/\S+)", body)
    assert found is not None
    return found[1]


def test_mail_is_sent_by_smtp_its_link_followed_once_and_the_trail_tells(
    client, administrator, server
):
    client.force_login(administrator)
    assert ADDRESS in client.get(PAGE).content.decode(), "one's own address is filled in"

    assert client.post(PAGE, {"recipient": ADDRESS}).url == PAGE
    assert "waits to be sent" in client.get(PAGE).content.decode()
    assert send() == 1
    [(recipient, raw)] = server.given
    assert recipient == ADDRESS
    page = client.get(PAGE).content.decode()
    assert "250 2.0.0 Ok: queued as 4Xz" in page
    assert "127.0.0.1" in page
    assert mail_truth().arrived is None, "what a server answers proves no arrival"

    stranger, link = Client(), link_in(raw)
    assert "Press the button" in stranger.get(link).content.decode()
    assert mail_truth().arrived is None, "programs open links, too"
    assert "Noted: this mail has arrived" in stranger.post(link).content.decode()
    seen = mail_truth().arrived.followed_at
    again = stranger.post(link).content.decode()
    assert "Noted: this" not in again
    assert "was noted on" in again

    assert mail_truth().arrived.followed_at == seen
    assert "its link was followed" in client.get(PAGE).content.decode()
    told = TrailEntry.objects.filter(act__startswith="test mail").order_by("number")
    assert list(told.values_list("act", flat=True)) == ["test mail asked for", "test mail arrived"]
    assert verify_records().faults == []


def test_what_the_server_refuses_is_told_in_its_words(client, administrator, server):
    server.rcpt_answers = ["550 5.1.1 No such mailbox here"]
    ask(administrator)

    assert send() == 0

    client.force_login(administrator)
    page = client.get(PAGE).content.decode()
    assert "was not sent" in page
    assert "550 5.1.1 No such mailbox here" in page
    assert send() == 0, "nobody tries again by themselves"
    assert mail_truth().fails_now


def test_server_that_is_away_is_told(administrator, settings):
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 9
    ask(administrator)
    send()
    assert "refused" in mail_truth().last.answer


def test_mail_seen_by_another_server_says_nothing_of_this_one(administrator, settings):
    trial = ask(administrator)
    mail_trials.note_arrival(trial=trial, actor=None, at=timezone.now())
    assert mail_truth().arrived == trial
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST = "other.example"
    assert mail_truth().arrived is None


def test_pressed_twice_it_is_one_mail(client, administrator):
    client.force_login(administrator)
    client.post(PAGE, {"recipient": ADDRESS})
    second = client.post(PAGE, {"recipient": ADDRESS})
    assert second.status_code == 422
    assert "is on its way already" in second.content.decode()
    assert MailTrial.objects.count() == 1


def test_ten_an_hour_are_enough(administrator):
    now = timezone.now()
    for number in range(mail_trials.MOST_AN_HOUR):
        ask(administrator, now - number * MINUTE)
    with pytest.raises(TrialRefused, match="ten test mails"):
        ask(administrator, now + MINUTE)
    ask(administrator, now + 70 * MINUTE)


@pytest.mark.parametrize("address", ["", "nobody", "a@b.example\nBcc: c@d.example", "x" * 300])
def test_what_is_no_address_gets_no_mail(client, administrator, address):
    client.force_login(administrator)
    assert client.post(PAGE, {"recipient": address}).status_code == 422
    assert not MailTrial.objects.exists()


@pytest.mark.parametrize("token", ["nothing", "MQ:1abcde:made-up", "9" * 5000])
def test_link_that_nobody_sent_says_so(client, token):
    answer = client.post(reverse("operations:mail_arrived", args=[token]))
    assert answer.status_code == 410
    assert "not whole" in answer.content.decode()


def test_link_is_good_for_seven_days(client, administrator, monkeypatch):
    trial = ask(administrator)
    link = reverse("operations:mail_arrived", args=[mail_trials.token_of(trial)])
    monkeypatch.setattr(mail_trials, "LINK_IS_GOOD_FOR", timedelta(seconds=-1))
    answer = client.post(link)
    assert answer.status_code == 410
    assert "good for seven days" in answer.content.decode()
    assert not MailTrial.objects.filter(followed_at__isnull=False).exists()


def test_one_worker_of_two_sends_it(administrator, server):
    trial = ask(administrator)
    now = timezone.now()
    assert MailTrial.objects.claim(trial.pk, now)
    assert not MailTrial.objects.claim(trial.pk, now)
    assert send() == 0
    MailTrial.objects.update(claimed_at=now - timedelta(minutes=11))
    assert send() == 1


def test_mail_that_no_worker_takes_within_an_hour_is_lost_and_not_sent_late(administrator):
    now = timezone.now()
    trial = ask(administrator, now - timedelta(hours=1))
    assert trial.state(now) == MailTrial.State.LOST
    assert send() == 0


def test_mail_says_who_asked_in_their_language(administrator):
    administrator.person.language = "de"
    administrator.person.save(update_fields=["language"])
    raw = bytes(ask(administrator).raw)
    assert message_from_bytes(raw, policy=SMTP)["Content-Language"] == "de"
    body = message_from_bytes(raw, policy=SMTP).get_body(("plain",)).get_content()
    assert "Ada Holm" in body

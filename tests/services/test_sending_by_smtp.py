"""Over a real SMTP connection the fixed bytes arrive, and every kind of refusal is known."""

from datetime import timedelta

import pytest

from certification.models import Message
from certification.services import mail
from tests.certification.reminder_scenes import NOW, ends_in, somebody, sweep
from tests.services.mail_server import Running

pytestmark = [pytest.mark.services, pytest.mark.django_db]

MINUTE = timedelta(minutes=1)


@pytest.fixture
def post_office(settings):
    running = Running()
    running.start()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", running.port
    settings.EMAIL_TIMEOUT = 1
    yield running
    running.stop()


@pytest.fixture
def server(post_office):
    return post_office.server


def send(now=NOW):
    return mail.send_due_messages(clock=lambda: now)


def the_message():
    return Message.objects.get()


def test_bytes_arrive_as_they_were_fixed_and_the_answer_is_kept(server):
    ends_in(7, somebody("Marta\n.Ruiz"))
    sweep()
    raw = bytes(the_message().raw)
    assert b"\n." in raw, "a line that begins with a dot, which SMTP doubles on its way"
    send()
    assert server.given == [("marta@skarnfell.example", raw)]
    assert (the_message().state, the_message().answer) == ("sent", "250 2.0.0 Ok: queued as 4Xz")


def test_many_mails_share_a_connection(server):
    for number in range(5):
        ends_in(7, somebody(f"P{number} Brink"))
    sweep()
    assert send().sent == 5
    assert server.connections == 1


def test_unknown_mailbox_is_given_up_with_the_servers_words(server):
    server.rcpt_answers = ["550 5.1.1 No such mailbox here"]
    ends_in(7)
    sweep()
    send()
    message = the_message()
    assert (message.state, message.refused) == ("failed", True)
    assert message.answer == "550 5.1.1 No such mailbox here"
    assert server.given == []


def test_refused_mail_does_not_spoil_the_next(server):
    server.rcpt_answers = ["550 5.1.1 No such mailbox here"]
    ends_in(7, somebody("Ada Brink"))
    ends_in(7, somebody("Ben Carlow"))
    sweep()
    done = send()
    assert (done.sent, done.not_sent) == (1, 1)


@pytest.mark.parametrize("where", ["rcpt_answers", "data_answers"])
def test_passing_trouble_is_tried_again_with_the_same_bytes(server, where):
    setattr(server, where, ["451 4.7.1 Come back later"])
    ends_in(7)
    sweep()
    assert send().not_sent == 1
    assert (the_message().state, the_message().answer) == ("retried", "451 4.7.1 Come back later")
    assert send(NOW + MINUTE).sent == 1
    assert set(server.given) == {("marta@skarnfell.example", bytes(the_message().raw))}


@pytest.mark.parametrize("trouble", ["hang up", "stall"])
def test_mail_of_unknown_fate_is_sent_again_under_the_same_message_id(server, trouble):
    server.data_answers = [trouble]
    ends_in(7)
    sweep()
    assert send().not_sent == 1
    assert send(NOW + MINUTE).sent == 1
    first, again = server.given
    assert first == again
    assert len(set(server.message_ids)) == 1


def test_server_that_is_away_and_comes_back_gets_everything(post_office, server):
    for number in range(5):
        ends_in(7, somebody(f"P{number} Brink"))
    sweep()
    post_office.stop()
    assert send().not_sent == 3
    assert all("refused" in one.answer for one in Message.objects.filter(attempts__gt=0))
    post_office.start()
    assert send(NOW + MINUTE).sent == 5
    assert len(server.given) == 5


def test_connection_that_was_closed_meanwhile_is_opened_again(post_office, server):
    for name in ("Ada Brink", "Ben Carlow"):
        ends_in(7, somebody(name))
    sweep()
    first, second = Message.objects.order_by("pk").values_list("pk", flat=True)
    with mail.Post() as post:
        assert mail.send_message(first, now=NOW, post=post) is mail.Fate.SENT
        post_office.stop()
        post_office.start()
        assert mail.send_message(second, now=NOW, post=post) is mail.Fate.SENT
    assert server.connections == 2

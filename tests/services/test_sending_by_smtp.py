"""Over a real SMTP connection the fixed bytes arrive, and every kind of refusal is known."""

from collections import Counter
from datetime import timedelta

import pytest

from reminders.models import Message, Reminder
from reminders.services import mail
from reminders.services import sweep as reminders
from tests.factories import make_certificate, make_revision, make_scope
from tests.reminders.reminder_scenes import (
    DAY,
    NOW,
    at,
    days,
    ends_in,
    somebody,
    sweep,
    vision_ends_in,
)
from tests.services.mail_server import Running

# The server at the other end knows of no database.
pytestmark = [pytest.mark.services, pytest.mark.django_db, pytest.mark.one_database]

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
    assert all("refused" in message.answer for message in Message.objects.filter(attempts__gt=0))
    post_office.start()
    assert send(NOW + MINUTE).sent == 5
    assert len(server.given) == 5


def test_connection_that_was_closed_meanwhile_is_opened_again(post_office, server):
    for name in ("Ada Brink", "Ben Carlow"):
        ends_in(7, somebody(name))
    sweep()
    first, second = Message.objects.order_by("pk").values_list("pk", flat=True)
    with mail.MailConnection() as post:
        assert mail.send_message(first, now=NOW, mail_connection=post) is mail.SendResult.SENT
        post_office.stop()
        post_office.start()
        assert mail.send_message(second, now=NOW, mail_connection=post) is mail.SendResult.SENT
    assert server.connections == 2


def no_one_listens(post_office):
    post_office.stop()
    return post_office.start


def everything_is_put_off(post_office):
    server = post_office.server
    server.rcpt_answers = ["451 4.3.2 The store is full"] * 100_000
    return server.rcpt_answers.clear


def every_mail_breaks_off(post_office):
    server = post_office.server
    server.data_answers = ["hang up"] * 100_000
    return server.data_answers.clear


def let_it_run(begin, end):
    """What beat and the worker do from one instant to another: a sweep an hour, a round of
    sending every twenty minutes."""
    now = begin
    while now < end:
        if (now - begin) % (60 * MINUTE) == timedelta(0):
            reminders.sweep(now=now)
        send(now)
        now += 20 * MINUTE


@pytest.mark.parametrize("go_down", [no_one_listens, everything_is_put_off, every_mail_breaks_off])
def test_server_that_is_down_for_three_days_gets_the_most_urgent_step_of_each_end(
    post_office, server, go_down
):
    lena, cups = somebody("Lena Voss"), make_scope(title="Cups")
    ada = somebody("Ada Brink", lead=lena)
    ends_in(8, ada)  # 14 days' step on the first day of three, 7 days' on the second
    ends_in(61, ada, cups)  # 60 days' on the second
    ends_in(2, somebody("Ben Carlow", lead=lena))  # 7 days', 1 day's, and the day after
    ends_in(45, somebody("Cara Dahl"))  # nothing but 60 days'
    dan = somebody("Dan Esk")
    revision = make_revision(cups, vision_months=12)
    make_certificate(dan, cups, revision=revision, issued_on=DAY - days(90))
    vision_ends_in(31, dan)  # 60 days', then 30 days'
    come_back = go_down(post_office)
    begin = at(DAY, 5, 0)

    let_it_run(begin, begin + days(3))

    assert not Message.objects.filter(sent_at__isnull=False).exists()
    assert {message.state for message in Message.objects.exclude(day=DAY + days(2))} == {
        "withdrawn"
    }
    given = len(server.given)
    come_back()
    let_it_run(begin + days(3), begin + days(5))

    reminders = Reminder.objects.filter(message__sent_at__isnull=False)
    assert sorted(
        (row.person.full_name, row.kind, row.step, row.recipient.full_name) for row in reminders
    ) == [
        ("Ada Brink", "certificate", 7, "Ada Brink"),
        ("Ada Brink", "certificate", 7, "Lena Voss"),
        ("Ada Brink", "certificate", 60, "Ada Brink"),
        ("Ben Carlow", "certificate", -1, "Ben Carlow"),
        ("Ben Carlow", "certificate", -1, "Lena Voss"),
        ("Cara Dahl", "certificate", 60, "Cara Dahl"),
        ("Dan Esk", "vision", 30, "Dan Esk"),
    ]
    others = Reminder.objects.exclude(pk__in=reminders)
    assert {(row.step, row.state) for row in others} == {
        (step, "overtaken") for step in (1, 7, 14, 30, 60, 90)
    }
    arrived = server.given[given:]
    assert Counter(reader for reader, _raw in arrived) == Counter(
        f"{name}@skarnfell.example" for name in ("ada", "ben", "cara", "dan", "lena")
    )
    fixed = {
        message.recipient: message for message in Message.objects.filter(sent_at__isnull=False)
    }
    assert dict(arrived) == {reader: bytes(message.raw) for reader, message in fixed.items()}

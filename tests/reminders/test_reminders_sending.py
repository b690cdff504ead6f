"""Each message goes out once if it can, again if it must, and never when it is no longer true."""

import smtplib
from datetime import timedelta

import pytest
from django.core import mail as django_mail

from certification.models import CertificateEvent
from certification.services import standing
from people.services.people import change_person
from records.models import TrailEntry
from reminders.exceptions import CannotSendAgain
from reminders.models import Message, Reminder
from reminders.models.reminders import CLAIM_LAPSES_AFTER, MOST_ATTEMPTS
from reminders.services import mail
from reminders.services.mail import SendResult
from tests.factories import make_certificate, make_revision, make_scope, make_user
from tests.reminders.reminder_scenes import (
    DAY,
    NOW,
    at,
    days,
    ends_in,
    ledger,
    messages,
    recipients,
    somebody,
    sweep,
    sweep_and_send,
    vision_ends_in,
)

pytestmark = pytest.mark.django_db

MINUTE = timedelta(minutes=1)


class Server:
    """Stands in for the mail server: answers as told, keeps what it was given."""

    def __init__(self):
        self.taken = []
        self.answers = []

    def deliver(self, recipient, raw):
        self.taken.append((recipient, raw))
        answer = self.answers.pop(0) if self.answers else "250 queued"
        if isinstance(answer, BaseException):
            raise answer
        return answer


@pytest.fixture
def server(monkeypatch):
    server = Server()
    monkeypatch.setattr(
        mail.MailConnection, "deliver", lambda _post, *given: server.deliver(*given)
    )
    return server


def send(now=NOW + MINUTE):
    return mail.send_due_messages(clock=lambda: now)


def refusal(code=550, answer=b"no such user"):
    return smtplib.SMTPRecipientsRefused({"marta@skarnfell.example": (code, answer)})


def put_right(person, email):
    change_person(person=person, actor=make_user("administrator"), at=NOW, email=email)


def stop(certificate, kind, effective_on=DAY):
    CertificateEvent.objects.create(
        event_id=f"E-{certificate.number}",
        certificate=certificate,
        kind=kind,
        effective_on=effective_on,
    )
    standing.rebuild_person(certificate.person)


def test_message_goes_out_as_it_was_fixed():
    ends_in(7)
    sweep()
    [before] = messages()
    assert send().sent == 1
    [mail_sent] = django_mail.outbox
    assert mail_sent.message().as_bytes() == bytes(before.raw)
    assert mail_sent.to == ["marta@skarnfell.example"]
    [message] = messages()
    assert (message.state, message.sent_at, message.attempts) == ("sent", NOW + MINUTE, 1)
    assert message.answer == "Put into the outbox folder."


def test_answer_of_the_server_is_kept(server):
    server.answers = ["250 2.0.0 Ok: queued as 4Xz"]
    ends_in(7)
    sweep()
    send()
    assert messages()[0].answer == "250 2.0.0 Ok: queued as 4Xz"


def test_sent_message_is_not_sent_again(server):
    ends_in(7)
    sweep()
    assert [send().sent, send(NOW + days(1) / 2).sent] == [1, 0]
    assert len(server.taken) == 1


def test_message_in_one_workers_hands_is_left_alone_by_another(server):
    ends_in(7)
    sweep()
    [message] = messages()
    assert Message.objects.claim(message.pk, NOW)
    assert not Message.objects.claim(message.pk, NOW + MINUTE)
    assert send(NOW + CLAIM_LAPSES_AFTER).sent == 0
    assert server.taken == []


def test_worker_that_died_leaves_the_same_bytes_to_the_next(server):
    ends_in(7)
    sweep()
    server.answers = [KeyboardInterrupt()]
    with pytest.raises(KeyboardInterrupt):
        send(NOW)
    assert send(NOW + CLAIM_LAPSES_AFTER).sent == 0
    assert send(NOW + CLAIM_LAPSES_AFTER + MINUTE).sent == 1
    first, again = server.taken
    assert first == again
    assert messages()[0].attempts == 2


def test_message_that_kills_its_worker_every_time_is_given_up(server):
    ends_in(7)
    sweep()
    now = NOW
    server.answers = [KeyboardInterrupt() for _ in range(MOST_ATTEMPTS)]
    for _attempt in range(MOST_ATTEMPTS):
        with pytest.raises(KeyboardInterrupt):
            send(now)
        now += CLAIM_LAPSES_AFTER + MINUTE
    send(now)
    [message] = messages()
    assert (message.state, message.answer) == ("failed", "The worker stopped at every attempt.")
    assert len(server.taken) == MOST_ATTEMPTS


def test_failure_is_tried_again_later_and_later_then_shown(server):
    ends_in(7)
    sweep()
    server.answers = [refusal(451, b"try later")] * (MOST_ATTEMPTS + 5)
    now, waits = NOW, []
    for _attempt in range(MOST_ATTEMPTS):
        send(now)
        [message] = messages()
        waits.append((message.due_at - now) // MINUTE)
        assert send(message.due_at - MINUTE / 2).not_sent == 0
        now = message.due_at
    assert waits == [1, 2, 4, 8, 16, 32, 60, 60, 60, 60]
    assert (message.state, message.answer) == ("failed", "451 try later")
    send(now + days(1) / 4)
    assert len(server.taken) == MOST_ATTEMPTS


def test_failure_once_is_made_good_by_the_same_bytes(server):
    ends_in(7)
    sweep()
    server.answers = [smtplib.SMTPServerDisconnected("gone")]
    assert send(NOW).not_sent == 1
    [message] = messages()
    assert (message.state, message.answer) == ("retried", "SMTPServerDisconnected: gone")
    assert send(NOW + MINUTE).sent == 1
    assert server.taken[0] == server.taken[1]


@pytest.mark.parametrize(
    "error",
    [
        pytest.param(refusal(), id="no such user"),
        pytest.param(smtplib.SMTPDataError(554, b"no such user"), id="content refused"),
    ],
)
def test_what_the_server_refuses_for_good_is_given_up_at_once(server, error):
    ends_in(7)
    sweep()
    server.answers = [error]
    send()
    [message] = messages()
    assert (message.state, message.refused, message.attempts) == ("failed", True, 1)
    assert message.answer.endswith("no such user")
    sweep_and_send(DAY + days(1))
    assert len(server.taken) == 1


@pytest.mark.parametrize(
    "error",
    [
        pytest.param(smtplib.SMTPAuthenticationError(535, b"wrong password"), id="password"),
        pytest.param(smtplib.SMTPSenderRefused(550, b"not you", "a@b.example"), id="sender"),
        pytest.param(ConnectionRefusedError("nobody there"), id="no server"),
        pytest.param(TimeoutError("stalled"), id="stalled"),
    ],
)
def test_what_is_the_sites_to_put_right_is_tried_again(server, error):
    ends_in(7)
    sweep()
    server.answers = [error]
    send()
    assert messages()[0].state == "retried"


def test_round_stops_early_where_no_server_answers(server):
    for number in range(6):
        ends_in(7, somebody(f"P{number} Brink"))
    sweep()
    server.answers = [ConnectionRefusedError()] * 6
    assert send().not_sent == 3
    assert len(server.taken) == 3


def test_round_leaves_what_does_not_fit_into_its_time_to_the_next(server):
    for number in range(3):
        ends_in(7, somebody(f"P{number} Brink"))
    sweep()
    none = mail.send_due_messages(clock=lambda: NOW + MINUTE, within_s=0)
    assert (none.sent, server.taken) == (0, [])
    assert send().sent == 3


def test_refused_readers_do_not_stop_the_round(server):
    for number in range(6):
        ends_in(7, somebody(f"P{number} Brink"))
    sweep()
    server.answers = [refusal()] * 5
    sending_round = send()
    assert (sending_round.sent, sending_round.not_sent) == (1, 5)


def test_late_answer_of_a_lapsed_worker_does_not_free_anothers_claim(server, monkeypatch):
    ends_in(7)
    sweep()
    [message] = messages()
    later = NOW + CLAIM_LAPSES_AFTER + MINUTE

    def stall(_recipient, _raw):
        assert Message.objects.claim(message.pk, later)
        raise TimeoutError

    monkeypatch.setattr(server, "deliver", stall)
    mail.send_message(message.pk, now=NOW)
    [message] = messages()
    assert (message.claimed_at, message.answer) == (later, "")


# What is no longer true


def test_renewed_before_it_goes_out_is_not_sent_and_says_why(server):
    certificate = ends_in(7)
    sweep()
    renewed = make_certificate(
        certificate.person,
        certificate.scope,
        revision=certificate.scheme_revision,
        issued_on=DAY,
        renews=certificate,
    )
    sending_round = send()
    assert (sending_round.sent, server.taken) == (0, [])
    assert ledger(step=7) == [(7, "Marta Ruiz", "dropped")]
    assert Reminder.objects.get(step=7).why == f"Certificate {renewed.number} holds now."
    [message] = messages()
    assert (message.state, message.why_withdrawn) == (
        "withdrawn",
        "Nothing in it was needed any more.",
    )


@pytest.mark.parametrize(
    ("kind", "why"),
    [("revoked", "It is revoked since."), ("suspended", "It is suspended since.")],
)
def test_stopped_before_it_goes_out_is_not_sent(server, kind, why):
    certificate = ends_in(7)
    sweep()
    stop(certificate, kind)
    send()
    assert server.taken == []
    assert Reminder.objects.get(step=7).why == why


def test_extended_before_it_goes_out_is_not_sent(server):
    certificate = ends_in(7)
    sweep()
    CertificateEvent.objects.create(
        event_id="E-1",
        certificate=certificate,
        kind="extended",
        effective_on=DAY,
        until=DAY + days(200),
        authority="Quality board",
    )
    standing.rebuild_person(certificate.person)
    send()
    assert server.taken == []
    assert Reminder.objects.get(step=7).why == "Its last day has moved, or it was withdrawn."


def test_new_vision_test_before_it_goes_out_is_not_sent(server):
    person, scope = somebody(), make_scope()
    revision = make_revision(scope, vision_months=12)
    make_certificate(person, scope, revision=revision, issued_on=DAY - days(90))
    vision_ends_in(7, person)
    sweep()
    vision_ends_in(360, person, number="V-2")
    send()
    assert server.taken == []
    assert Reminder.objects.get(step=7).why == "Another vision test counts now."


def test_person_who_left_before_it_goes_out_is_not_written_to(server):
    person = ends_in(7).person
    sweep()
    person.left_on = DAY - days(1)
    person.save()
    send()
    assert server.taken == []
    assert Reminder.objects.get(step=7).why == "Marta Ruiz left: the last day here was 24 Nov 2026."


def test_copy_for_somebody_who_no_longer_leads_is_not_sent(server):
    person = somebody("Ada Brink", lead=somebody("Lena Voss"))
    ends_in(7, person)
    sweep()
    person.line_lead = somebody("Nils Ode")
    person.save()
    send()
    assert [recipient for recipient, _raw in server.taken] == ["ada@skarnfell.example"]
    assert Reminder.objects.get(state="dropped").why == "Lena Voss is no longer the line lead."


def test_message_is_written_anew_without_what_no_longer_holds(server):
    person = somebody()
    revoked = ends_in(7, person)
    ends_in(30, person, make_scope(title="Cups"))
    sweep()
    [before] = messages()
    stop(revoked, "revoked")
    send()
    [(_recipient, raw)] = server.taken
    [message] = messages()
    assert message.message_id != before.message_id
    assert raw == bytes(message.raw) != bytes(before.raw)
    text = mail.text_of(message)
    assert "Cups" in text
    assert "Turrets" not in text


def test_days_before_are_not_sent_once_it_has_ended(server):
    ends_in(1)
    sweep()
    assert mail.send_message(messages()[0].pk, now=NOW, on=DAY + days(2)) is SendResult.WITHDRAWN
    assert server.taken == []
    assert Reminder.objects.get(step=1).why == "It ended before this could go out."


# What did not go out on its day


def test_message_whose_day_is_over_waits_for_the_sweep(server):
    ends_in(7)
    sweep()
    assert send(at(DAY + days(1), 0)).sent == 0
    assert server.taken == []
    sweep(DAY + days(1))
    send(at(DAY + days(1), 6))
    old, new = messages()
    assert (old.state, old.why_withdrawn) == (
        "withdrawn",
        "What it held goes into a later message.",
    )
    assert new.state == "sent"
    assert ledger(step=7) == [(7, "Marta Ruiz", "written")]


def test_mail_down_for_days_then_back_sends_only_the_most_urgent_step(server):
    person = somebody("Ada Brink", lead=somebody("Lena Voss"))
    ends_in(8, person)
    server.answers = [ConnectionRefusedError()] * 1000
    for shift in range(3):
        sweep(DAY + days(shift))
        for minutes in range(0, 15 * 60, 7):
            send(at(DAY + days(shift), 5) + MINUTE * minutes)
    assert {message.state for message in messages()} == {"withdrawn", "failed"}
    server.taken.clear()
    server.answers.clear()
    sweep_and_send(DAY + days(3))
    assert sorted(recipient for recipient, _raw in server.taken) == [
        "ada@skarnfell.example",
        "lena@skarnfell.example",
    ]
    reminders = Reminder.objects.filter(message__sent_at__isnull=False)
    assert set(reminders.values_list("step", flat=True)) == {7}
    assert set(
        Reminder.objects.filter(person=person).exclude(step=7).values_list("state", flat=True)
    ) == {"overtaken"}


def test_message_in_a_workers_hands_is_not_taken_back(server):
    ends_in(7)
    sweep()
    Message.objects.update(claimed_at=at(DAY + days(1)) - MINUTE)
    sweep(DAY + days(1))
    assert recipients() == [("marta@skarnfell.example", DAY)]
    assert messages()[0].state == "waiting"


def test_address_that_was_taken_away_leaves_the_person_to_the_list(server):
    person = ends_in(7).person
    sweep()
    person.email = ""
    person.save()
    sweep(DAY + days(1))
    assert ledger(step=7) == [(7, "Marta Ruiz", "listed")]


# Addresses put right while a message waits


def test_reminder_that_waits_goes_to_the_address_put_right_meanwhile():
    person = somebody(email="marta.wrong@other.example")
    ends_in(7, person)
    sweep()
    put_right(person, "marta@skarnfell.example")
    assert send().sent == 0
    [message] = messages()
    assert (message.state, message.recipient, message.why_withdrawn) == (
        "withdrawn",
        "marta.wrong@other.example",
        "What it held goes into a later message.",
    )
    sweep_and_send(hour=6)
    sweep_and_send(hour=7)
    assert [one.to for one in django_mail.outbox] == [["marta@skarnfell.example"]]
    assert Reminder.objects.get(step=7).message.recipient == "marta@skarnfell.example"


def test_reminder_that_waits_is_listed_where_its_address_was_taken_away():
    person = ends_in(7).person
    sweep()
    put_right(person, "")
    sweep_and_send(hour=6)
    sweep_and_send(hour=7)
    assert django_mail.outbox == []
    assert ledger(step=7) == [(7, "Marta Ruiz", "listed")]


def test_of_two_at_one_address_only_the_other_is_written_to_once_one_has_their_own():
    ada, ben = (somebody(name, email="bench@skarnfell.example") for name in ("Ada", "Ben"))
    ends_in(7, ada)
    ends_in(7, ben)
    sweep()
    put_right(ada, "ada@skarnfell.example")
    send()
    [shared] = messages()
    assert (shared.state, shared.person) == ("sent", ben)
    assert "Ada" not in mail.text_of(shared)
    sweep_and_send(hour=6)
    assert recipients() == [("ada@skarnfell.example", DAY), ("bench@skarnfell.example", DAY)]
    assert "Dear Ada" in mail.text_of(messages()[0])
    assert len(django_mail.outbox) == 2


# Sent again by an administrator


def test_message_that_was_given_up_can_be_sent_again(server):
    ends_in(7)
    sweep()
    server.answers = [refusal()]
    send()
    [message] = messages()
    mail.send_again(message=message, actor=make_user("administrator"), at=NOW + MINUTE)
    assert send(NOW + 2 * MINUTE).sent == 1
    assert server.taken[0] == server.taken[1]
    assert TrailEntry.objects.filter(act="message sent again", about_id=str(message.pk)).exists()


def test_message_to_a_corrected_address_goes_out_with_the_next_sweep(server):
    person = ends_in(7).person
    sweep()
    server.answers = [refusal()]
    send()
    person.email = "marta.ruiz@skarnfell.example"
    person.save()
    mail.send_again(message=messages()[0], actor=make_user("administrator"), at=NOW + MINUTE)
    sweep_and_send(hour=6)
    assert [recipient for recipient, _raw in server.taken] == [
        "marta@skarnfell.example",
        "marta.ruiz@skarnfell.example",
    ]


@pytest.mark.parametrize("sent", [True, False])
def test_message_that_was_not_given_up_is_not_sent_again(server, sent):
    ends_in(7)
    sweep()
    if sent:
        send()
    with pytest.raises(CannotSendAgain, match="given up"):
        mail.send_again(message=messages()[0], actor=make_user("administrator"), at=NOW)
    assert not TrailEntry.objects.filter(act="message sent again").exists()

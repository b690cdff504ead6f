"""Workers that are killed while they sweep and send lose no reminder and repeat none unseen."""

import os
import random
import time

import pytest

from reminders.models import Message, Reminder
from tests.services.many import (
    every_reminder_went_out_once,
    let_claims_lapse,
    make_many,
    sent,
    twice_at_the_server,
)
from tests.services.processes import kill, wait_until

pytestmark = [
    pytest.mark.services,
    pytest.mark.slow,
    pytest.mark.django_db(transaction=True),
]

KILLS = int(os.environ.get("FAULT_KILLS", "5"))
# The more kills, the more there is to do between them.
PEOPLE, REMINDERS = (200, 600) if KILLS <= 10 else (2000, 2000)


def test_mail_arrives_at_the_server_as_it_was_fixed(server, start_worker, send):
    readers = make_many(20)
    start_worker()
    send("reminders.sweep")
    wait_until(lambda: sent() == 20)
    every_reminder_went_out_once(readers, 20)
    assert twice_at_the_server(server) == 0
    assert set(Message.objects.values_list("answer", flat=True)) == {"250 2.0.0 Ok: queued as 4Xz"}


def test_workers_killed_at_any_instant_lose_nothing_and_repeat_nothing_unseen(
    server, start_worker, ask
):
    readers = make_many(PEOPLE, REMINDERS // PEOPLE)
    server.slow_s = 0.01
    seed = int(os.environ.get("FAULT_SEED") or random.SystemRandom().randrange(10**6))
    print(f"FAULT_SEED={seed} FAULT_KILLS={KILLS}")
    chance = random.Random(seed)

    def progress():
        """From 0 to 3: the ledger is written, then the messages, then they are sent."""
        done = Message.objects.count() + len({reader for reader, _raw in server.given})
        return Reminder.objects.count() / REMINDERS + done / PEOPLE

    # Instants of the work and not of the clock, so that they fall into it on any machine.
    for kill_number in range(KILLS):
        begun, instant = progress(), (kill_number + chance.random()) * 3 / KILLS
        worker = start_worker()
        ask()
        wait_until(
            lambda least=begun, instant=instant: (at := progress()) > least and at >= instant,
            watch=progress,
            every_s=0.02,  # What comes next is a tenth of a second at most, of any length.
        )
        time.sleep(chance.choice([0, chance.uniform(0, 0.1)]))
        kill(worker)
        print(
            f"killed at {progress():.2f} of 3: {Reminder.objects.count()} in the ledger, "
            f"{Message.objects.count()} messages, {len(server.given)} given, {sent()} recorded"
        )
        let_claims_lapse()
    assert sent() < PEOPLE, "killed before all was done"
    start_worker()
    ask()
    wait_until(lambda: sent() == PEOPLE)
    every_reminder_went_out_once(readers, REMINDERS)
    print(f"{twice_at_the_server(server)} mails reached the server twice")


def test_mail_that_was_taken_when_the_worker_died_comes_again_recognisably(
    server, start_worker, ask
):
    readers = make_many(3)
    server.slow_s = 5.0
    worker = start_worker()
    ask()
    wait_until(lambda: len(server.given) == 1, watch=lambda: Message.objects.count())
    kill(worker)
    assert sent() == 0, "the server has it, and nobody wrote that down"
    server.slow_s = 0.0
    let_claims_lapse()
    start_worker()
    ask()
    wait_until(lambda: sent() == 3)
    every_reminder_went_out_once(readers, 3)
    assert twice_at_the_server(server) == 1


def test_two_clocks_and_four_workers_at_once_send_each_mail_once(server, processes):
    readers = make_many(200)
    for _ in range(4):
        processes.worker("tests.services.often")
    for _ in range(2):
        processes.clock("tests.services.often")
    wait_until(lambda: sent() == 200)
    every_reminder_went_out_once(readers, 200)
    assert twice_at_the_server(server) == 0

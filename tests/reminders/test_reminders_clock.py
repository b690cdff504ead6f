"""Clocks that jump, zones, daylight saving and leap days neither lose nor repeat a reminder."""

from datetime import UTC, date, datetime, timedelta

import pytest

from reminders.models import Message, Reminder, SiteSweep
from reminders.models.reminders import CLAIM_LAPSES_AFTER
from reminders.services import mail
from reminders.services import sweep as reminders
from tests.factories import make_certificate, make_revision, make_scope, make_site
from tests.reminders.reminder_scenes import (
    DAY,
    NOW,
    aldergate,
    at,
    days,
    ends_in,
    ledger,
    messages,
    recipients,
    somebody,
    sweep,
    sweep_and_send,
)

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)


@pytest.fixture(autouse=True)
def given(monkeypatch):
    """The mails that a mail server was given."""
    given = []

    def deliver(_post, recipient, raw):
        given.append((recipient, raw))
        return "250 queued"

    monkeypatch.setattr(mail.MailConnection, "deliver", deliver)
    return given


def went_out():
    """The steps that went out, by day, in the order of the days."""
    rows = Reminder.objects.filter(message__sent_at__isnull=False).order_by("message__day", "step")
    return [(row.message.day, row.step) for row in rows.select_related("message")]


def through(first, last, *, shifts=None):
    """Sweep and send on every day of a stretch, on the days that a wrong clock shows."""
    for number in range((last - first).days + 1):
        day = first + days(number)
        sweep_and_send((shifts or {}).get(day, day))


# A clock that is wrong for a while

ENDS = 10
STEPS = [9, 5, 2, 1]
STEPS_SENT = [(DAY + days(ENDS - step), step) for step in STEPS]
EVERY_DAY = list(range(1, 8))


def without_the_wrong_days(shifts):
    right = {DAY + days(number) for number in range(ENDS + 2)}
    return [(day, step) for day, step in went_out() if day in right or not shifts]


@pytest.fixture
def of_ten_days():
    make_site(working_days=EVERY_DAY)
    return ends_in(ENDS, steps=STEPS)


def test_steps_go_out_on_their_days_by_a_clock_that_is_right(of_ten_days):
    through(DAY, DAY + days(ENDS + 2))
    assert went_out() == [*STEPS_SENT, (DAY + days(ENDS + 1), -1)]


# Onto a day of no step, of the next step, of the last, of what ended, and far past all.
@pytest.mark.parametrize("ahead", [1, 2, 6, 8, 400, 4000])
def test_clock_that_was_ahead_for_a_day_takes_no_later_step_away(of_ten_days, ahead):
    wrong = DAY + days(3)
    through(DAY, DAY + days(ENDS + 2), shifts={wrong: wrong + days(ahead)})
    steps = [step for _day, step in went_out()]
    assert sorted(steps, reverse=True) == [*STEPS, -1], "each once, whatever the clock said"


def test_what_a_clock_ahead_wrote_and_could_not_send_is_as_if_it_had_not_been(of_ten_days, given):
    through(DAY, DAY + days(2))
    sweep(DAY + days(400))
    assert ledger(step=-1) == [(-1, "Marta Ruiz", "written")]
    through(DAY + days(3), DAY + days(ENDS + 2))
    assert went_out() == [*STEPS_SENT, (DAY + days(ENDS + 1), -1)]
    [early] = Message.objects.filter(day=DAY + days(400))
    assert (early.state, early.why_withdrawn) == (
        "withdrawn",
        "It was written while the clock was ahead.",
    )
    assert len(given) == 5


# Onto a day of no step, of one that went out, and of before the first.
@pytest.mark.parametrize("behind", [1, 3, 40, 4000])
def test_clock_that_was_behind_for_a_day_repeats_nothing_and_loses_nothing(of_ten_days, behind):
    wrong = DAY + days(4)
    through(DAY, DAY + days(ENDS + 2), shifts={wrong: wrong - days(behind)})
    assert went_out() == [*STEPS_SENT, (DAY + days(ENDS + 1), -1)]


def test_clock_that_is_put_back_an_hour_after_a_sweep_repeats_nothing(given):
    ends_in(7)
    for hour in (6, 7, 6, 7):
        sweep_and_send(hour=hour)
    assert len(given) == 1
    assert len(messages()) == 1


def test_claim_of_a_clock_ahead_lapses(given):
    ends_in(7)
    sweep()
    Message.objects.update(claimed_at=NOW + days(400), attempts=1)
    assert mail.send_due_messages(clock=lambda: NOW).sent == 1
    Message.objects.update(sent_at=None, claimed_at=NOW + CLAIM_LAPSES_AFTER / 2)
    assert mail.send_due_messages(clock=lambda: NOW).sent == 0, "somebody may be at it"


def test_site_that_was_swept_in_the_future_still_says_what_ended_yesterday():
    make_site(working_days=EVERY_DAY)
    ends_in(-1, steps=[])
    SiteSweep.objects.create(site=make_site(), day=DAY + days(400), finished_at=NOW)
    sweep()
    assert ledger(step=-1) == [(-1, "Marta Ruiz", "written")]
    assert SiteSweep.objects.get().day == DAY


def test_message_of_a_day_to_come_waits_for_the_sweep(given):
    ends_in(7)
    reminders.sweep(now=NOW, on=DAY + days(1))
    assert mail.send_due_messages(clock=lambda: NOW).sent == 0
    sweep_and_send(hour=6)
    assert recipients() == [
        ("marta@skarnfell.example", DAY),
        ("marta@skarnfell.example", DAY + days(1)),
    ]
    assert [message.state for message in messages()] == ["sent", "withdrawn"]
    assert len(given) == 1


# Daylight saving: the days on which the clocks of Madrid and London change

SPRING, AUTUMN = date(2026, 3, 29), date(2026, 10, 25)


@pytest.mark.parametrize("changes_on", [SPRING, AUTUMN])
@pytest.mark.parametrize("send_hour", [1, 2, 3])
def test_every_hour_of_a_day_of_changing_clocks_sends_each_step_once(changes_on, send_hour, given):
    site = make_site(send_hour=send_hour, working_days=EVERY_DAY)
    ends_in(8, today=changes_on, steps=[9, 8, 7])
    midnight = datetime(changes_on.year, changes_on.month, changes_on.day, tzinfo=UTC)
    for number in range(-26, 28):
        now = midnight + number * HOUR
        reminders.sweep(now=now)
        mail.send_due_messages(clock=lambda now=now: now)
    assert went_out() == [
        (changes_on - days(1), 9),
        (changes_on, 8),
        (changes_on + days(1), 7),
    ]
    hours = {
        message.sent_at.astimezone(site.zone).hour
        for message in messages()
        if message.day != changes_on
    }
    assert hours == {send_hour}
    assert len(given) == 3


# Leap days


@pytest.mark.parametrize(
    ("issued_on", "months", "last_day", "sent"),
    [
        pytest.param(
            date(2026, 2, 28),
            24,
            date(2028, 2, 28),
            [(date(2028, 2, 27), 1), (date(2028, 2, 29), -1)],
            id="the day after is the leap day",
        ),
        pytest.param(
            date(2024, 2, 29),
            48,
            date(2028, 2, 29),
            [(date(2028, 2, 28), 1), (date(2028, 3, 1), -1)],
            id="the last day is the leap day",
        ),
        pytest.param(
            date(2024, 2, 29),
            12,
            date(2025, 2, 28),
            [(date(2025, 2, 27), 1), (date(2025, 3, 1), -1)],
            id="issued on a leap day, ends in another year",
        ),
        pytest.param(
            date(2026, 3, 1),
            24,
            date(2028, 3, 1),
            [(date(2028, 2, 29), 1), (date(2028, 3, 2), -1)],
            id="the day before is the leap day",
        ),
    ],
)
def test_ends_about_a_leap_day_are_written_about_on_their_days(issued_on, months, last_day, sent):
    make_site(working_days=EVERY_DAY)
    scope = make_scope()
    certificate = make_certificate(
        somebody(),
        scope,
        revision=make_revision(scope, validity_months=months, reminder_steps=[1]),
        issued_on=issued_on,
    )
    assert certificate.valid_through == last_day
    through(last_day - days(5), last_day + days(5))
    assert went_out() == sent


# Two sites in two zones


def test_two_sites_on_two_sides_of_the_date_line_go_by_their_own_days(given):
    """Kiritimati is fourteen hours ahead of Greenwich, Honolulu ten behind it."""
    east = make_site("East", "EA", time_zone="Pacific/Kiritimati", working_days=EVERY_DAY)
    west = make_site("West", "WE", time_zone="Pacific/Honolulu", working_days=EVERY_DAY)
    ends_in(7, somebody("Ada Brink", site=east), steps=[7, 6])
    ends_in(7, somebody("Ben Carlow", site=west), steps=[7, 6])
    sent_at = {}
    for number in range(-16, 44):
        now = at(DAY, 0, 7) + number * HOUR
        reminders.sweep(now=now)
        mail.send_due_messages(clock=lambda now=now: now)
        for message in Message.objects.filter(sent_at__isnull=False):
            sent_at.setdefault((message.recipient.split("@")[0], message.day), now)
    assert sent_at == {
        ("ada", DAY): at(DAY - days(1), 16, 7),
        ("ada", DAY + days(1)): at(DAY, 16, 7),
        ("ben", DAY): at(DAY, 16, 7),
        ("ben", DAY + days(1)): at(DAY + days(1), 16, 7),
    }
    assert len(given) == 4


def test_line_lead_of_another_zone_is_written_to_by_the_day_of_their_own_site(given):
    lead = somebody("Lena Voss", site=aldergate(send_hour=9))
    ends_in(7, somebody("Ada Brink", lead=lead), steps=[7])
    sweep_and_send(hour=6)
    assert [recipient for recipient, _raw in given] == ["ada@skarnfell.example"]
    sweep_and_send(hour=9)
    assert [recipient for recipient, _raw in given] == [
        "ada@skarnfell.example",
        "lena@skarnfell.example",
    ]

"""Scenes for the tests of reminders: people whose certification ends, and what was written."""

from datetime import UTC, date, datetime, time, timedelta

from certification.models import Certificate
from certification.services import standing
from reminders.models import Message, Reminder
from reminders.services import mail
from reminders.services import sweep as reminders
from tests.factories import (
    make_certificate,
    make_person,
    make_revision,
    make_scope,
    make_site,
)
from training.models import VisionTest

DAY = date(2026, 11, 25)  # a Wednesday
NOW = datetime(2026, 11, 25, 5, 7, tzinfo=UTC)  # 06:07 in Castelmar, 05:07 in Aldergate


def at(day, hour=5, minute=7):
    return datetime.combine(day, time(hour, minute), UTC)


def days(number):
    return timedelta(days=number)


def aldergate(**fields):
    return make_site("Aldergate", "AL", time_zone="Europe/London", **fields)


def somebody(name="Marta Ruiz", *, site=None, lead=None, email=None, **fields):
    address = f"{name.split()[0].lower()}@skarnfell.example" if email is None else email
    return make_person(site, full_name=name, email=address, line_lead=lead, **fields)


def ends_in(
    left, person=None, scope=None, *, today=DAY, steps=None, revision=None, **fields
) -> Certificate:
    """A certificate whose last good day is so many days from today."""
    scope = scope or make_scope(title="Turrets")
    figures = {} if steps is None else {"reminder_steps": steps}
    revision = revision or make_revision(scope, **figures)
    last = today + days(left)
    return make_certificate(
        person or somebody(),
        scope,
        revision=revision,
        issued_on=last.replace(year=last.year - 2),
        **fields,
    )


def vision_ends_in(left, person, *, today=DAY, number="V-1", months=12):
    """A passed vision test that is good for so many days more; a year before, near enough."""
    last = today + days(left)
    test = VisionTest.objects.create(
        test_id=number,
        person=person,
        tested_on=last.replace(year=last.year - 1),
        passed=True,
        recorded_at=at(last.replace(year=last.year - 1)),
    )
    standing.rebuild_person(person)
    return test


def sweep(day=DAY, hour=5):
    return reminders.sweep(now=at(day, hour))


def sweep_and_send(day=DAY, hour=5):
    """One sweep and one round of sending, a minute later."""
    sweep(day, hour)
    return mail.send_due_messages(clock=lambda: at(day, hour, 8))


def ledger(**filters):
    """The ledger as (step, state) of each reader's name, the fewest days left first."""
    rows = Reminder.objects.filter(**filters).order_by("step", "recipient__full_name")
    return [
        (row.step, row.recipient.full_name, row.state) for row in rows.select_related("recipient")
    ]


def messages():
    return list(Message.objects.order_by("day", "recipient"))


def recipients():
    return [(message.recipient, message.day) for message in messages()]

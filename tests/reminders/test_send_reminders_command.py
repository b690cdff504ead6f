"""``send_reminders`` sweeps and sends, for today or another day, or only says what would go."""

from io import StringIO

import pytest
from django.core import mail as django_mail
from django.core.management import CommandError, call_command
from django.utils import timezone

from reminders.models import Message, Reminder
from reminders.queries.readers import address_of
from tests.reminders.reminder_scenes import DAY, days, ends_in, somebody

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _at_six_past(monkeypatch):
    from tests.reminders.reminder_scenes import NOW

    monkeypatch.setattr(timezone, "now", lambda: NOW)


def run(*arguments):
    out = StringIO()
    call_command("send_reminders", *arguments, stdout=out)
    return out.getvalue()


def test_sweeps_and_sends():
    ends_in(7)
    output = run()
    assert "Castelmar, Wed 25 Nov 2026: 5 new in the ledger, 1 messages written." in output
    assert "Sent: 1." in output
    assert len(django_mail.outbox) == 1


def test_running_again_sends_nothing_more():
    ends_in(7)
    run()
    assert "Sent: 0." in run()
    assert len(django_mail.outbox) == 1


@pytest.mark.parametrize("shift", [-3, 20])
def test_sweeps_as_if_it_were_another_day(shift):
    ends_in(7 + shift)
    run("--on", str(DAY + days(shift)))
    assert [message.day for message in Message.objects.all()] == [DAY + days(shift)]
    assert len(django_mail.outbox) == 1


def test_dry_run_says_who_would_be_told_and_writes_nothing():
    lead = somebody("Lena Voss")
    ends_in(7, somebody("Ada Brink", lead=lead))
    ends_in(30, somebody("Ben Carlow", email=""))
    output = run("--dry-run")
    assert (
        "Turrets, certificate, last good day 02 Dec 2026. "
        "To ada@skarnfell.example, lena@skarnfell.example." in output
    )
    assert "last good day 25 Dec 2026. To Ben Carlow on paper." in output
    assert not Reminder.objects.exists()
    assert not Message.objects.exists()
    assert django_mail.outbox == []


def test_dry_run_tells_of_the_same_readers_as_the_sweep():
    for number, left in enumerate((90, 61, 14, 8, 1)):
        ends_in(left, somebody(f"P{number} Brink", lead=somebody(f"L{number} Voss")))
    output = run("--dry-run")
    run()
    reminders = Reminder.objects.filter(state="written").select_related("recipient")
    assert {address_of(row.recipient) for row in reminders} == {
        word.strip(".,") for word in output.split() if "@" in word
    }


def test_site_whose_hour_has_not_come_is_left_alone(monkeypatch):
    from tests.reminders.reminder_scenes import at

    monkeypatch.setattr(timezone, "now", lambda: at(DAY, 4))
    ends_in(7)
    assert "No site's hour has come: nothing was written." in run()
    assert "No site's hour has come: nothing would be written." in run("--dry-run")
    assert not Reminder.objects.exists()


def test_day_that_is_none_is_refused_in_words():
    with pytest.raises(CommandError, match="'soon' is no day: write it as 2026-11-25"):
        run("--on", "soon")

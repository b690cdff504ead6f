"""What goes wrong with one person or one site keeps nobody else from their reminder."""

import pytest

from operations.models import Heartbeat
from reminders.models import Message, Reminder, SiteSweep
from reminders.services import sweep as reminders
from tests.factories import make_site
from tests.reminders.reminder_scenes import (
    DAY,
    aldergate,
    days,
    ends_in,
    ledger,
    recipients,
    somebody,
    sweep,
    sweep_and_send,
)

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "email",
    [
        "marta..ruiz@skarnfell.example",
        "marta.@skarnfell.example",
        "marta,ruiz@skarnfell.example",
        "marta;ben@skarnfell.example",
        "<marta@skarnfell.example>",
        "marta@bench@skarnfell.example",
        "marta(bench)@skarnfell.example",
        "marta@skarnfell..example",
        "ma\\rta@skarnfell.example",
    ],
)
def test_address_that_cannot_stand_in_a_mail_is_none_and_stops_nobody_elses(email):
    ends_in(7, somebody("Marta Ruiz", email=email))
    ends_in(7, somebody("Zoe Abel"))
    sweep()
    assert recipients() == [("zoe@skarnfell.example", DAY)]
    assert ledger(step=7) == [(7, "Marta Ruiz", "listed"), (7, "Zoe Abel", "written")]


@pytest.mark.parametrize(
    "email", ["marta@[192.0.2.1]", "m.r+bench_3@skarnfell.example", "m'r@s.example"]
)
def test_unusual_address_is_one(email):
    ends_in(7, somebody("Marta Ruiz", email=email))
    sweep()
    assert recipients() == [(email, DAY)]


def test_letter_that_cannot_be_written_stops_no_other(monkeypatch, caplog):
    for name in ("Ada Brink", "Ben Carlow", "Cleo Dahl"):
        ends_in(7, somebody(name))
    write = reminders.write_letter

    def broken(desk, address, *rest):
        if address.startswith("ben"):
            raise ValueError("This cannot be written.")
        return write(desk, address, *rest)

    with monkeypatch.context() as patch:
        patch.setattr(reminders, "write_letter", broken)
        with pytest.raises(ValueError, match="cannot be written"):
            sweep()
    assert [recipient for recipient, _day in recipients()] == [
        "ada@skarnfell.example",
        "cleo@skarnfell.example",
    ]
    assert "The message to ben@skarnfell.example was not written" in caplog.text
    assert not SiteSweep.objects.exists(), "the sweep did not come to its end"
    sweep(hour=6)
    assert ("ben@skarnfell.example", DAY) in recipients()


def test_site_whose_sweep_fails_stops_no_other(monkeypatch, caplog):
    ends_in(7, somebody("Ada Brink", site=make_site()))
    ends_in(7, somebody("Ben Carlow", site=aldergate(send_hour=0)))
    sweep_site = reminders.sweep_site

    def broken(site, *rest):
        if site.prefix == "CA":
            raise ValueError("Something is wrong here.")
        return sweep_site(site, *rest)

    monkeypatch.setattr(reminders, "sweep_site", broken)
    with pytest.raises(ValueError, match="wrong here"):
        sweep()
    assert recipients() == [("ben@skarnfell.example", DAY)]
    assert "The sweep of Castelmar on 2026-11-25 did not come to its end." in caplog.text
    assert not Heartbeat.objects.exists()


def test_person_who_gets_an_address_is_written_to_with_the_next_sweep():
    person = ends_in(7, somebody("Ada Brink", email="")).person
    sweep()
    assert ledger(step=7) == [(7, "Ada Brink", "listed")]
    person.email = "ada@skarnfell.example"
    person.save()
    sweep_and_send(hour=6)
    assert ledger(step=7) == [(7, "Ada Brink", "written")]
    assert recipients() == [("ada@skarnfell.example", DAY)]
    sweep_and_send(hour=7)
    assert Message.objects.count() == 1


def test_address_that_comes_after_the_end_brings_nothing_of_the_past():
    person = ends_in(7, somebody("Ada Brink", email="")).person
    sweep()
    for shift in (7, 8, 9):
        sweep(DAY + days(shift))
    person.email = "ada@skarnfell.example"
    person.save()
    sweep_and_send(DAY + days(40))
    assert recipients() == []
    assert set(Reminder.objects.values_list("state", flat=True)) <= {"listed", "overtaken"}

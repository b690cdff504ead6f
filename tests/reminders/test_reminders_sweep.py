"""One sweep writes every due step once, into one message a day for each reader."""

from datetime import UTC, date, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from reminders.models import Message, Reminder, SiteSweep
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
    vision_ends_in,
)
from training.models import Calibration, Tool

pytestmark = [pytest.mark.django_db, pytest.mark.each_database]


def test_due_step_goes_into_a_message_and_the_earlier_ones_are_overtaken():
    ends_in(30)
    sweep()
    assert ledger() == [
        (30, "Marta Ruiz", "written"),
        (60, "Marta Ruiz", "overtaken"),
        (90, "Marta Ruiz", "overtaken"),
    ]
    [message] = messages()
    assert (message.recipient, message.day, message.due_at) == ("marta@skarnfell.example", DAY, NOW)
    assert list(message.reminders.values_list("step", flat=True)) == [30]


def test_nothing_is_written_before_the_first_step():
    ends_in(91)
    sweep()
    assert ledger() == []
    assert messages() == []


def test_sweeping_again_writes_nothing_twice():
    ends_in(30)
    for hour in range(5, 23):
        sweep(hour=hour)
    assert len(ledger()) == 3
    assert len(messages()) == 1


def test_all_that_ends_for_somebody_is_one_message():
    person = somebody()
    ends_in(30, person)
    ends_in(7, person, make_scope(title="Cups"))
    sweep()
    [message] = messages()
    assert sorted(message.reminders.values_list("step", flat=True)) == [7, 30]


def test_what_comes_due_later_in_the_day_waits_for_the_next_days_message():
    person = somebody()
    ends_in(30, person)
    sweep()
    ends_in(7, person, make_scope(title="Cups"))
    sweep(hour=9)
    assert (7, "Marta Ruiz", "waiting") in ledger()
    assert recipients() == [("marta@skarnfell.example", DAY)]
    sweep(DAY + days(1))
    assert recipients() == [
        ("marta@skarnfell.example", DAY),
        ("marta@skarnfell.example", DAY + days(1)),
    ]
    assert (7, "Marta Ruiz", "written") in ledger()


def test_line_lead_is_copied_from_fourteen_days_on_in_one_message():
    lead = somebody("Lena Voss")
    ends_in(30, somebody("Ada Brink", lead=lead))
    ends_in(14, somebody("Ben Carlow", lead=lead))
    ends_in(7, somebody("Cleo Dahl", lead=lead))
    sweep()
    copies = Reminder.objects.filter(recipient=lead)
    assert sorted(copies.values_list("person__full_name", "step")) == [
        ("Ben Carlow", 14),
        ("Cleo Dahl", 7),
    ]
    assert Message.objects.filter(recipient="lena@skarnfell.example").count() == 1


def test_person_without_an_address_is_reached_through_the_line_lead_and_the_list():
    ends_in(60, somebody("Ada Brink", lead=somebody("Lena Voss"), email=""))
    sweep()
    assert ledger(step=60) == [(60, "Ada Brink", "listed"), (60, "Lena Voss", "written")]


def test_nobody_to_write_to_leaves_the_list_alone():
    ends_in(7, somebody("Ada Brink", lead=somebody("Lena Voss", email=""), email=" "))
    sweep()
    assert ledger(step=7) == [(7, "Ada Brink", "listed")]
    assert messages() == []


def test_line_lead_who_left_is_not_copied():
    ends_in(7, somebody("Ada Brink", lead=somebody("Lena Voss", left_on=DAY - days(1))))
    sweep()
    assert ledger(step=7) == [(7, "Ada Brink", "written")]


def test_line_lead_of_themselves_is_told_once():
    person = somebody()
    person.line_lead = person
    person.save()
    ends_in(7, person)
    sweep()
    assert ledger(step=7) == [(7, "Marta Ruiz", "written")]


def test_two_people_with_one_mailbox_get_one_message():
    ends_in(7, somebody("Ada Brink", email="Bench3@skarnfell.example"))
    ends_in(7, somebody("Ben Carlow", email="bench3@skarnfell.example"))
    sweep()
    [message] = messages()
    assert message.reminders.count() == 2
    assert message.person is None


@pytest.mark.parametrize("email", ["näme@skarnfell.example", "no address", "@", "a b@c.example"])
def test_address_that_no_mail_reaches_counts_as_none(email):
    ends_in(7, somebody(email=email))
    sweep()
    assert ledger(step=7) == [(7, "Marta Ruiz", "listed")]


def test_hour_and_day_are_those_of_the_persons_site():
    ends_in(7, somebody("Ada Brink"))
    ends_in(7, somebody("Ben Carlow", site=aldergate()))
    sweep(hour=4)  # 05:07 in Castelmar
    assert recipients() == []
    sweep(hour=5)
    assert recipients() == [("ada@skarnfell.example", DAY)]
    sweep(hour=6)
    assert recipients() == [("ada@skarnfell.example", DAY), ("ben@skarnfell.example", DAY)]


def test_sites_on_two_sides_of_midnight_have_each_its_own_day():
    far = make_site("Farholm", "FA", time_zone="Pacific/Auckland")
    ends_in(7, somebody("Ada Brink", site=far), today=DAY + days(1))
    ends_in(7, somebody("Ben Carlow"))
    reminders.sweep(now=at(DAY, 20))  # Thursday 09:07 in Auckland
    assert sorted(recipients()) == [
        ("ada@skarnfell.example", DAY + days(1)),
        ("ben@skarnfell.example", DAY),
    ]


@pytest.mark.parametrize(
    ("now", "swept"),
    [
        pytest.param(datetime(2026, 3, 29, 0, 59, tzinfo=UTC), False, id="01:59, before the jump"),
        pytest.param(datetime(2026, 3, 29, 1, 0, tzinfo=UTC), True, id="03:00, hour 2 left out"),
        pytest.param(datetime(2026, 10, 24, 23, 59, tzinfo=UTC), False, id="01:59 in autumn"),
        pytest.param(datetime(2026, 10, 25, 0, 0, tzinfo=UTC), True, id="02:00 the first time"),
        pytest.param(datetime(2026, 10, 25, 1, 0, tzinfo=UTC), True, id="02:00 the second time"),
    ],
)
def test_hour_that_the_clock_leaves_out_or_repeats_is_one_hour(now, swept):
    make_site(send_hour=2)
    assert bool(reminders.sweep(now=now)) == swept


def test_step_of_a_weekend_goes_out_on_friday():
    friday = date(2026, 11, 27)
    ends_in(7, today=friday + days(1))
    sweep(DAY + days(1))
    assert recipients() == [("marta@skarnfell.example", DAY + days(1))]  # its 30-day step, late
    sweep(friday)
    assert ledger(step=7) == [(7, "Marta Ruiz", "written")]


def test_end_already_past_when_first_seen_is_overtaken_and_never_sent():
    ends_in(-1)
    ends_in(-400, somebody("Ada Brink"))
    for shift in range(3):
        sweep(DAY + days(shift))
    assert ledger() == [(-1, "Ada Brink", "overtaken"), (-1, "Marta Ruiz", "overtaken")]
    assert set(Reminder.objects.values_list("why", flat=True)) == {
        "It had ended before it was first seen."
    }


def test_history_of_renewed_certificates_is_not_written_about():
    person, scope = somebody(), make_scope()
    revision = make_revision(scope, validity_months=12)
    for year in (2021, 2023, 2026):
        make_certificate(person, scope, revision=revision, issued_on=date(year, 6, 1))
    sweep()
    assert ledger() == []


def test_day_after_goes_out_once():
    ends_in(1)
    for shift in range(5):
        sweep_and_send(DAY + days(shift))
    assert ledger(state="written") == [
        (-1, "Marta Ruiz", "written"),
        (1, "Marta Ruiz", "written"),
    ]
    assert [message.day for message in messages()] == [DAY, DAY + days(2)]


def test_day_after_goes_out_late_where_no_sweep_ran():
    ends_in(1, steps=[])
    sweep()
    sweep(DAY + days(5))
    assert ledger() == [(-1, "Marta Ruiz", "written")]


def test_nothing_goes_out_before_the_first_day_of_reminders():
    make_site(reminders_start_on=DAY + days(2))
    ends_in(1, somebody("Ada Brink"))
    ends_in(7, somebody("Ben Carlow"))
    sweep()
    assert ledger() == []
    sweep(DAY + days(2))
    assert ledger(state="written") == [(7, "Ben Carlow", "written")]
    [early] = Reminder.objects.filter(person__full_name="Ada Brink")
    assert (early.step, early.state) == (-1, "overtaken")
    assert early.why == "It ended before the site's first day of reminders."


def test_people_who_left_are_not_written_to():
    ends_in(7, somebody(left_on=DAY - days(1)))
    sweep()
    assert ledger() == []


def test_last_day_here_is_still_a_day_here():
    ends_in(7, somebody(left_on=DAY))
    sweep()
    assert ledger(step=7) == [(7, "Marta Ruiz", "written")]


def test_vision_test_that_stops_several_scopes_is_one_reminder():
    person = somebody()
    for title in ("Turrets", "Cups"):
        scope = make_scope(title=title)
        make_certificate(
            person, scope, revision=make_revision(scope, vision_months=12), issued_on=DAY - days(90)
        )
    vision_ends_in(7, person)
    sweep()
    assert Reminder.objects.filter(state="written", kind="vision").count() == 1
    assert not Reminder.objects.exclude(kind="vision").exists()


def test_vision_test_goes_by_the_sites_steps():
    make_site(reminder_steps=[45])
    person, scope = somebody(), make_scope()
    revision = make_revision(scope, vision_months=12, reminder_steps=[90])
    make_certificate(person, scope, revision=revision, issued_on=DAY - days(90))
    vision_ends_in(45, person)
    sweep()
    assert ledger() == [(45, "Marta Ruiz", "written")]


def test_practice_gap_is_an_end_of_its_own():
    person, scope = somebody(), make_scope()
    revision = make_revision(scope, max_absence_months=6)
    make_certificate(person, scope, revision=revision, issued_on=date(2026, 6, 25))
    sweep(date(2026, 12, 11))
    assert list(
        Reminder.objects.filter(state="written").values_list("kind", "ends_on", "step")
    ) == [("practice", date(2026, 12, 25), 14)]


def test_calibration_goes_to_whoever_answers_for_the_tool():
    person = somebody(lead=somebody("Lena Voss"))
    tool = Tool.objects.create(
        code="T-07", kind="thermal_stripper", site=person.site, answers_for=person
    )
    Calibration.objects.create(tool=tool, calibrated_on=DAY - days(360), valid_through=DAY)
    Calibration.objects.create(
        tool=tool, calibrated_on=DAY - days(358), valid_through=DAY + days(7)
    )
    sweep()
    assert ledger(state="written") == [(7, "Marta Ruiz", "written")]
    assert messages()[0].subject.startswith("Tool T-07: calibration through")


def test_tool_out_of_use_is_not_written_about():
    person = somebody()
    tool = Tool.objects.create(
        code="T-07", kind="iron", site=person.site, answers_for=person, retired_on=DAY
    )
    Calibration.objects.create(tool=tool, calibrated_on=DAY - days(9), valid_through=DAY + days(7))
    sweep()
    assert ledger() == []


def test_new_address_repeats_nothing():
    person = ends_in(7).person
    sweep_and_send()
    person.email = "marta.ruiz@skarnfell.example"
    person.save()
    sweep(DAY + days(1))
    assert recipients() == [("marta@skarnfell.example", DAY)]


def test_sweep_of_many_reads_and_writes_in_lots(django_assert_max_num_queries, monkeypatch):
    monkeypatch.setattr("reminders.services.ledger.PEOPLE_AT_A_TIME", 10)
    scope = make_scope()
    revision = make_revision(scope)
    for number in range(20):
        ends_in(30, somebody(f"P{number} Brink"), scope, revision=revision)
    with django_assert_max_num_queries(60 + 20 * 8):
        [swept] = sweep()
    assert (swept.rows, swept.messages) == (60, 20)


def test_sweep_that_failed_in_the_middle_is_finished_by_the_next(monkeypatch):
    for name in ("Ada Brink", "Ben Carlow", "Cleo Dahl"):
        ends_in(7, somebody(name))
    letters = []
    write = reminders.write_letter

    def power_cut(desk, address, *rest):
        if len(letters) == 1:
            raise KeyboardInterrupt
        letters.append(address)
        return write(desk, address, *rest)

    with monkeypatch.context() as patch:
        patch.setattr(reminders, "write_letter", power_cut)
        with pytest.raises(KeyboardInterrupt):
            sweep()
    assert len(messages()) == 1
    assert not SiteSweep.objects.exists()
    sweep(hour=6)
    assert len(messages()) == 3
    assert Reminder.objects.filter(state="waiting").count() == 0
    assert SiteSweep.objects.get().day == DAY


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(sweeps=st.lists(st.integers(0, 45 * 24), min_size=1, max_size=12).map(sorted))
def test_sweeps_at_any_hours_write_each_step_once_and_none_of_the_days_before_too_late(sweeps):
    Reminder.objects.all().delete()
    Message.objects.all().delete()
    SiteSweep.objects.all().delete()
    person = somebody("Ada Brink", lead=somebody("Lena Voss"))
    certificate = ends_in(20, person)
    for hours in sweeps:
        reminders.sweep(now=at(DAY, 0) + days(1) * (hours / 24))
    rows = Reminder.objects.filter(person=person)
    steps = [(row.step, row.recipient_id) for row in rows.filter(state="written")]
    assert len(set(steps)) == len(steps)
    for row in rows.filter(state="written").select_related("message"):
        assert row.message.day <= certificate.valid_through or row.step == -1
    seen = Message.objects.values_list("recipient", "day")
    assert len(set(seen)) == len(seen)
    person.spans.all().delete()

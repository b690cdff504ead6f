"""The first import of an earlier register sends nothing about the past, and what is due since."""

from datetime import UTC, date, timedelta

import pytest

from audit.services import importing
from certification.models import StandingSpan
from reminders.models import Message, Reminder
from tests.audit.bundles import (
    CERTIFICATES,
    PEOPLE,
    PRACTICE,
    SCHEMES,
    VISION_TESTS,
    write_bundle,
)
from tests.factories import make_site
from tests.reminders.reminder_scenes import DAY, NOW, days, ledger, recipients, sweep_and_send

pytestmark = pytest.mark.django_db

EVERY_DAY = list(range(1, 8))


@pytest.fixture
def castelmar():
    return make_site(working_days=EVERY_DAY)


def years(number):
    """A last day so many years ago."""
    return DAY.replace(year=DAY.year - number)


@pytest.fixture
def take_in(tmp_path, castelmar):
    """Take in certificates of two years, given as (employee number, number, last day)."""

    def take(*ends, scheme=("PLAIN-24", "24", "same_day", "90", "0", "0"), **tables):
        numbers = sorted({number for number, _certificate, _last in ends})
        certificates = [
            [number, person, scheme[0], "turret", str(issued), "", f"{issued}T10:00:00"]
            for person, number, last in ends
            for issued in [last.replace(year=last.year - 2)]
        ]
        importing.import_register(
            path=write_bundle(
                tmp_path / "bundle",
                people=[
                    PEOPLE[0],
                    *([n, f"Person {n}", f"{n.lower()}@s.example", "Castelmar"] for n in numbers),
                ],
                schemes=[SCHEMES[0], list(scheme)],
                certificates=[CERTIFICATES[0], *certificates],
                **{"certificate_events": None, "vision_tests": None, "practice": None} | tables,
                stamps=None,
                operations=None,
            ),
            zone=UTC,
            at=NOW,
            actor="test",
        )

    return take


def through(first, last):
    for number in range((last - first).days + 1):
        sweep_and_send(first + days(number))


@pytest.mark.parametrize("swept_before", [False, True], ids=["first sweep of all", "swept before"])
def test_ends_of_earlier_years_and_of_yesterday_are_overtaken_and_never_sent(take_in, swept_before):
    if swept_before:
        through(DAY - days(3), DAY - days(1))
    take_in(
        *((f"P{number}", f"C-{number}", years(number)) for number in range(1, 11)),
        ("P11", "C-11", DAY - days(1)),
        ("P12", "C-12", DAY - days(8)),
    )
    through(DAY, DAY + days(40))
    assert not Message.objects.exists()
    assert [state for _step, _name, state in ledger()] == ["overtaken"] * 12
    assert set(Reminder.objects.values_list("step", "why")) == {
        (-1, "It had ended before it was first seen.")
    }


def test_only_what_is_to_come_goes_out_and_by_its_most_urgent_step(take_in):
    take_in(
        ("P1", "C-1", years(2)),
        ("P2", "C-2", DAY),
        ("P3", "C-3", DAY + days(10)),
        ("P4", "C-4", DAY + days(80)),
        ("P5", "C-5", DAY + days(200)),
    )
    sweep_and_send()
    assert recipients() == [(f"p{number}@s.example", DAY) for number in (2, 3, 4)]
    assert ledger(state="written") == [
        (1, "Person P2", "written"),
        (14, "Person P3", "written"),
        (90, "Person P4", "written"),
    ]


def test_chain_of_renewals_is_written_about_at_its_last_end_alone(take_in):
    take_in(*(("P1", f"C-{number}", DAY + days(60) - days(700) * number) for number in range(6)))
    through(DAY, DAY + days(62))
    reminders = Reminder.objects.filter(message__sent_at__isnull=False)
    assert set(reminders.values_list("source", flat=True)) == {"certificate:C-0"}
    assert sorted(reminders.values_list("step", flat=True)) == [-1, 1, 7, 14, 30, 60]


def test_vision_tests_and_practice_that_lapsed_long_ago_are_past_too(take_in):
    """Both certificates run on; what keeps them alive came to its end a year ago."""
    last = DAY + days(300)
    issued = last.replace(year=last.year - 2)
    recorded = f"{issued}T10:00:00"
    take_in(
        ("P1", "C-1", last),
        ("P2", "C-2", last),
        scheme=("HAND-24", "24", "same_day", "90", "12", "3"),
        vision_tests=[
            VISION_TESTS[0],
            ["T1", "P1", str(issued - days(300)), "pass", recorded],
            ["T2", "P2", str(issued), "pass", recorded],
        ],
        practice=[
            PRACTICE[0],
            *(
                ["P1", "turret", str(issued + timedelta(days=80 * n)), recorded]
                for n in range(1, 6)
            ),
        ],
    )
    standings = StandingSpan.objects.on(DAY).values_list("person__employee_number", "standing")
    assert set(standings) == {("P1", "vision_not_current"), ("P2", "vision_not_current")}
    through(DAY, DAY + days(30))
    assert not Message.objects.exists()
    assert {state for _step, _name, state in ledger()} == {"overtaken"}


def test_import_of_the_same_register_again_sends_nothing_again(take_in):
    ends = [("P1", "C-1", DAY + days(10)), ("P2", "C-2", date(2020, 2, 28))]
    take_in(*ends)
    sweep_and_send()
    take_in(*ends)
    sweep_and_send(hour=7)
    sweep_and_send(DAY + days(1))
    assert recipients() == [("p1@s.example", DAY)]

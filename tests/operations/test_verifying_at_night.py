"""The records are verified every night, and Health says what came of it, or that nothing did."""

from datetime import timedelta

import pytest
from django.db import connection, transaction
from django.urls import reverse
from django.utils import timezone

from config.celery import app
from operations.models import Verification
from operations.queries import health
from operations.services import verifying
from operations.tasks import verify_records
from records.models import TrailEntry, append_only
from records.services import trail
from tests.factories import make_user

pytestmark = pytest.mark.django_db


def records(now=None):
    now = now or timezone.now()
    return next(part for part in health.component_health(now) if part.part == health.RECORDS)


def write(at=None):
    with transaction.atomic():
        trail.record(actor=None, act="board made ready", about=("board", "7"), at=at)


def alter():
    with append_only.lifted(connection), connection.cursor() as cursor:
        cursor.execute("UPDATE records_trailentry SET act = 'something else'")


def test_the_clock_asks_for_it_once_a_night():
    [entry] = [
        entry for entry in app.conf.beat_schedule.values() if entry["task"] == "records.verify"
    ]
    assert entry["schedule"].hour == {3}
    assert len(entry["schedule"].minute) == 1
    assert app.tasks["records.verify"].name == verify_records.name


def test_what_came_of_it_is_kept_and_shown():
    write()

    assert verify_records() is True

    run = Verification.objects.get()
    assert (run.entries, run.fault_count, run.fits) == (1, 0, True)
    assert records().ok
    assert records().says[0].startswith("1 trail entries, 0 signatures and 0 files fit")
    assert records().last_at == run.ended_at


def test_what_does_not_fit_raises_the_alarm_and_is_named(client):
    write()
    alter()

    assert verify_records() is False

    assert not records().ok
    assert records().says[0].startswith("1 thing does not fit")
    assert "trail entry 1 was changed" in records().says[1]
    answer = client.get(reverse("operations:health_check"))
    assert (answer.status_code, answer.json()["records"]) == (503, False)
    client.force_login(make_user("administrator"))
    page = client.get(reverse("operations:health")).content.decode()
    assert "The records are in doubt." in page
    assert "trail entry 1 was changed" in page


def test_a_run_that_breaks_down_raises_the_alarm(monkeypatch):
    def broken():
        raise OSError("The disk is gone.")

    monkeypatch.setattr(verifying, "verify_records", broken)
    with pytest.raises(OSError, match="disk"):
        verify_records()

    assert not records().ok
    assert records().says == ("The last verification broke down: OSError: The disk is gone.",)


def test_no_run_for_two_days_raises_the_alarm():
    write()
    now = timezone.now()
    verifying.verify(clock=lambda: now)

    assert records(now + timedelta(days=2)).ok
    late = records(now + timedelta(days=2, seconds=1))
    assert not late.ok
    assert late.says == ("Not verified for two days: see that clock and worker run at night.",)


def test_a_run_that_never_ended_counts_as_none():
    write()
    now = timezone.now()
    verifying.verify(clock=lambda: now - timedelta(days=3))
    Verification.objects.create(begun_at=now - timedelta(hours=7))

    assert not records(now).ok


@pytest.mark.parametrize(("days", "ok"), [(1, True), (3, False)])
def test_a_new_site_has_two_days_for_its_first_run(days, ok):
    write(timezone.now() - timedelta(days=days))

    assert records().ok is ok


def test_a_site_where_nothing_is_written_has_nothing_to_verify():
    assert not TrailEntry.objects.exists()
    assert records().ok


def test_two_runs_at_once_are_one():
    now = timezone.now()
    Verification.objects.create(begun_at=now - timedelta(minutes=5))

    assert verifying.verify(clock=lambda: now) is None
    assert Verification.objects.count() == 1
    assert verifying.verify(clock=lambda: now + timedelta(hours=7)) is not None


def test_old_results_are_thrown_away():
    now = timezone.now()
    Verification.objects.create(begun_at=now - timedelta(days=401), ended_at=now)

    run = verifying.verify(clock=lambda: now)

    assert Verification.objects.get() == run

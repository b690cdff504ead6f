"""Health tells age and size of the last back-up, and raises the alarm where nights bring none."""

from datetime import timedelta

import pytest
from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from config.celery import app
from operations import tasks
from operations.models import BackUp
from operations.queries import health
from operations.queries.health import State
from records.services import trail
from tests.factories import make_user

pytestmark = [pytest.mark.django_db, pytest.mark.one_database]


def of_back_ups(now=None):
    components = health.component_health(now or timezone.now())
    return next(component for component in components if component.part == health.BACK_UP)


def made(at, **fields):
    given = {"path": "/b/x.backup", "size_bytes": 2048, "rows": 51, "files": 3, "ended_at": at}
    return BackUp.objects.create(begun_at=at, **(given | fields))


def written(days_ago):
    with transaction.atomic():
        at = timezone.now() - timedelta(days=days_ago)
        trail.record(actor=None, act="board made ready", about=("board", "7"), at=at)


@pytest.fixture
def nightly(settings, tmp_path):
    settings.BACK_UP_DIR = str(tmp_path)
    return tmp_path


def test_the_clock_asks_for_one_every_night_before_the_records_are_verified():
    [entry] = [each for each in app.conf.beat_schedule.values() if each["task"] == "site.back_up"]
    assert entry["schedule"].hour == {health.BACK_UP_AT.hour}
    assert entry["schedule"].minute == {health.BACK_UP_AT.minute}
    assert app.tasks["site.back_up"].name == tasks.back_up.name


def test_a_site_that_makes_none_at_night_is_told_how_and_is_well(settings):
    settings.BACK_UP_DIR = ""
    written(9)

    assert of_back_ups().state is State.ATTENTION
    assert "BACK_UP_DIR" in of_back_ups().says[0]


def test_age_and_size_of_the_last_are_told(nightly):
    at = timezone.now() - timedelta(hours=3)
    made(at, files_bytes=5_000_000, is_encrypted=True)

    found = of_back_ups()

    assert (found.state, found.last_at) == (State.GOOD, at)
    assert len(found.says) == 1
    said = found.says[0].replace("\xa0", " ")
    assert said == "The last is /b/x.backup: 2.0 KB, with 51 rows and 3 files of 4.8 MB."


def test_one_that_anybody_could_read_or_that_lacks_a_file_is_told(nightly):
    made(timezone.now(), missing_files=2)

    assert of_back_ups().state is State.ATTENTION
    assert "2 files that rows name were gone." in of_back_ups().says
    assert "It is not encrypted" in of_back_ups().says[2]


def test_none_for_two_days_raises_the_alarm(nightly, client):
    now = timezone.now()
    made(now - timedelta(days=2))

    assert of_back_ups(now).ok
    late = of_back_ups(now + timedelta(seconds=1))
    assert late.state is State.BAD
    assert late.says[0].startswith("No back-up has been made for two days")
    assert client.get(reverse("operations:health_check")).json()["back_up"] is False
    client.force_login(make_user("administrator"))
    page = client.get(reverse("operations:health")).content.decode()
    assert "The last back-up is missing or too old." in page


def test_a_failure_raises_the_alarm_until_one_is_made_again(nightly):
    now = timezone.now()
    made(now - timedelta(hours=25))
    made(now - timedelta(hours=1), failure="OSError: No space left on device")

    assert of_back_ups().state is State.BAD
    assert "No space left on device" in of_back_ups().says[0]
    made(now)
    assert of_back_ups().ok


@pytest.mark.parametrize(("days", "state"), [(1, State.NOT_YET), (3, State.BAD)])
def test_a_new_site_has_two_days_for_its_first(nightly, days, state):
    written(days)

    assert of_back_ups().state is state


def test_one_that_never_ended_counts_as_none(nightly):
    written(3)
    made(timezone.now(), ended_at=None)

    assert of_back_ups().state is State.BAD

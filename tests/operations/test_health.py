"""The health page and the answer for monitoring say what works, and little to a stranger."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import DatabaseError
from django.urls import reverse
from django.utils import timezone
from kombu.exceptions import OperationalError

from config.celery import app
from operations.models import Heartbeat
from operations.queries import health
from operations.services import heartbeats, process_heartbeats
from reminders import tasks
from reminders.models import Message, SiteSweep
from tests.factories import make_site, make_user
from tests.reminders.reminder_scenes import DAY, ends_in, somebody, sweep

pytestmark = pytest.mark.django_db

PAGE, CHECK = reverse("operations:health"), reverse("operations:health_check")
PARTS = ("worker", "clock", "sweep", "sending", "mail", "records", "back_up", "paper")
Kind = Heartbeat.Kind


def everything_lives(at=None, *, but=()):
    at = at or timezone.now()
    for kind, name in (
        (Kind.WORKER, "celery@bench"),
        (Kind.CLOCK, "bench"),
        (Kind.SWEEP, ""),
        (Kind.SENDING, ""),
    ):
        if kind not in but:
            heartbeats.record_heartbeat(kind, at, name)


def bad(now=None):
    return [
        component.part
        for component in health.component_health(now or timezone.now())
        if not component.ok
    ]


def says(part, now=None):
    return " ".join(
        next(c for c in health.component_health(now or timezone.now()) if c.part == part).says
    )


def test_site_that_lives_is_well(client):
    everything_lives()
    response = client.get(CHECK)
    assert response.status_code == 200
    assert response.json() == {"ok": True, "database": True, **dict.fromkeys(PARTS, True)}


def test_site_where_nothing_was_ever_started_is_not_well(client):
    response = client.get(CHECK)
    assert response.status_code == 503
    assert response.json() == {
        "ok": False,
        "database": True,
        **dict.fromkeys(PARTS, False),
        "mail": True,
        "records": True,
        "back_up": True,
        "paper": True,
    }


@pytest.mark.parametrize(
    ("kind", "after", "part"),
    [
        (Kind.WORKER, health.PROCESS_IS_SILENT_AFTER, "worker"),
        (Kind.CLOCK, health.PROCESS_IS_SILENT_AFTER, "clock"),
        (Kind.SWEEP, health.SWEEP_IS_LATE_AFTER, "sweep"),
        (Kind.SENDING, health.SENDING_IS_SILENT_AFTER, "sending"),
    ],
)
@pytest.mark.parametrize("direction", [1, -1], ids=["long ago", "in the future"])
def test_part_that_falls_silent_is_named_and_no_other(kind, after, part, direction):
    now = timezone.now()
    everything_lives(now)
    second = timedelta(seconds=1)
    Heartbeat.objects.filter(kind=kind).update(at=now - direction * after)
    assert bad(now) == []
    Heartbeat.objects.filter(kind=kind).update(at=now - direction * (after + second))
    assert bad(now) == [part]


def test_one_worker_of_two_that_falls_silent_is_said_and_the_site_is_well():
    now = timezone.now()
    everything_lives(now)
    heartbeats.record_heartbeat(Kind.WORKER, now - timedelta(minutes=10), "celery@other")
    assert bad(now) == []
    assert says("worker", now) == "1 worker is alive. celery@other has been silent for some time."


def test_two_clocks_are_said():
    everything_lives()
    heartbeats.record_heartbeat(Kind.CLOCK, timezone.now(), "other")
    assert bad() == []
    assert "More than one clock" in says("clock")


def test_process_that_was_replaced_is_forgotten_after_a_day():
    now = timezone.now()
    heartbeats.record_heartbeat(Kind.WORKER, now - timedelta(hours=25), "celery@before")
    heartbeats.record_heartbeat(Kind.SWEEP, now - timedelta(hours=25))
    everything_lives(now, but=[Kind.SWEEP])
    heartbeats.delete_stale_heartbeats(now)
    assert not Heartbeat.objects.filter(name="celery@before").exists()
    assert Heartbeat.objects.count() == 4, "what was done last is kept, however long ago"


def test_site_that_no_sweep_reaches_is_named():
    """As where every sweep of the last days failed in the middle of this site."""
    site = make_site(send_hour=0)
    make_site("Aldergate", "AL", send_hour=0)
    today = site.today(timezone.now())
    sweep(today)
    SiteSweep.objects.filter(site=site).update(day=today - timedelta(days=3))
    everything_lives(but=[Kind.SWEEP])
    assert bad() == ["sweep"]
    assert says("sweep").endswith("Not swept today: Castelmar.")


# A site that was started a moment ago


START = datetime(2026, 11, 25, 12, 10, tzinfo=UTC)
NEXT_SWEEP = datetime(2026, 11, 25, 13, 7, tzinfo=UTC)


def started(at=START):
    heartbeats.record_heartbeat(Kind.WEB, at)


def states_of(now):
    return {one.part: one.state.value for one in health.component_health(now)}


def test_what_cannot_have_happened_since_the_start_is_no_alarm(client):
    started()
    assert bad(START) == []
    states = states_of(START)
    assert {states[part] for part in ("worker", "clock", "sweep", "sending")} == {"not_yet"}
    sweep_seen = next(c for c in health.component_health(START) if c.part == "sweep")
    assert sweep_seen.due_at == NEXT_SWEEP
    assert says("sweep", START) == "Not seen yet since the site was started."


@pytest.mark.parametrize(
    ("part", "until"),
    [
        ("worker", START + health.PROCESS_IS_SILENT_AFTER),
        ("clock", START + health.PROCESS_IS_SILENT_AFTER),
        ("sending", START + health.SENDING_IS_SILENT_AFTER),
        ("sweep", NEXT_SWEEP + health.SWEEP_TAKES),
    ],
)
def test_what_stays_away_after_its_time_is_one(part, until):
    started()
    assert part not in bad(until)
    assert part in bad(until + timedelta(seconds=1))


def test_site_that_was_stopped_over_the_weekend_is_no_alarm_either():
    everything_lives(START - timedelta(days=2))
    started()
    assert bad(START) == []
    assert set(bad(START + timedelta(hours=3))) == {"worker", "clock", "sweep", "sending"}


def test_start_in_the_future_excuses_nothing():
    started(START + timedelta(minutes=1))
    assert "worker" in bad(START)


def test_first_verification_is_awaited_with_its_hour():
    records = next(c for c in health.component_health(START) if c.part == "records")
    assert records.state is health.State.NOT_YET
    assert records.due_at == datetime(2026, 11, 26, 3, 10, tzinfo=UTC)


def test_times_that_are_told_are_those_of_the_clock():
    schedules = {one["task"]: one["schedule"] for one in app.conf.beat_schedule.values()}
    sweep_at, verifying = schedules["reminders.sweep"], schedules["records.verify"]
    assert sweep_at.minute == {health.SWEEP_MINUTE}
    assert len(sweep_at.hour) == 24
    assert (verifying.hour, verifying.minute) == (
        {health.VERIFYING_AT.hour},
        {health.VERIFYING_AT.minute},
    )


def message(**fields):
    """The message of somebody whose certification ends, as if of an earlier day."""
    ends_in(7, somebody())
    sweep(DAY)
    Message.objects.update(**fields)


@pytest.mark.parametrize(
    ("fields", "ok", "sentence"),
    [
        ({"recorded_at": timedelta()}, True, "1 message waits."),
        ({"recorded_at": timedelta(hours=3)}, False, "1 of them for over two hours."),
        ({"failed_at": timedelta()}, False, "1 was given up after many attempts."),
        ({"failed_at": timedelta(), "refused": True}, True, "refused 1 for good: see the outbox."),
        ({"sent_at": timedelta()}, True, "0 messages wait."),
        (
            {"recorded_at": timedelta(days=3), "withdrawn_at": timedelta()},
            True,
            "0 messages wait.",
        ),
    ],
)
def test_mail_that_does_not_get_out_is_said(fields, ok, sentence):
    now = timezone.now()
    message(
        **{
            name: now - ago if isinstance(ago, timedelta) else ago
            for name, ago in ({"recorded_at": timedelta()} | fields).items()
        }
    )
    mail = next(component for component in health.component_health(now) if component.part == "mail")
    assert mail.ok is ok
    assert sentence in " ".join(mail.says)
    assert mail.last_at == (now if "sent_at" in fields else None)


def test_mails_that_become_files_are_said(settings):
    settings.EMAIL_BACKEND = "operations.backends.mail_folder.FolderBackend"
    assert "EMAIL_URL is not set" in says("mail")
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    assert "EMAIL_URL" not in says("mail")


def test_database_that_is_away_is_not_well_and_no_crash(client, monkeypatch):
    def away(now):
        raise DatabaseError("The server closed the connection.")

    monkeypatch.setattr(health, "component_health", away)
    response = client.get(CHECK)
    assert response.status_code == 503
    assert response.json() == {"ok": False, "database": False}


def test_answer_is_kept_by_no_cache(client):
    assert "no-store" in client.get(CHECK)["Cache-Control"]


def test_stranger_and_others_learn_no_figure(client):
    everything_lives()
    for role in (None, "instructor", "quality"):
        if role:
            client.force_login(make_user(role))
        assert set(client.get(CHECK).json()) == {"ok", "database", *PARTS}


def test_administrator_learns_the_figures(client, monkeypatch):
    monkeypatch.setattr(health, "queue_depths", lambda: {"celery": 5, "reminders": 2})
    everything_lives()
    client.force_login(make_user("administrator"))
    answer = client.get(CHECK).json()
    assert answer["queue_depth"] == 7
    assert answer["queue_depths"] == {"celery": 5, "reminders": 2}
    assert answer["details"]["worker"]["state"] == "good"
    assert answer["details"]["clock"]["last_at"]


def test_stranger_cannot_make_the_site_wait_for_the_queue(client, monkeypatch):
    monkeypatch.setattr(health, "queue_depths", lambda: pytest.fail("The queue was asked."))
    client.get(CHECK)


def test_number_of_queries_is_the_same_for_many_processes(client, django_assert_max_num_queries):
    everything_lives()
    for number in range(20):
        heartbeats.record_heartbeat(Kind.WORKER, timezone.now(), f"celery@w{number}")
    ends_in(7)
    with django_assert_max_num_queries(10):
        client.get(CHECK)


# The page


@pytest.fixture
def as_administrator(client):
    client.force_login(make_user("administrator"))
    return client


def test_page_says_that_all_works(as_administrator, settings):
    everything_lives()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.BACK_UP_DIR = "/back-ups"
    page = as_administrator.get(PAGE).content.decode()
    assert "Reminders get out by themselves." in page
    assert "does not work" not in page
    assert page.count("<span>works</span>") == len(PARTS) - 2, "none is verified or backed up yet"
    records = page[page.index("<b>Records</b>") :].partition("</li>")[0]
    assert "<span>not yet</span>" in records
    assert "03:10" in records or "04:10" in records or "05:10" in records  # By the site's clock.


def test_page_names_the_part_that_does_not_work(as_administrator):
    everything_lives(but=[Kind.CLOCK])
    page = as_administrator.get(PAGE).content.decode()
    assert "Reminders do not get out by themselves." in page
    assert "start Celery beat" in page
    assert "Never seen" in page
    assert page.count("<span>does not work</span>") == 1


def test_page_shows_the_depth_of_the_queue(as_administrator, monkeypatch):
    monkeypatch.setattr(health, "queue_depths", lambda: {"celery": 1234, "reminders": 5})
    page = as_administrator.get(PAGE).content.decode()
    shown = page[page.index("Jobs in the queues") :].partition("</dd>")[0].partition("<dd>")[2]
    assert " ".join(shown.split()) == "other work 1234 · reminders 5"
    monkeypatch.setattr(health, "queue_depths", lambda: None)
    assert "The queue does not answer" in as_administrator.get(PAGE).content.decode()


@pytest.mark.parametrize("role", ["instructor", "quality", "line_lead"])
def test_page_is_for_administrators(client, role):
    client.force_login(make_user(role))
    assert client.get(PAGE).status_code == 403


# What is noted


def test_tasks_note_that_they_were_done():
    tasks.sweep_reminders()
    tasks.send_due_messages()
    assert set(Heartbeat.objects.values_list("kind", flat=True)) == {"sweep", "sending"}


def test_sweep_that_fails_is_not_noted_as_done(monkeypatch):
    def fail(**_kwargs):
        raise ValueError("Broken.")

    monkeypatch.setattr(tasks.sweep, "sweep", fail)
    with pytest.raises(ValueError, match="Broken"):
        tasks.sweep_reminders()
    assert not Heartbeat.objects.exists()


def test_long_round_of_sending_goes_on_noting():
    start, noted = timezone.now(), []
    times = [start + timedelta(seconds=10 * number) for number in range(7)]
    alive = heartbeats.sending_heartbeat(iter(times).__next__)
    for _ in times:
        alive()
        noted.append(Heartbeat.objects.get().at - start)
    assert [round(offset.total_seconds()) for offset in noted] == [0, 0, 0, 30, 30, 30, 60]


def test_queue_that_is_away_has_no_depth(monkeypatch):
    class Away:
        connection_errors = (OSError,)

        def __enter__(self):
            return self

        def __exit__(self, *_error):
            return None

        @property
        def default_channel(self):
            raise OperationalError("Connection refused.")

    monkeypatch.setattr(health.current_app, "connection_for_read", Away)
    assert health.queue_depth() is None


def test_database_that_is_away_does_not_stop_the_process(monkeypatch, caplog):
    def away(*_args):
        raise DatabaseError("The server closed the connection.")

    monkeypatch.setattr(heartbeats, "record_heartbeat", away)
    monkeypatch.setattr(process_heartbeats.connection, "close", lambda: None)
    process_heartbeats._write(Kind.WORKER, "celery@bench")
    assert "took no sign of life of the worker" in caplog.text


def test_health_names_the_scripts_on_paper_and_the_package_that_is_missing(client, without):
    everything_lives()
    client.force_login(make_user("administrator"))
    page = client.get(PAGE).content.decode()
    assert "Names are printed in: Latin, Greek, Cyrillic, Vietnamese," in page
    assert "fonts-noto" not in page
    paper = page[page.index("<b>Paper</b>") :].partition("</li>")[0]
    assert "Never seen" not in paper  # Faces are there or not; nobody sees them work.
    without("CJK")

    page = client.get(PAGE).content.decode()

    assert "Not in: Chinese, Japanese, Korean. Their numbers are printed instead." in page
    assert "Install fonts-noto-cjk (Debian)" in page
    answer = client.get(CHECK)
    assert answer.status_code == 200  # Everything else goes on.
    assert answer.json()["details"]["paper"]["state"] == "attention"

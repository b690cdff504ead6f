"""The end of the trail is stamped by somebody else's server, and stamps are held against it."""

import shutil
import subprocess
import sys
from datetime import UTC, datetime, timedelta

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from django.urls import reverse

from config.celery import app
from operations.exceptions import TimeStampRefused
from operations.queries import health
from operations.services import time_stamps
from operations.tasks import stamp_head
from records.models import TrailEntry, TrailHead, TrailPayload, append_only
from records.queries.heads import head_at
from records.queries.verification import verify_records
from records.services import trail
from tests.conftest import leave_out
from tests.factories import make_user
from tests.operations.time_stamp_server import TimeStampServer, make_certificates

pytestmark = pytest.mark.django_db

AT = datetime(2026, 11, 25, 2, 55, tzinfo=UTC)


@pytest.fixture
def data_dir(tmp_path, settings):
    settings.DATA_DIR = tmp_path / "data"
    settings.DATA_DIR.mkdir()
    return settings.DATA_DIR


@pytest.fixture
def server(tmp_path, data_dir, settings):
    if shutil.which("openssl") is None:
        leave_out("openssl is not installed")
    folder = tmp_path / "server"
    folder.mkdir()
    settings.TIME_STAMP_CERTIFICATES = str(make_certificates(folder))
    running = TimeStampServer(folder)
    settings.TIME_STAMP_URL = running.url
    yield running
    running.stop()


@pytest.fixture
def head():
    with transaction.atomic():
        for minute in range(3):
            at = AT - timedelta(minutes=3 - minute)
            trail.record(actor=None, act=f"act {minute}", about=("sign-in", "7"), at=at)
    return head_at(AT)


def test_end_is_stamped_and_the_stamp_kept_as_openssl_verifies_it(server, data_dir, head):
    path = data_dir / "time-stamps" / time_stamps.stamp_head(head)

    assert path.name == f"3-{head.entry_hash}.tsr"
    text = data_dir / "text"
    text.write_bytes(f"3 {head.entry_hash}\n".encode())
    verified = subprocess.run(
        ["openssl", "ts", "-verify", "-data", text, "-in", path,
         "-CAfile", server.folder / "root.pem"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert "Verification: OK" in verified.stdout + verified.stderr
    assert list(time_stamps.stamped_heads()) == [
        (f"time-stamps/{path.name}", f"3-{head.entry_hash}")
    ]
    assert verify_records().fits


def test_end_that_is_stamped_is_asked_for_no_more(server, head):
    assert time_stamps.stamp_head(head) == time_stamps.stamp_head(head)
    assert server.asked == 1


def test_clock_has_it_stamped_once_a_day(server, data_dir, head):
    [entry] = [one for one in app.conf.beat_schedule.values() if one["task"] == stamp_head.name]
    assert (entry["schedule"].hour, entry["schedule"].minute) == ({2}, {55})
    assert stamp_head() == f"3-{head.entry_hash}.tsr"


def test_nothing_is_asked_where_no_server_is_named(data_dir, settings, head):
    settings.TIME_STAMP_URL = ""
    assert stamp_head() == ""
    assert not (data_dir / "time-stamps").exists()


@pytest.mark.usefixtures("data_dir")
def test_trail_that_was_cut_shows_by_its_stamp(server, head):
    time_stamps.stamp_head(head)
    with append_only.lifted(connection):
        TrailPayload.objects.filter(entry=3).delete()
        TrailEntry.objects.filter(number=3).delete()
        last = TrailEntry.objects.get(number=2)
        TrailHead.objects.update(number=2, entry_hash=last.entry_hash)
    report = verify_records()
    assert not report.fits
    with pytest.raises(CommandError):
        call_command("verify_trail")


@pytest.mark.parametrize("how", ["other hash", "other root", "no stamp", "other text"])
def test_stamp_that_does_not_fit_is_an_alarm(how, server, data_dir, settings, head, tmp_path):
    path = data_dir / "time-stamps" / time_stamps.stamp_head(head)
    if how == "other hash":  # The trail written anew, and the file named for it.
        path.rename(path.with_name(f"2-{TrailEntry.objects.get(number=2).entry_hash}.tsr"))
    elif how == "other root":
        elsewhere = tmp_path / "elsewhere"
        elsewhere.mkdir()
        settings.TIME_STAMP_CERTIFICATES = str(make_certificates(elsewhere))
    elif how == "no stamp":
        path.write_bytes(b"stamped, honestly")
    else:
        path.write_bytes(server.stamp(_query(tmp_path)))
    assert not verify_records().fits


def _query(folder):
    (folder / "other").write_text("other")
    made = subprocess.run(
        ["openssl", "ts", "-query", "-data", folder / "other", "-sha256", "-cert"],
        capture_output=True, check=True,
    )  # fmt: skip
    return made.stdout


@pytest.mark.parametrize(
    ("answer", "says"),
    [
        ((500, b"out of order"), "answered by 500"),
        ((200, b"<html>"), "It is no stamp"),
        ((200, b"0" * 70_000), "70000 bytes|65537 bytes"),
    ],
)
def test_what_is_no_stamp_is_refused_and_not_kept(answer, says, server, data_dir, head):
    server.answer = answer
    with pytest.raises(TimeStampRefused, match=says):
        time_stamps.stamp_head(head)
    assert not list(data_dir.glob("time-stamps/*"))


def test_stamp_that_was_given_before_is_refused(server, data_dir, head):
    """A nonce of its own goes with each question."""
    path = data_dir / "time-stamps" / time_stamps.stamp_head(head)
    server.answer = (200, path.read_bytes())
    path.unlink()
    with pytest.raises(TimeStampRefused, match="Nonce"):
        time_stamps.stamp_head(head)


def test_server_that_is_away_is_said_so(server, settings, head):
    server.stop()
    with pytest.raises(TimeStampRefused, match="does not answer"):
        time_stamps.stamp_head(head)
    server.__init__(server.folder)  # For the fixture to stop.


def stamps_on_health(now):
    return {one.part: one.ok for one in health.component_health(now)}.get("stamps")


def test_health_tells_where_no_stamp_has_come_for_two_days(server, settings, head):
    assert stamps_on_health(AT + timedelta(days=1)) is True
    assert stamps_on_health(AT + timedelta(days=2)) is False
    time_stamps.stamp_head(head)
    assert stamps_on_health(AT + timedelta(days=9)) is True, "nothing was written since"
    settings.TIME_STAMP_URL = ""
    assert stamps_on_health(AT) is None


def test_page_says_so_and_nothing_else_of_reminders(client, server, settings, head, monkeypatch):
    client.force_login(make_user("administrator"))
    stamps = health.ComponentHealth("stamps", "Time stamps", health.State.BAD, ("None has come.",))
    monkeypatch.setattr(health, "component_health", lambda now: [stamps])
    shown = client.get(reverse("operations:health")).content.decode()
    assert "None has come." in shown
    assert "Reminders do not get out" not in shown


def test_server_without_certificates_stops_the_start(tmp_path):
    asked = "import django; django.setup()"
    done = subprocess.run(
        [sys.executable, "-c", asked],
        env={
            "DJANGO_SETTINGS_MODULE": "config.settings",
            "DATA_DIR": str(tmp_path),
            "SECRET_KEY": "x" * 60,
            "TIME_STAMP_URL": "https://stamps.example.org",
        },
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode != 0
    assert "TIME_STAMP_CERTIFICATES names no file" in done.stderr

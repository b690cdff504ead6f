"""The time without a click: counted anew by the minute, not with every request."""

from datetime import timedelta

import pytest
from django.contrib.sessions.models import Session
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def clock(monkeypatch):
    """Seconds that pass when a test says so."""
    now = {"s": 6_000}
    monkeypatch.setattr("config.middleware.this_minute", lambda: now["s"] // 60)
    return now


def writes_of(client, clock, *seconds):
    counts = []
    for after in seconds:
        clock["s"] += after
        with CaptureQueriesContext(connection) as queries:
            assert client.get("/account/logout/").status_code == 200
        counts.append(sum('UPDATE "django_session"' in query["sql"] for query in queries))
    return counts


def test_a_session_is_written_once_a_minute(client, clock):
    client.force_login(factories.make_user())
    assert writes_of(client, clock, 0, 5, 30, 60, 1, 600) == [1, 0, 0, 1, 0, 1]


def test_a_click_puts_the_end_of_the_session_off(client, clock):
    client.force_login(factories.make_user())
    soon = timezone.now() + timedelta(minutes=1)
    Session.objects.update(expire_date=soon)
    writes_of(client, clock, 60)
    assert Session.objects.get().expire_date > soon + timedelta(minutes=4)


def test_looking_at_a_page_begins_no_session(client):
    client.get("/account/login/")
    assert not Session.objects.exists()

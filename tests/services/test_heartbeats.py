"""Workers and clocks say that they live, whatever the queue is, and health believes them."""

import pytest
from django.utils import timezone

from operations.models import Heartbeat
from operations.queries import health
from tests.services.processes import kill, wait_until

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]

Kind = Heartbeat.Kind


def living():
    return {component.part for component in health.component_health(timezone.now()) if component.ok}


def workers():
    return Heartbeat.objects.filter(kind=Kind.WORKER)


def test_worker_and_clock_make_the_site_well(processes):
    assert living() == {"mail", "records", "paper", "back_up"}
    processes.as_a_site_does = True
    del processes.environment["CELERY_SKIP_CHECKS"]
    worker = processes.worker("tests.services.often")
    wait_until(lambda: "worker" in living())
    clock = processes.clock("tests.services.often")
    at_work = {"worker", "clock", "sweep", "sending"}
    everything = at_work | {"mail", "records", "paper", "back_up"}
    wait_until(lambda: living() == everything)

    worker.terminate()
    wait_until(lambda: not workers().exists())
    assert "worker" not in living(), "one that ends in good order is missed at once"
    kill(clock)


def test_clock_inside_a_worker_is_a_clock_too(processes, tmp_path):
    """As `manage.py serve` starts both."""
    schedule = str(tmp_path / "schedule")
    processes.worker("tests.services.often", "--beat", "--schedule", schedule)
    wait_until(lambda: {"worker", "clock", "sweep", "sending"} <= living())
    assert Heartbeat.objects.filter(kind=Kind.CLOCK).count() == 1


def test_depth_of_the_queue_is_what_waits_in_it(link, send, monkeypatch, settings, start_worker):
    monkeypatch.setattr(health.current_app, "connection_for_read", lambda: link.clone())
    assert health.queue_depth() == 0
    for _ in range(3):
        send("reminders.send")
    send("web_hooks.send")
    assert health.queue_depths() == {"celery": 1, "reminders": 3}
    assert health.queue_depth() == 4
    start_worker()
    wait_until(lambda: health.queue_depth() == 0, watch=health.queue_depth)

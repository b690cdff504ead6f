"""Several web processes count as one, and what they log is JSON; jobs in a server's queue age."""

import http.client
import json
import os
import signal
import sys
from contextlib import closing
from pathlib import Path

import pytest
from django.conf import settings
from django.utils import timezone
from prometheus_client.parser import text_string_to_metric_families

from operations.queries import health
from tests.services.processes import OwnRedis, free_port, wait_until

ASKED = 40
NUMBER = "8094417"


@pytest.fixture
def cache(tmp_path):
    redis = OwnRedis(tmp_path)
    redis.start()
    yield redis.url
    redis.stop()


def ask(port, path, **headers):
    with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=60)) as link:
        link.request("GET", path, headers=headers)
        response = link.getresponse()
        return response.status, response.read().decode(), response.headers


def children(process):
    tasks = Path(f"/proc/{process.pid}/task/{process.pid}/children")
    return [int(pid) for pid in tasks.read_text().split()]


def count(port, route):
    shown = {"Authorization": f"Bearer {settings.METRICS_TOKEN}"}
    families = text_string_to_metric_families(ask(port, "/metrics", **shown)[1])
    return sum(
        sample.value
        for family in families
        for sample in family.samples
        if sample.name == "jointworthy_http_requests_total" and sample.labels["route"] == route
    )


def test_processes_count_together_and_what_a_killed_one_counted_stays(processes, cache, tmp_path):
    port, counts = free_port(), tmp_path / "temporary"
    counts.mkdir()
    processes.environment |= {
        "BIND": f"127.0.0.1:{port}",
        "WEB_WORKERS": "2",
        "CACHE_URL": cache,
        "METRICS_TOKEN": settings.METRICS_TOKEN,
        "LOG_FORMAT": "JSON",
        "TMPDIR": str(counts),
    }
    web = processes.start(sys.executable, "-m", "gunicorn", "-c", "python:config.gunicorn")

    def answers():
        try:
            return ask(port, "/metrics")[0] == 401
        except OSError:
            return False

    wait_until(answers, watch=web.poll)
    before = count(port, "operations:health_check")
    for _ in range(ASKED):
        ask(port, f"/health/check/?who={NUMBER}")
    assert count(port, "operations:health_check") - before == ASKED

    first, second = children(web)
    os.kill(first, signal.SIGKILL)
    wait_until(lambda: len(children(web)) == 2 and first not in children(web), watch=web.poll)
    assert second in children(web)
    wait_until(answers, watch=web.poll)
    assert count(port, "operations:health_check") - before == ASKED

    status, _, headers = ask(port, f"/api/v1/{NUMBER}", **{"X-Request-ID": "a-given-id"})
    assert status == 404
    assert headers["X-Request-ID"] == "a-given-id"
    # The page for an error cannot be shown here, where no static files were gathered.
    ask(port, f"/people/{NUMBER}/nothing/?who={NUMBER}")
    logged = processes.log.read_text().splitlines()
    lines = [json.loads(line) for line in logged if line.startswith("{")]
    asked = [line for line in lines if line.get("route") == "operations:health_check"]
    assert len(asked) == ASKED
    assert len({line["request_id"] for line in asked}) == ASKED
    with_id = [line["logger"] for line in lines if line["request_id"] == "a-given-id"]
    assert with_id == ["requests", "django.request"]
    assert "gunicorn.error" in {line["logger"] for line in lines}
    assert NUMBER not in str(logged)

    assert list(counts.glob("jointworthy-metrics-*/*"))
    web.terminate()
    web.wait()
    assert not list(counts.glob("jointworthy-metrics-*"))


def test_oldest_job_of_a_queue_has_an_age_on_each_broker(link, send):
    def oldest():
        return health._oldest_job_at(link.default_channel, "celery")

    assert oldest() is None
    before = timezone.now()
    send("photographs.make_missing_renditions")
    between = timezone.now()
    send("photographs.make_missing_renditions")
    assert before <= oldest() <= between

"""Figures for a monitoring program: behind a token, by route, and as the database has them."""

import json
import os
import subprocess
import sys
from datetime import timedelta

import pytest
from django.conf import settings
from django.core.cache import cache
from django.db import OperationalError
from django.utils import timezone
from prometheus_client.parser import text_string_to_metric_families

from config.celery import app
from operations.models import BackUp, Heartbeat, Verification
from operations.queries import health
from operations.services import heartbeats
from operations.services.request_metrics import SHARED_FOLDER
from reminders.models import Message
from tests.factories import TODAY, make_site

pytestmark = pytest.mark.django_db

URL = "/metrics"


@pytest.fixture
def token(settings):
    return {"HTTP_AUTHORIZATION": f"Bearer {settings.METRICS_TOKEN}"}


def samples(response):
    assert response.status_code == 200
    families = text_string_to_metric_families(response.content.decode())
    return {
        (sample.name, *sorted(sample.labels.values())): sample.value
        for family in families
        for sample in family.samples
    }


def test_without_a_token_set_there_is_no_such_address(client, settings, token):
    settings.METRICS_TOKEN = ""
    assert client.get(URL, **token).status_code == 404
    assert client.get(URL, HTTP_AUTHORIZATION="Bearer ").status_code == 404


@pytest.mark.parametrize(
    "shown", [None, "", "Bearer", "Bearer ", "Bearer another", "Basic {}", "{}", "Bearer {}x"]
)
def test_another_token_or_none_is_refused(client, settings, shown):
    headers = {} if shown is None else {"HTTP_AUTHORIZATION": shown.format(settings.METRICS_TOKEN)}
    response = client.get(URL, **headers)
    assert response.status_code == 401
    assert response["WWW-Authenticate"].startswith("Bearer")
    assert b"jointworthy_" not in response.content


def test_requests_are_counted_by_route_and_status_and_never_by_path(client, token):
    def counts():
        return {
            name[1:]: value
            for name, value in samples(client.get(URL, **token)).items()
            if name[0] == "jointworthy_http_requests_total"
        }

    before = counts()
    for _ in range(3):
        client.get("/health/check/?who=somebody")
    client.get("/people/10001/no-such-page/")
    client.get("/static/no-such-file.css")
    after = counts()

    rise = {name: after[name] - before.get(name, 0) for name in after}
    assert rise["503", "operations:health_check"] == 3
    assert rise["404", "none"] == 1
    assert rise["404", "static"] == 1
    assert "10001" not in str(after)
    assert "somebody" not in str(after)


def test_durations_are_a_histogram_by_route(client, token):
    client.get("/health/check/")
    found = samples(client.get(URL, **token))
    name = "jointworthy_http_request_duration_seconds"
    count = found[f"{name}_count", "operations:health_check"]
    assert count >= 1
    assert found[f"{name}_bucket", "+Inf", "operations:health_check"] == count
    assert found[f"{name}_sum", "operations:health_check"] > 0


COUNT = """
import sys
from operations.services.request_metrics import count_request
for number in range(int(sys.argv[1])):
    count_request(route="bench", status=200, duration_s=0.02)
"""
READ = """
from operations.services.request_metrics import counted
import json
print(json.dumps({
    sample.name + (":" + sample.labels["le"] if "le" in sample.labels else ""): sample.value
    for metric in counted().collect() for sample in metric.samples
}))
"""


def test_what_several_processes_count_is_added_up_also_of_one_that_has_ended(tmp_path):
    def run(code, *arguments):
        return subprocess.run(
            [sys.executable, "-c", code, *arguments],
            cwd=settings.BASE_DIR,
            env=os.environ | {SHARED_FOLDER: str(tmp_path)},
            capture_output=True,
            check=True,
        ).stdout

    run(COUNT, "70")
    run(COUNT, "7")
    found = json.loads(run(READ))
    assert found["jointworthy_http_requests_total"] == 77
    assert found["jointworthy_http_request_duration_seconds_count"] == 77
    assert found["jointworthy_http_request_duration_seconds_bucket:0.01"] == 0
    assert found["jointworthy_http_request_duration_seconds_bucket:0.025"] == 77


def test_of_a_new_site_no_age_is_made_up(client, token):
    names = {name for name, *_ in samples(client.get(URL, **token))}
    assert not [name for name in names if "sweep_age" in name or "verification" in name]
    assert "jointworthy_part_works" in names


def test_sweep_and_verification_have_their_age_and_result(client, token):
    now = timezone.now()
    heartbeats.record_heartbeat(Heartbeat.Kind.SWEEP, now - timedelta(hours=1))
    Verification.objects.create(
        begun_at=now - timedelta(hours=3), ended_at=now - timedelta(hours=2), fault_count=4
    )
    found = samples(client.get(URL, **token))
    assert 3600 <= found["jointworthy_sweep_age_seconds",] < 7200
    assert 7200 <= found["jointworthy_verification_age_seconds",] < 10800
    assert found["jointworthy_verification_fits",] == 0
    assert found["jointworthy_verification_faults",] == 4
    assert found["jointworthy_part_works", "records"] == 0
    assert found["jointworthy_part_works", "sweep"] == 1


def test_a_back_up_has_its_age_and_size_and_a_failure_since_is_told(client, token):
    assert samples(client.get(URL, **token))["jointworthy_back_up_failed",] == 0
    now = timezone.now()
    made = now - timedelta(hours=5)
    BackUp.objects.create(
        begun_at=made, ended_at=made, path="/b/a.backup", size_bytes=70, files_bytes=7
    )
    found = samples(client.get(URL, **token))
    assert 18_000 <= found["jointworthy_back_up_age_seconds",] < 20_000
    assert found["jointworthy_back_up_bytes",] == 77
    BackUp.objects.create(begun_at=now, ended_at=now, path="/b/b.backup", failure="no room")
    assert samples(client.get(URL, **token))["jointworthy_back_up_failed",] == 1


def test_mails_are_counted_by_state(client, token):
    now, site = timezone.now(), make_site()
    states = {
        "waiting": {},
        "retried": {"attempts": 2, "answer": "later"},
        "failed": {"failed_at": now},
        "withdrawn": {"withdrawn_at": now},
        "sent": {"sent_at": now},
    }
    for number, (state, fields) in enumerate(states.items()):
        for again in range(number + 1):
            Message.objects.create(
                message_id=f"{state}-{again}", site=site, day=TODAY, due_at=now, raw=b"",
                recipient=f"{state}-{again}@aldergate.example", subject="-", **fields,
            )  # fmt: skip
    found = samples(client.get(URL, **token))
    assert [found["jointworthy_mails", state] for state in states] == [1, 2, 3, 4, 5]


def test_jobs_that_wait_are_counted_with_the_age_of_the_oldest(client, token):
    with app.connection_for_write() as link:
        link.default_channel.queue_purge("celery")
        link.default_channel.queue_purge("reminders")
    assert health.oldest_jobs() == {"celery": None, "reminders": None}
    before = timezone.now()
    app.send_task("photographs.make_missing_renditions")
    app.send_task("photographs.make_missing_renditions")
    oldest = health.oldest_jobs()
    assert before <= oldest["celery"] <= timezone.now()
    assert oldest["reminders"] is None

    found = samples(client.get(URL, **token))
    assert found["jointworthy_queue_jobs", "celery"] == 2
    assert found["jointworthy_queue_jobs", "reminders"] == 0
    assert found["jointworthy_queue_oldest_job_age_seconds", "celery"] > 0
    assert ("jointworthy_queue_oldest_job_age_seconds", "reminders") not in found
    with app.connection_for_write() as link:
        link.default_channel.queue_purge("celery")


def test_what_does_not_answer_is_said_and_the_rest_told(client, token, monkeypatch):
    def is_away(*args):
        raise OperationalError("no connection")

    monkeypatch.setattr(health, "queue_depths", lambda: None)
    monkeypatch.setattr(health, "component_health", is_away)
    found = samples(client.get(URL, **token))
    assert found["jointworthy_queues_answer",] == 0
    assert found["jointworthy_database_answers",] == 0
    assert ("jointworthy_queue_jobs", "celery") not in found
    assert ("jointworthy_mails", "sent") not in found


def test_number_of_queries_does_not_grow_with_what_is_kept(
    client, token, django_assert_max_num_queries
):
    cache.clear()
    health.component_health(timezone.now())  # Looks at the fonts of this machine once.
    with django_assert_max_num_queries(30):
        client.get(URL, **token)

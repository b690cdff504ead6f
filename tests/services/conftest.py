"""Real workers beside the tests: on the folder queue, and on Redis where one is found."""

import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from urllib.parse import quote

import pytest
from django.conf import settings
from django.db import connection
from kombu import Connection
from redis import Redis

from config import broker
from config.celery import app
from tests.conftest import leave_out

DONE_WITHIN_S = 40.0
WORKER = [
    *(sys.executable, "-m", "celery", "--quiet", "-A", "config", "worker"),
    *("--loglevel", "WARNING", "--concurrency", "1"),
    *("--without-gossip", "--without-mingle", "--without-heartbeat"),
]


@pytest.fixture(params=["folder", "redis"])
def link(request):
    """A connection to an empty broker of each kind."""
    if request.param == "folder":
        shutil.rmtree(settings.QUEUE_DIR, ignore_errors=True)
        options = broker.transport_options(settings.QUEUE_DIR)
        with Connection("folder://localhost//", transport_options=options) as link:
            yield link
        return
    url = os.environ.get("TEST_REDIS_URL", "")
    if not url:
        leave_out("Redis is not named in TEST_REDIS_URL")
    # Test processes that run side by side have a numbered database each.
    number = re.sub(r"\D", "", os.environ.get("PYTEST_XDIST_WORKER", "")) or "0"
    url = f"{url.rstrip('/')}/{number}" if url.count("/") == 2 else url
    with Redis.from_url(url) as redis:
        redis.flushdb()
    with Connection(url) as link:
        yield link


@pytest.fixture
def send(link) -> Callable[..., None]:
    """Send a task by its name: ``send("assessments.tasks.make_renditions", photo.pk)``."""

    def send_task(name: str, *args: object) -> None:
        app.send_task(name, args=args, connection=link)

    return send_task


@pytest.fixture
def lose_messages(link) -> Callable[[], None]:
    """Throw away everything that waits in the queue."""

    def purge() -> None:
        link.default_channel.queue_purge(app.conf.task_default_queue)

    return purge


@pytest.fixture
def start_worker(transactional_db, link, tmp_path):
    """Start a worker on this test's database, files and broker; each call starts one more."""
    workers = []
    log = tmp_path / "worker.log"
    environment = os.environ | {
        "DJANGO_SETTINGS_MODULE": "config.settings",
        "DATA_DIR": str(settings.DATA_DIR),
        "DATABASE_URL": database_url(),
    }
    if link.transport_cls != broker.SCHEME:
        environment["CELERY_BROKER_URL"] = link.as_uri(include_password=True)

    def start() -> subprocess.Popen[bytes]:
        with log.open("ab") as stream:
            worker = subprocess.Popen(
                WORKER,
                env=environment,
                cwd=settings.BASE_DIR,
                stdout=stream,
                stderr=stream,
                start_new_session=True,
            )
        workers.append(worker)
        return worker

    yield start
    for worker in workers:
        kill(worker)
    if log.exists():
        print(log.read_text())


def kill(worker: subprocess.Popen[bytes]) -> None:
    """Kill a worker and its children at once, as a power cut would."""
    with suppress(ProcessLookupError):
        os.killpg(worker.pid, signal.SIGKILL)
    worker.wait()


def wait_until(done: Callable[[], bool], *, within_s: float = DONE_WITHIN_S) -> None:
    """Wait for what a worker is to bring about; fail if it does not come."""
    until = time.monotonic() + within_s
    while not done():
        assert time.monotonic() < until, f"The worker did not do it within {within_s:.0f} s."
        time.sleep(0.1)


def database_url() -> str:
    """The test's database, as the environment would name it."""
    given = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{given['NAME']}"
    user, password = (quote(str(given[key] or ""), safe="") for key in ("USER", "PASSWORD"))
    return f"postgresql://{user}:{password}@{given['HOST']}:{given['PORT']}/{given['NAME']}"

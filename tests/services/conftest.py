"""Real workers beside the tests: on the folder queue, and on Redis where one is found."""

import os
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection
from kombu import Connection
from redis import Redis

from config.celery import app
from operations.backends import folder_queue as broker
from tests.services.mail_server import MailServer, Running
from tests.services.processes import OwnRedis, Processes, database_url

# The two pairs that are deployed, and all of them where faults are tried at length (`make faults`):
# neither broker knows which database is beside it.
BROKERS = ["folder"] if connection.vendor == "sqlite" else ["redis"]
if os.environ.get("FAULT_KILLS"):
    BROKERS = ["folder", "redis"]


@pytest.fixture(params=BROKERS)
def link(request):
    """A connection to an empty broker of each kind."""
    if request.param == "folder":
        shutil.rmtree(settings.QUEUE_DIR, ignore_errors=True)
        options = broker.transport_options(settings.QUEUE_DIR)
        with Connection("folder://localhost//", transport_options=options) as link:
            yield link
        return
    url = os.environ.get("TEST_REDIS_URL") or request.getfixturevalue("redis_of_the_tests")
    # Test processes that run side by side have a numbered database each.
    number = re.sub(r"\D", "", os.environ.get("PYTEST_XDIST_WORKER", "")) or "0"
    url = f"{url.rstrip('/')}/{number}" if url.count("/") == 2 else url
    with Redis.from_url(url) as redis:
        redis.flushdb()
    with Connection(url) as link:
        yield link


@pytest.fixture(scope="session")
def redis_of_the_tests(tmp_path_factory) -> Iterator[str]:
    """Where TEST_REDIS_URL names none, one for this process."""
    redis = OwnRedis(tmp_path_factory.mktemp("redis"))
    redis.start()
    yield redis.url.removesuffix("/0")
    redis.stop()


@pytest.fixture
def send(link) -> Callable[..., None]:
    """Send a task by its name: ``send("photographs.make_renditions", photo.pk)``."""

    def send_task(name: str, *args: object) -> None:
        app.send_task(name, args=args, connection=link)

    return send_task


@pytest.fixture
def ask(send) -> Callable[[], None]:
    """Ask for what the clock asks for again and again."""

    def ask_for_all() -> None:
        send("reminders.sweep")
        send("reminders.send")

    return ask_for_all


@pytest.fixture
def lose_messages(link) -> Callable[[], None]:
    """Throw away everything that waits in the queue."""

    def purge() -> None:
        for name in app.amqp.queues:
            link.default_channel.queue_purge(name)

    return purge


@pytest.fixture
def server() -> Iterator[MailServer]:
    """A mail server that the processes of `processes` send to."""
    running = Running()
    running.start()
    running.server.address = f"smtp://127.0.0.1:{running.port}"
    yield running.server
    running.stop()


@pytest.fixture
def processes(transactional_db, link, request, tmp_path) -> Iterator[Processes]:
    """Starts processes on this test's database, files, broker and, if it has one, mail server."""
    environment = {"DATA_DIR": str(settings.DATA_DIR), "DATABASE_URL": database_url()}
    environment["WEB_HOOKS_TO_LOOPBACK"] = "yes"
    if link.transport_cls != broker.SCHEME:
        environment["CELERY_BROKER_URL"] = link.as_uri(include_password=True)
    if "server" in request.fixturenames:
        environment["EMAIL_URL"] = request.getfixturevalue("server").address
    started = Processes(environment, Path(tmp_path) / "processes.log")
    yield started
    started.end()


@pytest.fixture
def start_worker(processes):
    """Start a worker on this test's database, files and broker; each call starts one more."""
    return processes.worker

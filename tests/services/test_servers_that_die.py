"""The queue's and the database's server die in the middle of a sweep, and nothing is lost."""

import shutil
import tempfile
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import connection, connections
from django.db.utils import load_backend

from reminders.models import Message
from tests.services.many import (
    every_reminder_went_out_once,
    let_claims_lapse,
    make_many,
    sent,
    twice_at_the_server,
)
from tests.services.processes import (
    OwnPostgres,
    OwnRedis,
    Processes,
    database_url,
    held_still,
    wait_until,
)

pytestmark = [pytest.mark.services, pytest.mark.slow]


@pytest.fixture
def own_redis(tmp_path):
    redis = OwnRedis(tmp_path)
    redis.start()
    yield redis
    redis.stop()


@pytest.mark.django_db(transaction=True)
def test_queue_that_is_emptied_and_restarted_in_mid_sweep_loses_nothing(
    own_redis, server, tmp_path
):
    readers = make_many(200)
    processes = Processes(
        {
            "DATA_DIR": str(settings.DATA_DIR),
            "DATABASE_URL": database_url(),
            "CELERY_BROKER_URL": own_redis.url,
            "EMAIL_URL": server.address,
        },
        tmp_path / "processes.log",
    )
    try:
        worker = processes.worker("tests.services.often")
        processes.clock("tests.services.often")
        wait_until(lambda: Message.objects.exists(), watch=Message.objects.count, every_s=0.005)
        with held_still(worker):
            own_redis.empty()
            own_redis.stop()
            assert Message.objects.count() < 200, "stopped in the middle"
        # The sweep in hand needs no queue; what comes after it does.
        wait_until(lambda: Message.objects.count() == 200)
        given = len(server.given)
        own_redis.start()
        wait_until(lambda: sent() == 200)
    finally:
        processes.end()
    assert given < 200, "there was something to send when it came back"
    every_reminder_went_out_once(readers, 200)
    assert twice_at_the_server(server) == 0


@pytest.fixture
def own_postgres(django_db_blocker):
    """A PostgreSQL of this test's own in place of the suite's database."""
    folder = Path(tempfile.mkdtemp(prefix="jointworthy-postgres-"))
    try:
        postgres = OwnPostgres(folder)
        postgres.start()
        given = connections.settings["default"] | {
            "ENGINE": "django.db.backends.postgresql",
            "NAME": "postgres",
            "USER": "postgres",
            "PASSWORD": "",
            "HOST": "127.0.0.1",
            "PORT": str(postgres.port),
            "OPTIONS": {},
        }
        suites = connections["default"]
        with django_db_blocker.unblock():
            own = load_backend(given["ENGINE"]).DatabaseWrapper(given, "default")
            connections["default"] = own
            try:
                call_command("migrate", run_syncdb=True, verbosity=0)
                yield postgres
            finally:
                own.close()
                connections["default"] = suites
                postgres.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.mark.skipif(
    connection.vendor != "sqlite", reason="on a PostgreSQL of its own, whatever the suite is on"
)
@pytest.mark.parametrize("link", ["folder"], indirect=True)
def test_database_that_is_restarted_in_mid_sweep_loses_nothing(own_postgres, server, ask, tmp_path):
    readers = make_many(300)
    server.slow_s = 0.01
    processes = Processes(
        {
            "DATA_DIR": str(settings.DATA_DIR),
            "DATABASE_URL": database_url(),
            "EMAIL_URL": server.address,
        },
        tmp_path / "processes.log",
    )

    def restart(in_the_middle):
        # The worker stands still, so that it neither comes to its end before the server does
        # nor holds a message again when claims are made to lapse.
        with held_still(worker):
            own_postgres.stop()
            connection.close()
            own_postgres.start()
            assert in_the_middle()
            let_claims_lapse()

    try:
        worker = processes.worker()
        ask()
        wait_until(lambda: Message.objects.exists(), watch=Message.objects.count, every_s=0.005)
        restart(lambda: 0 < Message.objects.count() < 300)
        ask()
        wait_until(lambda: sent() > 20, watch=sent, every_s=0.005)
        restart(lambda: 20 < sent() < 300)
        ask()
        wait_until(lambda: sent() == 300)
    finally:
        processes.end()
    every_reminder_went_out_once(readers, 300)
    assert twice_at_the_server(server) <= 2, "at most the one in hand at each restart"

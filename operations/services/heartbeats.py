"""Workers and the clock write into the database that they live, whatever the queue is.

A worker does so from the loop that takes jobs out of the queue, so one that hangs falls
silent. The clock does so when it has put a job into the queue, so one that cannot reach the
queue falls silent too.
"""

import logging
import socket
import time
from typing import Any

from celery import signals
from celery.worker import state
from django.db import DatabaseError, connection
from django.utils import timezone

from operations.models import Heartbeat

from . import health

log = logging.getLogger(__name__)


def _write(kind: Heartbeat.Kind, name: str, *, ends: bool = False) -> None:
    """Write a sign of life; a database that is away is no reason to stop."""
    try:
        if ends:
            health.forget(kind, name)
        else:
            health.note(kind, timezone.now(), name)
    except DatabaseError as error:
        log.warning("The database took no sign of life of the %s: %s", kind, error)
    finally:
        # Children that are started later inherit no open connection.
        connection.close()


_received: list[str] = []


@signals.task_received.connect
def job_came(request: Any, **_kwargs: Any) -> None:
    _received[:] = [request.id]


@signals.worker_ready.connect
def worker_lives(sender: Any, **_kwargs: Any) -> None:
    idle_beside_jobs: list[bool] = []

    def beat() -> None:
        _write(Heartbeat.Kind.WORKER, sender.hostname)
        if sender.hub is None:
            return  # A folder has no connection that can break.
        idle = not (_received or state.reserved_requests) and bool(health.queue_depth())
        _received.clear()
        idle_beside_jobs[:] = [*idle_beside_jobs[-1:], idle]
        if idle_beside_jobs == [True, True]:
            idle_beside_jobs.clear()
            # Where the queue's server goes while a finished job is told to it, the worker
            # may go on without a connection. This makes it connect anew.
            raise ConnectionResetError("Jobs wait and none has come for some time.")

    beat()
    sender.timer.call_repeatedly(health.BEATS_EVERY.total_seconds(), beat)


@signals.worker_shutdown.connect
def worker_ends(sender: Any, **_kwargs: Any) -> None:
    _write(Heartbeat.Kind.WORKER, sender.hostname, ends=True)


@signals.beat_init.connect
@signals.beat_embedded_init.connect
def clock_starts(**_kwargs: Any) -> None:
    """From here on this process is the clock, and what it publishes are its signs of life."""
    signals.after_task_publish.connect(clock_lives)


_last: dict[str, float] = {}


def clock_lives(**_kwargs: Any) -> None:
    now = time.monotonic()
    if now - _last.get("written", -1e9) < health.BEATS_EVERY.total_seconds():
        return
    _last["written"] = now
    _write(Heartbeat.Kind.CLOCK, socket.gethostname())

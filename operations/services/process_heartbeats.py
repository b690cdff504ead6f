"""Has workers and the clock record heartbeats when Celery signals what they do.

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
from operations.queries.health import queue_depth

from . import heartbeats

log = logging.getLogger(__name__)


def _write(kind: Heartbeat.Kind, name: str, *, ends: bool = False) -> None:
    """Write a heartbeat; a database that is away is no reason to stop."""
    try:
        if ends:
            heartbeats.delete_heartbeat(kind, name)
        else:
            heartbeats.record_heartbeat(kind, timezone.now(), name)
    except DatabaseError as error:
        log.warning("The database took no sign of life of the %s: %s", kind, error)
    finally:
        # Children that are started later inherit no open connection.
        connection.close()


_received: list[str] = []


@signals.task_received.connect
def job_received(request: Any, **_kwargs: Any) -> None:
    _received[:] = [request.id]


@signals.worker_ready.connect
def worker_started(sender: Any, **_kwargs: Any) -> None:
    idle_rounds: list[bool] = []

    def heartbeat() -> None:
        _write(Heartbeat.Kind.WORKER, sender.hostname)
        if sender.hub is None:
            return  # A folder has no connection that can break.
        own_queues = sender.app.amqp.queues.consume_from
        idle = not (_received or state.reserved_requests) and bool(queue_depth(own_queues))
        _received.clear()
        idle_rounds[:] = [*idle_rounds[-1:], idle]
        if idle_rounds == [True, True]:
            idle_rounds.clear()
            # Where the queue's server goes while a finished job is told to it, the worker
            # may go on without a connection. This makes it connect anew.
            raise ConnectionResetError("Jobs wait and none has come for some time.")

    heartbeat()
    sender.timer.call_repeatedly(heartbeats.HEARTBEAT_INTERVAL.total_seconds(), heartbeat)


@signals.worker_shutdown.connect
def worker_stopped(sender: Any, **_kwargs: Any) -> None:
    _write(Heartbeat.Kind.WORKER, sender.hostname, ends=True)


@signals.beat_init.connect
@signals.beat_embedded_init.connect
def clock_started(**_kwargs: Any) -> None:
    """From here on this process is the clock, and what it publishes are its heartbeats."""
    signals.after_task_publish.connect(clock_published)


_last_recorded: list[float] = []


def clock_published(**_kwargs: Any) -> None:
    now = time.monotonic()
    if _last_recorded and now - _last_recorded[0] < heartbeats.HEARTBEAT_INTERVAL.total_seconds():
        return
    _last_recorded[:] = [now]
    _write(Heartbeat.Kind.CLOCK, socket.gethostname())

"""Heartbeats: processes, and the work that they do, write down when they were last alive.

They are written into the database, so what is read from them is the same on every kind of
queue, and no process is asked anything.
"""

import logging
from collections.abc import Callable
from datetime import datetime, timedelta

from django.db import DatabaseError, connection
from django.utils import timezone

from operations.models import Heartbeat

log = logging.getLogger(__name__)

HEARTBEAT_INTERVAL = timedelta(seconds=30)
DELETED_AFTER = timedelta(days=1)


def record_heartbeat(kind: Heartbeat.Kind, at: datetime, name: str = "") -> None:
    """Write down that a process lives, or that a kind of work was done."""
    if not Heartbeat.objects.filter(kind=kind, name=name).update(at=at):
        Heartbeat.objects.bulk_create(
            [Heartbeat(kind=kind, name=name, at=at)], ignore_conflicts=True
        )


def record_start() -> None:
    """Write down that the site is served from now on; no reason to stop where it cannot be."""
    try:
        record_heartbeat(Heartbeat.Kind.WEB, timezone.now())
    except DatabaseError as error:
        log.warning("The database did not take the start of the site: %s", error)
    finally:
        connection.close()


def record_sweep(at: datetime) -> None:
    """Write down that a sweep has ended, and drop processes long dead."""
    record_heartbeat(Heartbeat.Kind.SWEEP, at)
    delete_stale_heartbeats(at)


def delete_heartbeat(kind: Heartbeat.Kind, name: str) -> None:
    """Drop the heartbeat of a process that ends in good order, which nobody misses."""
    Heartbeat.objects.filter(kind=kind, name=name).delete()


def delete_stale_heartbeats(now: datetime) -> None:
    """Drop processes that have been silent for so long that somebody replaced them."""
    processes = Heartbeat.objects.filter(kind__in=[Heartbeat.Kind.WORKER, Heartbeat.Kind.CLOCK])
    processes.filter(at__lt=now - DELETED_AFTER).delete()


def sending_heartbeat(clock: Callable[[], datetime]) -> Callable[[], None]:
    """Give a function that records that mails are being sent, though not at every call."""
    last: datetime | None = None

    def record_sending() -> None:
        nonlocal last
        now = clock()
        if last is None or abs(now - last) >= HEARTBEAT_INTERVAL:
            record_heartbeat(Heartbeat.Kind.SENDING, now)
            last = now

    return record_sending

"""Counting requests, in files that all web processes of this machine share.

Whoever asks for the figures reaches one of several processes, and wants those of all. So where
gunicorn serves (`config.gunicorn`), `prometheus_client` keeps them in a file for each process and
adds the files up when asked; in a process of its own they are in its memory.
"""

import os

from prometheus_client import CollectorRegistry, Counter, Histogram
from prometheus_client.multiprocess import MultiProcessCollector

SHARED_FOLDER = "PROMETHEUS_MULTIPROC_DIR"
"""Names the folder of these files; read when `prometheus_client` is imported."""
BUCKETS_S = (0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0)

own = CollectorRegistry()
requests = Counter(
    "jointworthy_http_requests",
    "Requests answered, by the name of the route and by status.",
    ["route", "status"],
    registry=own,
)
durations = Histogram(
    "jointworthy_http_request_duration_seconds",
    "Time until an answer began, by the name of the route.",
    ["route"],
    buckets=BUCKETS_S,
    registry=own,
)


def count_request(*, route: str, status: int, duration_s: float) -> None:
    """Count one answer; the route is one of the names in the URL configuration, or of few others.

    Never a path: it would name people, and there would be as many series as addresses.
    """
    requests.labels(route, str(status)).inc()
    durations.labels(route).observe(duration_s)


def counted() -> CollectorRegistry:
    """The counts of all web processes of this machine."""
    if SHARED_FOLDER not in os.environ:
        return own
    registry = CollectorRegistry()
    MultiProcessCollector(registry)
    return registry

"""How gunicorn serves the site: `gunicorn -c python:config.gunicorn`.

One process with several threads by default. SQLite has one writer at a time anyway, and the
count of failed sign-ins then needs no cache server. With PostgreSQL and `CACHE_URL`, set
`WEB_WORKERS` to about twice the number of cores.
"""

import os
import shutil
import tempfile
from typing import Any

from django.core.exceptions import ImproperlyConfigured
from gunicorn.errors import AppImportError

from . import env
from .settings import BIND, CACHE_IS_SHARED, LOG_FORMAT, LOGGING, METRICS_TOKEN

wsgi_app = "config.wsgi:application"
bind = BIND
workers = env.whole_number("WEB_WORKERS", 1, least=1, about="Web processes.")
if workers > 1 and not CACHE_IS_SHARED:
    raise ImproperlyConfigured(
        f"WEB_WORKERS is {workers}, and without CACHE_URL each process would count failed sign-ins "
        "and requests of programs for itself: name a Redis in CACHE_URL, or leave WEB_WORKERS out."
    )
threads = env.whole_number("WEB_THREADS", 8, least=1, about="Threads of each web process.")
worker_class = "gthread"
timeout = 120  # A class's photographs over a slow wireless network take their time.
graceful_timeout = 10
# Seconds that a connection stays open between two requests. Longer than Caddy (120 by default) or
# nginx (60) keep theirs, and than somebody takes from one joint to the next: whoever sends a
# judgement just when this side closes has no answer.
keepalive = 130
errorlog = "-"
accesslog = None
loglevel = "warning"
if LOG_FORMAT == "JSON":
    # What gunicorn has to say itself goes where all else is said, in the same form.
    logconfig_dict = LOGGING | {
        "root": {"handlers": ["stderr"], "level": "WARNING"},
        "loggers": {
            name: {"handlers": ["stderr"], "level": "WARNING", "propagate": False}
            for name in ("gunicorn.error", "gunicorn.access")
        },
    }
control_socket_disable = True


def on_starting(server: Any) -> None:
    """Serve only while nobody has the site to themselves; the web processes inherit the lock."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    from records.exceptions import SiteIsTaken
    from records.services.site_to_oneself import hold_while_serving

    try:
        hold_while_serving()
    except SiteIsTaken as taken:
        raise SystemExit(str(taken)) from taken
    if METRICS_TOKEN:
        _share_metrics()


def _share_metrics() -> None:
    """Make the folder in which the web processes count together, before the first imports it.

    It is theirs alone: another start on the same machine counts from nothing, as a counter may.
    """
    os.environ["PROMETHEUS_MULTIPROC_DIR"] = tempfile.mkdtemp(prefix="jointworthy-metrics-")


def on_exit(server: Any) -> None:
    if folder := os.environ.get("PROMETHEUS_MULTIPROC_DIR"):
        shutil.rmtree(folder, ignore_errors=True)


def post_worker_init(worker: Any) -> None:
    """Refuse to serve the demo to other machines, and what is half shared with them.

    From here on the site is served, so what is not seen of it from now on is missing.
    """
    from django.db import DatabaseError

    from operations.exceptions import HalfShared
    from operations.queries import own_machine
    from operations.services.heartbeats import record_start
    from operations.services.shared_marks import refuse_half_shared

    for address in worker.cfg.address:
        if isinstance(address, tuple):  # A path is a socket in this machine's files.
            host, port = address[:2]
            bind = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
            try:
                own_machine.refuse_loaded_demo_elsewhere(bind=bind)
            except own_machine.DemoRefused as error:
                # gunicorn says this and ends, where another error would have it try again.
                raise AppImportError(str(error)) from error
    try:
        refuse_half_shared()
    except HalfShared as error:
        raise AppImportError(str(error)) from error
    except DatabaseError as error:
        # One that takes the place of another while the database is away: the first was compared.
        worker.log.warning("What machines share was not compared: %s", error)
    record_start()

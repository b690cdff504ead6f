"""Has workers and the clock take part in the lock of those who serve the site.

An import that needs the site to itself writes as long as it lasts, and a job that wants to write
meanwhile would wait for it and fail.
"""

from typing import Any

from celery import signals

from records.exceptions import SiteIsTaken
from records.services.site_to_oneself import hold_while_serving


@signals.worker_init.connect
@signals.beat_init.connect
def begin_to_serve(**_kwargs: Any) -> None:
    """Before a worker starts its children, which inherit the lock."""
    try:
        hold_while_serving()
    except SiteIsTaken as taken:
        # Celery logs any other error of a listener and goes on.
        raise SystemExit(str(taken)) from taken

"""Has jobs carry when they were put into their queue, and which request asked for them."""

import time
from typing import Any

from celery import signals

from operations.domain import request_ids
from operations.queries.health import PUBLISHED_AT

REQUEST_ID = "request_id"


@signals.before_task_publish.connect
def add_headers(headers: dict[str, Any], **_kwargs: Any) -> None:
    headers[PUBLISHED_AT] = time.time()
    if request_id := request_ids.current.get():
        headers[REQUEST_ID] = request_id


@signals.task_prerun.connect
def job_begins(task: Any, **_kwargs: Any) -> None:
    """What is logged of the job has the id of the request, or of the job where the clock asked."""
    request_ids.current.set(task.request.get(REQUEST_ID) or task.request.id or "")


@signals.task_postrun.connect
def job_ends(**_kwargs: Any) -> None:
    request_ids.current.set("")

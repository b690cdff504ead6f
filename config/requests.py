"""Each request has an id, is counted, and is one line in the log: first among the middleware."""

import logging
import time
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

from operations.domain import request_ids
from operations.services.request_metrics import count_request

from .logs import REQUESTS

log = logging.getLogger(REQUESTS)

HEADER = "X-Request-ID"
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")
STATIC, NO_ROUTE, NO_NAME = "static", "none", "unnamed"


def route_of(request: HttpRequest) -> str:
    """The name of the route that a request took; never its path, which may name a person."""
    match = request.resolver_match
    if match is not None:
        return match.view_name if match.url_name else NO_NAME
    return STATIC if request.path_info.startswith(settings.STATIC_URL) else NO_ROUTE


def observe_requests(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Give each request its id, and say and count how it was answered.

    The time is that until the answer began: a long file is sent after it.
    """

    def middleware(request: HttpRequest) -> HttpResponse:
        begun = time.perf_counter()
        request_id = request_ids.request_id(request.headers.get(HEADER, ""))
        setattr(request, request_ids.ATTRIBUTE, request_id)
        outside = request_ids.current.set(request_id)
        try:
            response = get_response(request)
            took_s = time.perf_counter() - begun
            route, status = route_of(request), response.status_code
            if settings.METRICS_TOKEN:
                count_request(route=route, status=status, duration_s=took_s)
            method = request.method if request.method in METHODS else "OTHER"
            facts = {
                "route": route,
                "method": method,
                "status": status,
                "duration_ms": round(took_s * 1000, 1),
            }
            log.info("%s %s: %d", method, route, status, extra=facts)
        finally:
            request_ids.current.reset(outside)
        response.headers[HEADER] = request_id
        return response

    return middleware

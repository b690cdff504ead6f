"""What every answer carries."""

import time
from collections.abc import Callable

from django.conf import settings
from django.contrib.auth.middleware import get_user
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from records.exceptions import FilesOutOfReach

HEADER = "Content-Security-Policy"
LAST_SEEN = "last_seen_minute"
FILES_AGAIN_AFTER_S = 10


def content_security_policy(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Tell browsers to run and show what this site serves and nothing else.

    An answer that needs another policy sets the header itself.
    """
    policy = "; ".join(
        f"{name} {value}" for name, value in settings.CONTENT_SECURITY_POLICY.items()
    )

    def middleware(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        response.headers.setdefault(HEADER, policy)
        return response

    return middleware


KEPT_BY_NOBODY = (
    "text/html",
    "text/csv",
    "application/json",
    "application/pdf",
    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
)


def nothing_is_kept_on_the_way(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Let no browser or proxy keep pages, tables, documents or answers to scripts.

    They hold what one reader may see on one day. Back would show them to whoever comes next at a
    shared computer, and what was true before to whoever acts. Pictures say for themselves how
    long they may be kept, and by whom.
    """

    def middleware(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        kept = response.headers.get("Cache-Control", "")
        kind = response.headers.get("Content-Type", "").partition(";")[0]
        if kind in KEPT_BY_NOBODY and "no-store" not in kept:
            response.headers["Cache-Control"] = "no-store, private"
        return response

    return middleware


def limit_bodies(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Refuse what is too large to be meant before any of it is read, and so written to a disk.

    Whoever is not signed in sends forms, and a program questions or a plant's people, which are
    held in memory; photographs, work logs and documents come from people with a session.
    """

    def middleware(request: HttpRequest) -> HttpResponse:
        length = request.META.get("CONTENT_LENGTH") or "0"
        sent = int(length) if length.isdecimal() else 0
        from_program = request.path.startswith("/api/")
        without_session = (
            settings.DATA_UPLOAD_MAX_MEMORY_SIZE
            if from_program
            else settings.BODY_MAX_BYTES_SIGNED_OUT
        )
        if sent <= without_session:
            return get_response(request)
        # Asked in full, as with every request later on: the row of a session may outlive it.
        signed_in = get_user(request).is_authenticated
        most = settings.BODY_MAX_BYTES if signed_in else without_session
        if sent <= most:
            return get_response(request)
        detail = _("At most %(most)d MB are taken at once. Send less, or in several parts.") % {
            "most": most // 1024**2
        }
        if from_program:
            problem = {
                "type": "about:blank",
                "title": "Content Too Large",
                "status": 413,
                "detail": detail,
            }
            return JsonResponse(problem, status=413, content_type="application/problem+json")
        return HttpResponse(detail, status=413, content_type="text/plain; charset=utf-8")

    return middleware


def this_minute() -> int:
    """Minutes since 1970."""
    return int(time.time() // 60)


def idle_time(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Count the time without a click anew, writing the session once a minute at most.

    Whoever grades makes several requests a second, and each would write the same row.
    """

    def middleware(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        # Nobody's session is begun by looking at a page.
        if not request.session.is_empty():
            minute = this_minute()
            if request.session.get(LAST_SEEN) != minute:
                request.session[LAST_SEEN] = minute
        return response

    return middleware


def programs_bring_no_cookies(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Look at no cookie where programs ask by token, so that no session is read or prolonged.

    What is answered holds now, so nobody on the way keeps it.
    """

    def middleware(request: HttpRequest) -> HttpResponse:
        if not request.path.startswith("/api/") and request.path != "/metrics":
            return get_response(request)
        request.COOKIES = {}
        response = get_response(request)
        response.headers.setdefault("Cache-Control", "no-store")
        return response

    return middleware


class SayFilesAreOutOfReach:
    """Answer 503 with one sentence where a view needs a file while the bucket is away.

    Page, script or program, each in its form; a script that sends photographs does so again.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        if not isinstance(error, FilesOutOfReach):
            return None
        response: HttpResponse
        kind = request.get_preferred_type(["text/html", "application/json"])
        if request.path.startswith("/api/"):
            problem = {
                "type": "about:blank",
                "title": "Service Unavailable",
                "status": 503,
                "detail": str(error),
            }
            response = JsonResponse(problem, status=503, content_type="application/problem+json")
        elif kind == "application/json":
            response = JsonResponse({"says": str(error)}, status=503)
        else:
            response = render(request, "503.html", {"says": str(error)}, status=503)
        response.headers["Retry-After"] = str(FILES_AGAIN_AFTER_S)
        response.headers["Cache-Control"] = "no-store, private"
        return response

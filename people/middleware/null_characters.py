"""No text with a null character reaches a page: PostgreSQL can neither keep it nor look for it."""

from collections.abc import Callable, Iterator
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils.translation import gettext as _

NULL = "\0"
TAKE_OFF_CONTROL_CHARACTERS = {"certification:bench_check"}
"""Pages that scanners type into, which may put such characters around a number."""


def refuse_null_characters(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Refuse what holds one, in an address, a question or a form; programs are told by the API."""

    def middleware(request: HttpRequest) -> HttpResponse:
        return get_response(request)

    def process_view(
        request: HttpRequest, _view: Any, _args: Any, _kwargs: Any
    ) -> HttpResponse | None:
        match = request.resolver_match
        page = match.view_name if match else ""
        if page in TAKE_OFF_CONTROL_CHARACTERS or request.path.startswith("/api/"):
            return None
        if not any(NULL in text for text in _texts(request)):
            return None
        return HttpResponse(
            _(
                "The address or the form holds a null character, which no text can hold. Go back,"
                " type the text anew and send it again. Nothing was changed."
            ),
            status=400,
            content_type="text/plain; charset=utf-8",
        )

    middleware.process_view = process_view  # type: ignore[attr-defined]
    return middleware


def _texts(request: HttpRequest) -> Iterator[str]:
    yield request.path_info
    for sent in (request.GET, request.POST):
        for name, values in sent.lists():
            yield name
            yield from map(str, values)

"""Which language a page, a mail or a calendar speaks.

A page mixes no two languages: those that are translated as a whole are shown in their
reader's language, and all others in the site's.
"""

from collections.abc import Callable
from functools import wraps

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import translation
from django.utils.cache import patch_vary_headers

from people.access import View
from people.queries.languages import in_language, language_of

SIGN_IN_PAGES = "/account/"


def language_at(request: HttpRequest) -> str:
    """The language of whoever is signed in; until that is known, what the browser asks for."""
    if request.user.is_authenticated:
        return language_of(request.user.person)
    return translation.get_language_from_request(request)


def in_own_language(view: View) -> View:
    """Answer in the language of whoever reads it; for pages that are translated as a whole."""

    @wraps(view)
    def wrapper(request, *args, **kwargs):
        language = language_at(request)
        with in_language(language):
            response = view(request, *args, **kwargs)
        response.headers["Content-Language"] = language
        if not request.user.is_authenticated:
            patch_vary_headers(response, ("Accept-Language",))
        return response

    return wrapper


def sign_in_language(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Sign people in in their language: until it is known, in the one the browser asks for."""

    def middleware(request: HttpRequest) -> HttpResponse:
        if not request.path.startswith(SIGN_IN_PAGES):
            return get_response(request)
        language = language_at(request)
        with in_language(language):
            response = get_response(request)
        response.headers["Content-Language"] = language
        patch_vary_headers(response, ("Accept-Language",))
        return response

    return middleware


def site_language(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Begin every answer in the site's language, whatever the one before was in."""

    def middleware(request: HttpRequest) -> HttpResponse:
        translation.activate(settings.LANGUAGE_CODE)
        response = get_response(request)
        response.headers.setdefault("Content-Language", settings.LANGUAGE_CODE)
        return response

    return middleware

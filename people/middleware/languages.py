"""Which language a page speaks: its reader's, and before somebody signed in the browser's."""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import translation
from django.utils.cache import patch_vary_headers

from people.queries.languages import in_language, language_of

OPEN_PAGES = ("/account/", "/tablet/", "/c/")
"""Where one signs in, and where strangers look a certificate up."""


def language_at(request: HttpRequest) -> str:
    """The language of whoever is signed in; on pages open to strangers, what the browser
    asks for.

    Programs are answered in the site's.
    """
    if request.user.is_authenticated:
        return language_of(request.user.person)
    if request.path.startswith(OPEN_PAGES):
        return translation.get_language_from_request(request)
    return settings.LANGUAGE_CODE


def own_language(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Answer in the language of whoever reads it.

    What is sent piece by piece is made after that, and speaks the site's: such answers are files
    for other programs, whose headings are to be the same for everybody.
    """

    def middleware(request: HttpRequest) -> HttpResponse:
        language = language_at(request)
        with in_language(language):
            response = get_response(request)
        response.headers.setdefault("Content-Language", language)
        if request.path.startswith(OPEN_PAGES):
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

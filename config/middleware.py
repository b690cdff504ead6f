"""What every answer carries."""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

HEADER = "Content-Security-Policy"


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

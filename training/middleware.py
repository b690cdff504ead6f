"""What stands between a sign-in and the pages."""

from collections.abc import Callable

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _

from .languages import language_of, speaking

CHANGE = "account_change_password"
STAY_OPEN = (CHANGE, "account_logout", "account_login", "account_reset_password")


def own_password_first(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Lead whoever signed in with a one-time password to choosing one of their own.

    Nobody may sign under a password that somebody else has seen, so nothing else opens.
    """

    def middleware(request: HttpRequest) -> HttpResponse:
        user = request.user
        if (
            user.is_authenticated
            and user.password_is_one_time
            and request.path not in map(reverse, STAY_OPEN)
        ):
            # The page that it leads to is in this language too.
            with speaking(language_of(user.person)):
                messages.warning(
                    request,
                    _("Your password was given to you by somebody else. Choose your own to go on."),
                )
            return redirect(CHANGE)
        return get_response(request)

    return middleware

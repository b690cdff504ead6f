"""What stands between a sign-in and the pages."""

from collections.abc import Callable

from allauth.account.adapter import get_adapter
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import logout
from django.core.exceptions import ImproperlyConfigured, PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from people.models import Role, User
from people.queries.languages import in_language, language_of
from people.queries.second_factors import lacks_second_factor
from people.services.sign_in_trail import record_signed_out


def client_address(request: HttpRequest) -> str:
    """The network address that a request comes from, past as many proxies as are one's own."""
    try:
        return get_adapter().get_client_ip(request)
    except (ImproperlyConfigured, PermissionDenied):
        return ""


def record_sign_out(*, user: User | None = None, **_more: object) -> None:
    """However somebody signs out: on the page, at a tablet, in Django's pages."""
    if isinstance(user, User):
        record_signed_out(user, at=timezone.now())


SIGNED_IN_AT = "signed_in_at"  # In the session: seconds since 1970.


def mark_sign_in(*, request: HttpRequest, **_more: object) -> None:
    """Count a session's hours from here: its owner has just shown who they are.

    The session gets another key with it, so nothing that is still under way writes over the mark.
    """
    request.session[SIGNED_IN_AT] = int(timezone.now().timestamp())


def end_old_sessions(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """End what was opened `SESSION_HOURS` ago, or before sessions had the mark.

    Every request counts the idle time anew, so a session that is kept busy would never end.
    """

    def middleware(request: HttpRequest) -> HttpResponse:
        user = request.user
        if user.is_authenticated and not is_kiosk(user):
            marked = request.session.get(SIGNED_IN_AT, 0)
            if timezone.now().timestamp() - marked >= settings.SESSION_HOURS * 3600:
                language = language_of(user.person)
                logout(request)
                with in_language(language):
                    messages.info(
                        request,
                        _("A session ends after %(n)d h. Sign in again to go on.")
                        % {"n": settings.SESSION_HOURS},
                    )
        return get_response(request)

    return middleware


def is_kiosk(user: User) -> bool:
    """Whoever is somebody is no kiosk, so people's requests ask nothing more here."""
    return user.person_id is None and user.has_role(Role.KIOSK)


def note_address(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Let whoever asks for a password know from where it is typed: tries are counted by it."""

    def middleware(request: HttpRequest) -> HttpResponse:
        if request.user.is_authenticated:
            request.user.from_address = client_address(request)
        return get_response(request)

    return middleware


SESSION_READ_ONLY = "by_pin"  # In the session of whoever opened a shared tablet for looking.
CHANGE_PAGE = "account_change_password"
OPEN_WITH_ONE_TIME_PASSWORD = (
    CHANGE_PAGE,
    "account_logout",
    "account_login",
    "account_reset_password",
    # A shared tablet is locked and changes hands whatever the password of who is signed in.
    "people:tablet",
    "people:tablet_open",
    "people:tablet_full",
    "people:tablet_lock",
    "people:tablet_awake",
)


def require_own_password(
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
            and request.path not in map(reverse, OPEN_WITH_ONE_TIME_PASSWORD)
        ):
            # The page that it leads to is in this language too.
            with in_language(language_of(user.person)):
                messages.warning(
                    request,
                    _("Your password was given to you by somebody else. Choose your own to go on."),
                )
            return redirect(CHANGE_PAGE)
        return get_response(request)

    return middleware


OPEN_WITHOUT_SECOND_FACTOR = (
    *OPEN_WITH_ONE_TIME_PASSWORD,
    "people:second_factor",
    "people:second_factor_app",
    "people:passkey_new",
    "people:passkey_options",
    "people:own_sign_in",
)


def require_second_factor(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Lead whoever has a role that needs a second factor, and has none, to setting one up.

    Badge and PIN at a shared tablet open for looking alone and ask for none.
    """

    def middleware(request: HttpRequest) -> HttpResponse:
        user = request.user
        if (
            user.is_authenticated
            and not request.session.get(SESSION_READ_ONLY)
            and lacks_second_factor(user)
            and request.path not in map(reverse, OPEN_WITHOUT_SECOND_FACTOR)
        ):
            with in_language(language_of(user.person)):
                messages.warning(
                    request,
                    _("Your role needs a second factor beside the password. Set one up to go on."),
                )
            return redirect("people:second_factor")
        return get_response(request)

    return middleware


KIOSK_OPENS = (
    "certification:home",
    "certification:bench_check",
    "account_login",
    "account_logout",
)


def restrict_kiosks(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[HttpRequest], HttpResponse]:
    """Close every page but the bench check to a kiosk, whatever else opens for whom.

    A kiosk stays signed in for `KIOSK_IDLE_DAYS` after its last check, over nights and
    restarts, since nobody there can sign in; an administrator ends its session by closing
    its sign-in or giving it another password.
    """

    def middleware(request: HttpRequest) -> HttpResponse:
        user = request.user
        if user.is_authenticated and is_kiosk(user):
            if request.path not in map(reverse, KIOSK_OPENS):
                raise PermissionDenied
            idle_s = settings.KIOSK_IDLE_DAYS * 24 * 3600
            session = request.session
            if session.get_expire_at_browser_close() or session.get_expiry_age() != idle_s:
                session.set_expiry(idle_s)
        return get_response(request)

    return middleware

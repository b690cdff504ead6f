"""Shared tablets, between a sign-in and the pages: locked after idling, and looking is not writing.

A browser is a shared tablet by a signed cookie that names its row; a session that was opened
there stays bound to the row, so that losing the cookie opens nothing. Kiosks are apart: nobody
signs in there, and they neither lock nor take PINs.
"""

from collections.abc import Callable
from contextlib import suppress
from datetime import timedelta
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login, logout
from django.core import signing
from django.db import IntegrityError
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.utils.crypto import constant_time_compare
from django.utils.http import url_has_allowed_host_and_scheme, urlencode
from django.utils.translation import get_language_from_request
from django.utils.translation import gettext as _

from people.models import SharedTablet, TabletUse, User
from people.queries.languages import in_language
from people.services.tablets import hash_token

from .languages import language_at
from .sign_ins import SESSION_READ_ONLY, is_kiosk, mark_sign_in

COOKIE = f"{settings.COOKIE_PREFIX}shared_tablet"
SALT = "training.shared_tablet"
COOKIE_AGE_S = 400 * 24 * 3600  # Browsers keep none longer.
SEEN_RESOLUTION = timedelta(seconds=10)  # When it was used is written so often at most.

# In the session; when it was used, and whether it is locked, is a row of `TabletUse`.
SESSION_TABLET = "tablet"

OPEN_WHEN_LOCKED = ("people:tablet", "people:tablet_open", "people:tablet_full")
READ_ONLY_MAY_POST = ("people:tablet_open", "people:tablet_full", "people:tablet_lock")
SIGN_OUT = "account_logout"
SAFE_METHODS = ("GET", "HEAD", "OPTIONS", "TRACE")


class TabletRequest(HttpRequest):
    """A request that has passed `shared_tablets`."""

    tablet: SharedTablet | None
    tablet_use: TabletUse | None
    """None where nobody is signed in, at a kiosk, and in any other browser: there nothing locks."""


def set_cookie(response: HttpResponse, tablet: SharedTablet, token: str) -> None:
    _set_signed(response, f"{tablet.pk}.{token}")


def _set_signed(response: HttpResponse, value: str) -> None:
    response.set_cookie(
        COOKIE,
        signing.Signer(salt=SALT).sign(value),
        max_age=COOKIE_AGE_S,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def tablet_of(request: HttpRequest) -> SharedTablet | None:
    """The shared tablet that a request comes from; None from any other browser."""
    try:
        value = signing.Signer(salt=SALT).unsign(request.COOKIES.get(COOKIE, ""))
    except signing.BadSignature:
        return None
    pk, _dot, token = value.partition(".")
    if not pk.isdecimal():
        return None
    tablet = SharedTablet.objects.in_use().select_related("site").filter(pk=pk).first()
    if tablet is None or not constant_time_compare(tablet.token_hash, hash_token(token)):
        return None
    return tablet


def _sign_again(request: HttpRequest, response: HttpResponse) -> None:
    """Sign a cookie by the `SECRET_KEY` of today, where one of before has signed it.

    So a tablet that is used while the key is changed needs the key of before no longer.
    """
    given = request.COOKIES.get(COOKIE, "")
    try:
        signing.Signer(salt=SALT, fallback_keys=[]).unsign(given)
    except signing.BadSignature:
        with suppress(signing.BadSignature):
            _set_signed(response, signing.Signer(salt=SALT).unsign(given))


def is_read_only(request: HttpRequest) -> bool:
    """Whether the session was opened by badge and PIN."""
    return bool(request.session.get(SESSION_READ_ONLY))


def is_locked(request: TabletRequest) -> bool:
    return request.tablet_use is not None and request.tablet_use.locked


def open_read_only(request: HttpRequest, user: User, tablet: SharedTablet) -> None:
    """Go on as this person, for looking; what the session held of anybody else is gone."""
    if request.user.is_authenticated and request.user.pk != user.pk:
        logout(request)
    login(request, user, backend=settings.AUTHENTICATION_BACKENDS[0])
    # Unlocked, and nothing that is still under way can give back what looking may not.
    request.session.cycle_key()
    request.session[SESSION_READ_ONLY] = True
    request.session[SESSION_TABLET] = tablet.pk


def open_fully(request: HttpRequest) -> None:
    """Whoever is signed in has proved it: unlocked, and more than looking."""
    request.session.cycle_key()
    request.session.pop(SESSION_READ_ONLY, None)
    mark_sign_in(request=request)


def lock(use: TabletUse) -> None:
    TabletUse.objects.filter(pk=use.pk).update(locked=True)
    use.locked = True


def shared_tablets(
    get_response: Callable[[HttpRequest], HttpResponse],
) -> Callable[[TabletRequest], HttpResponse]:
    """Lock a shared tablet that nobody has used for its site's minutes; keep looking from writing.

    A lock comes at most ten seconds late and never early.
    """

    def middleware(request: TabletRequest) -> HttpResponse:
        response = answer(request)
        if request.tablet is not None and settings.SECRET_KEY_FALLBACKS:
            _sign_again(request, response)
        return response

    def answer(request: TabletRequest) -> HttpResponse:
        request.tablet = tablet_of(request) if COOKIE in request.COOKIES else None
        request.tablet_use = None
        user, session = request.user, request.session
        if not user.is_authenticated:
            return get_response(request)
        bound_tablet = session.get(SESSION_TABLET)
        if request.tablet is None and bound_tablet is not None:
            in_use = SharedTablet.objects.in_use().select_related("site")
            request.tablet = in_use.filter(pk=bound_tablet).first()
            if request.tablet is None:
                return _end_shared_session(request, get_response)
        if request.tablet is not None and not is_kiosk(user):
            if bound_tablet != request.tablet.pk:
                session[SESSION_TABLET] = request.tablet.pk
            request.tablet_use = _track_use(session.session_key or "", request.tablet)
            if request.tablet_use.locked and not _is_open(request, OPEN_WHEN_LOCKED):
                return _never_cached(_redirect_to_lock(request))
        writes = request.method not in SAFE_METHODS and not _is_open(request, READ_ONLY_MAY_POST)
        if writes and session.get(SESSION_READ_ONLY):
            return _refuse_read_only(request)
        response = get_response(request)
        return _never_cached(response) if request.tablet is not None else response

    return middleware


def _track_use(session_key: str, tablet: SharedTablet) -> TabletUse:
    """Lock a session that idled for too long, else note that it did not."""
    now = timezone.now()
    try:
        use, _made = TabletUse.objects.get_or_create(
            session_id=session_key, defaults={"seen_at": now}
        )
    except IntegrityError:  # It ended between two questions of this very request.
        return TabletUse(session_id=session_key, seen_at=now, locked=True)
    idle = now - use.seen_at
    if not use.locked and idle > timedelta(minutes=tablet.site.lock_minutes) + SEEN_RESOLUTION:
        lock(use)
    elif not use.locked and idle >= SEEN_RESOLUTION:
        TabletUse.objects.filter(pk=use.pk).update(seen_at=now)
    return use


def _is_open(request: HttpRequest, names: tuple[str, ...]) -> bool:
    return request.path in {reverse(name) for name in (*names, SIGN_OUT)}


def _end_shared_session(
    request: HttpRequest, get_response: Callable[[HttpRequest], HttpResponse]
) -> HttpResponse:
    """A session of a tablet that is none any more: over, if it was for looking or locked."""
    use = TabletUse.objects.filter(session_id=request.session.session_key)
    if request.session.get(SESSION_READ_ONLY) or use.filter(locked=True).exists():
        logout(request)
        # The page that it leads to is in this language too.
        with in_language(get_language_from_request(request)):
            message = _("This tablet is no longer shared. Sign in with your password.")
        messages.warning(request, message)
        return redirect(settings.LOGIN_URL)
    use.delete()
    request.session.pop(SESSION_TABLET, None)
    return get_response(request)


def _redirect_to_lock(request: HttpRequest) -> HttpResponse:
    url = reverse("people:tablet") + f"?{urlencode({'next': return_url(request)})}"
    if request.headers.get("HX-Request") == "true":
        return HttpResponse(headers={"HX-Redirect": url})
    return redirect(url)


def return_url(request: HttpRequest) -> str:
    """The page to go back to: what was asked for, or where a form or a piece of it stood."""
    if request.method == "GET" and request.headers.get("HX-Request") != "true":
        return request.get_full_path()
    page = request.headers.get("HX-Current-URL") or request.headers.get("Referer") or ""
    parts = urlsplit(page)
    return safe_next(parts.path + (f"?{parts.query}" if parts.query else ""))


def safe_next(url: str) -> str:
    """An address of this site to go on to; the home page for anything else."""
    own = url.startswith("/") and url_has_allowed_host_and_scheme(url, allowed_hosts=None)
    return url if own else "/"


def _refuse_read_only(request: HttpRequest) -> HttpResponse:
    """403 with the sentence that says to sign in fully, in the form that was asked for."""
    message = _read_only_message()
    url = reverse("people:tablet_full") + f"?{urlencode({'next': return_url(request)})}"
    if request.headers.get("HX-Request") == "true":
        return HttpResponse(message, status=403, headers={"HX-Redirect": url})
    if request.get_preferred_type(["text/html", "application/json"]) == "application/json":
        return _never_cached(JsonResponse({"saved": False, "says": message}, status=403))
    with in_language(language_at(request)):
        context = {"says": _read_only_message(), "there": url}
        page = render(request, "people/read_only.html", context, status=403)
    return _never_cached(page)


def _read_only_message() -> str:
    return _("You are signed in to read only. Sign in fully with your password, then do it again.")


def _never_cached(response: HttpResponse) -> HttpResponse:
    """No page of a shared tablet comes back by the browser's way back."""
    if response.get("Content-Type", "").startswith(("text/html", "application/json")):
        add_never_cache_headers(response)
    return response

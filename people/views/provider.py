"""Signing in at a provider, linking oneself to it, and a fresh sign-in there as proof."""

from collections.abc import Callable
from functools import wraps
from typing import Any
from urllib.parse import urlsplit

from allauth.account.utils import perform_login
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from people.access import UserRequest, View
from people.exceptions import PeopleError
from people.forms.second_factor import ProvenForm
from people.middleware.sign_ins import client_address
from people.middleware.tablets import safe_next
from people.services import provider, provider_links
from people.services.sign_in_trail import REFUSED, record_bounded

from .second_factor import FORM_METHODS, proves

FLOW = "provider_flow"  # In the session, until the browser is back.
PROOF_OF_LINK = "provider_link_proof"
OVERVIEW = "people:second_factor"


def where_set_up(view: View) -> View:
    """Answer as if there were no such page where the site has no provider."""

    @wraps(view)
    def wrapper(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if provider.is_set_up():
            return view(request, *args, **kwargs)
        if request.user.is_authenticated:
            raise Http404
        return redirect("account_login")

    return wrapper


def _leave(request: HttpRequest, purpose: str, next_url: str, otherwise: str) -> HttpResponse:
    """Send the browser to the provider, by a page: a form may not lead to another site."""
    try:
        flow, address = provider.begin(purpose, next_url, timezone.now())
    except PeopleError as error:
        messages.error(request, str(error))
        return redirect(otherwise)
    request.session[FLOW] = flow.kept()
    context = {"address": address, "provider_name": settings.OIDC_NAME}
    return render(request, "people/provider_leave.html", context)


@never_cache
@require_POST
@where_set_up
def begin(request: HttpRequest) -> HttpResponse:
    """Sign in at the provider."""
    if request.user.is_authenticated:
        return redirect("/")
    next_url = safe_next(request.POST.get("next", ""))
    return _leave(request, provider.SIGN_IN, next_url, "account_login")


@never_cache
@require_http_methods(FORM_METHODS)
@login_required
@where_set_up
def begin_proof(request: UserRequest) -> HttpResponse:
    """Sign in there anew, and come back to the page that signs."""
    if request.method != "POST":
        came_from = urlsplit(request.headers.get("Referer", ""))
        query = f"?{came_from.query}" if came_from.query else ""
        context = {
            "next": safe_next(came_from.path + query),
            "provider_name": settings.OIDC_NAME,
        }
        return render(request, "people/provider_proof.html", context)
    next_url = safe_next(request.POST.get("next", ""))
    if provider_links.link_of(request.user) is None:
        messages.error(request, _("You are not linked to anybody there."))
        return redirect(next_url)
    return _leave(request, provider.PROOF, next_url, next_url)


@sensitive_post_parameters()
@never_cache
@require_http_methods(FORM_METHODS)
@login_required
@where_set_up
def link(request: UserRequest) -> HttpResponse:
    """Prove who one is here, then sign in there, to be known by it from then on."""
    return _proven(request, "link", _begin_link)


def _begin_link(request: UserRequest, proof: str) -> HttpResponse:
    request.session[PROOF_OF_LINK] = proof
    return _leave(request, provider.LINK, "", OVERVIEW)


@sensitive_post_parameters()
@never_cache
@require_http_methods(FORM_METHODS)
@login_required
@where_set_up
def unlink(request: UserRequest) -> HttpResponse:
    return _proven(request, "unlink", _unlink)


def _unlink(request: UserRequest, proof: str) -> HttpResponse:
    provider_links.unlink_provider(user=request.user, proof=proof, at=timezone.now())
    messages.success(request, _("You are no longer linked to anybody there."))
    return redirect(OVERVIEW)


def _proven(
    request: UserRequest, what: str, act: Callable[[UserRequest, str], HttpResponse]
) -> HttpResponse:
    form = ProvenForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid() and (proof := proves(request, form)):
        return act(request, proof)
    context = {"form": form, "what": what, "provider_name": settings.OIDC_NAME}
    status = 422 if form.is_bound else 200
    return render(request, "people/provider_link.html", context, status=status)


@never_cache
@require_safe
@where_set_up
def back(request: HttpRequest) -> HttpResponse:
    """The browser comes back from the provider."""
    kept, at = request.session.pop(FLOW, None), timezone.now()
    proof = request.session.pop(PROOF_OF_LINK, "")
    signed_in = request.user.is_authenticated
    try:
        flow, subject = provider.subject_of(kept, request.GET.dict(), at)
        if flow.purpose == provider.SIGN_IN:
            return _sign_in(request, subject, flow.next_url)
        if not request.user.is_authenticated:
            return redirect("account_login")
        if flow.purpose == provider.LINK:
            provider_links.link_provider(user=request.user, subject=subject, proof=proof, at=at)
            messages.success(request, _("You are linked. You may sign in there from now on."))
            return redirect(OVERVIEW)
        ticket = provider_links.give_ticket(request.user, subject, at)
        request.session[provider_links.PROVIDER_TICKET] = ticket
        return redirect(safe_next(flow.next_url))
    except PeopleError as error:
        if not signed_in and kept is not None:
            record_bounded(REFUSED, None, address=client_address(request), at=at)
        messages.error(request, str(error))
        is_proof = kept is not None and kept.get("purpose") == provider.PROOF
        next_url = safe_next(kept.get("next_url", "")) if is_proof and kept else OVERVIEW
        return redirect(next_url if signed_in else "account_login")


def _sign_in(request: HttpRequest, subject: str, next_url: str) -> HttpResponse:
    """Sign in whom the provider knows; a second factor is asked for as after a password."""
    if request.user.is_authenticated:
        return redirect(safe_next(next_url))
    user = provider_links.user_of(subject, timezone.now())
    if user is None:
        raise PeopleError(
            _(
                "Whoever signed in there is linked to no open sign-in here. Sign in by password, "
                "then link yourself under Second factor."
            )
        )
    user.proved_with = "provider"
    return perform_login(request, user, redirect_url=safe_next(next_url))

"""One's own second factor: set up, removed, given when signing in."""

from typing import Any

from allauth.account.internal.decorators import login_stage_required
from allauth.mfa.adapter import get_adapter
from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from people.access import UserRequest
from people.exceptions import PeopleError, ProofRefused, WrongPassword
from people.forms.second_factor import AppForm, PasskeyForm, ProvenForm, SignInCodeForm
from people.middleware.sign_ins import client_address
from people.models import User
from people.queries.second_factors import second_factors_of
from people.services import passkeys, provider, provider_links
from people.services import second_factors as services
from people.services.kept_secrets import decrypt, encrypt
from people.services.proof import prove_identity

from .sign_in_stages import SecondFactorStage

FORM_METHODS = ["GET", "HEAD", "POST"]
WAITING = "second_factor_waits"  # The secret in the session, encrypted, until a code has shown it.


@never_cache
@require_safe
@login_required
def second_factor(request: UserRequest) -> HttpResponse:
    factors = second_factors_of(request.user)
    context = {
        "factors": factors,
        "needed": request.user.needs_second_factor,
        "passkeys_possible": passkeys.are_possible(),
        "provider_name": settings.OIDC_NAME if provider.is_set_up() else "",
        "link": provider_links.link_of(request.user) if provider.is_set_up() else None,
        "zone": request.user.person.site.zone if request.user.person else None,
    }
    return render(request, "people/second_factor.html", context)


@sensitive_post_parameters()
@never_cache
@require_http_methods(FORM_METHODS)
@login_required
def app(request: UserRequest) -> HttpResponse:
    """Set up an app: its secret, and password and code under it."""
    user = request.user
    if second_factors_of(user).app is not None:
        return redirect("people:second_factor")
    if WAITING not in request.session:
        request.session[WAITING] = encrypt(services.new_secret())
    secret = decrypt(request.session[WAITING])
    form = AppForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid() and proves(request, form):
        try:
            codes = services.enrol_app(
                user=user, secret=secret, code=form.cleaned_data["code"], at=timezone.now()
            )
        except PeopleError as error:
            form.add_error("code", str(error))
        else:
            del request.session[WAITING]
            messages.success(request, _("The app is set up. From now on you are asked for a code."))
            return render_codes(request, codes)
    context = {
        "form": form,
        "secret": " ".join(secret[n : n + 4] for n in range(0, len(secret), 4)),
        "address": get_adapter().build_totp_url(user, secret),
    }
    status = 422 if form.is_bound else 200
    return render(request, "people/second_factor_app.html", context, status=status)


def proves(request: UserRequest, form: forms.Form) -> str:
    """The proof that a form gives for what is done with second factors; empty where it errs."""
    try:
        return prove_identity(request.user, form.cleaned_data["password"], of_factors=True)
    except WrongPassword:
        form.add_error("password", _("That is not your password. Type it again, or reset it."))
    except ProofRefused as error:
        form.add_error("password", str(error))
    return ""


def render_codes(request: UserRequest, codes: list[str]) -> HttpResponse:
    """Recovery codes, shown once; whoever has some already goes back to the overview."""
    if not codes:
        return redirect("people:second_factor")
    groups = [f"{code[:4]} {code[4:]}" for code in codes]
    return render(request, "people/recovery_codes.html", {"codes": groups})


@sensitive_post_parameters()
@never_cache
@require_http_methods(FORM_METHODS)
@login_required
def recovery_codes(request: UserRequest) -> HttpResponse:
    """Have new recovery codes made, which voids those there were."""
    if not second_factors_of(request.user):
        return redirect("people:second_factor")
    form = ProvenForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid() and (proof := proves(request, form)):
        try:
            codes = services.renew_recovery_codes(user=request.user, proof=proof, at=timezone.now())
        except PeopleError as error:
            form.add_error(None, str(error))
        else:
            return render_codes(request, codes)
    context = {"form": form, "what": "codes"}
    status = 422 if form.is_bound else 200
    return render(request, "people/second_factor_prove.html", context, status=status)


@sensitive_post_parameters()
@never_cache
@require_http_methods(FORM_METHODS)
@login_required
def remove(request: UserRequest, authenticator_id: int) -> HttpResponse:
    """Remove one's app or a passkey."""
    factors = second_factors_of(request.user)
    theirs = [*factors.passkeys, *([factors.app] if factors.app else [])]
    factor = next((each for each in theirs if each.pk == authenticator_id), None)
    if factor is None:
        return redirect("people:second_factor")
    form = ProvenForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid() and (proof := proves(request, form)):
        try:
            services.remove_factor(
                user=request.user,
                authenticator_id=authenticator_id,
                proof=proof,
                at=timezone.now(),
            )
        except PeopleError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("It is removed."))
            return redirect("people:second_factor")
    context = {
        "form": form,
        "what": "app" if factor is factors.app else "passkey",
        "name": factor.data.get("name", ""),
        "is_last": len(theirs) == 1,
        "needed": request.user.needs_second_factor,
    }
    status = 422 if form.is_bound else 200
    return render(request, "people/second_factor_prove.html", context, status=status)


@sensitive_post_parameters()
@never_cache
@require_http_methods(FORM_METHODS)
@login_stage_required(stage=SecondFactorStage.key, redirect_urlname="account_login")
def authenticate(request: HttpRequest) -> HttpResponse:
    """Between password and pages: the second factor of who has one."""
    stage: Any = request._login_stage  # type: ignore[attr-defined]
    user = stage.login.user
    if not stage.still_holds():
        return stage.abort()
    user.from_address = client_address(request)
    form = SignInCodeForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        data, at = form.cleaned_data, timezone.now()
        try:
            if data["passkey"]:
                purpose = passkeys.Purpose.SIGN_IN
                user.proved_with = passkeys.use_passkey(user, data["passkey"], purpose, at)
            else:
                user.proved_with = services.use_code(user, data["code"], at)
        except ProofRefused as error:
            form.add_error("code", str(error))
        else:
            return stage.exit()
    factors = second_factors_of(user)
    context = {"form": form, "with_passkey": factors.passkeys and passkeys.are_possible()}
    status = 422 if form.is_bound else 200
    return render(request, "people/second_factor_sign_in.html", context, status=status)


@never_cache
@require_POST
@login_stage_required(stage=SecondFactorStage.key, redirect_urlname="account_login")
def sign_in_options(request: HttpRequest) -> HttpResponse:
    """What the browser of who is signing in is asked to show a passkey by."""
    stage: Any = request._login_stage  # type: ignore[attr-defined]
    if not stage.still_holds():
        return stage.abort()
    return _options(stage.login.user, passkeys.Purpose.SIGN_IN)


@never_cache
@require_POST
@login_required
def proof_options(request: UserRequest) -> HttpResponse:
    """The same for who proves who they are under a signature."""
    return _options(request.user, passkeys.Purpose.PROOF)


@never_cache
@require_POST
@login_required
def registration_options(request: UserRequest) -> HttpResponse:
    """What a browser is asked to make a passkey by."""
    if not passkeys.are_possible():
        return _impossible()
    return JsonResponse(passkeys.registration_options(request.user, timezone.now()))


def _impossible() -> HttpResponse:
    return JsonResponse({"says": _("Browsers take no passkeys at this address.")}, status=422)


def _options(user: User, purpose: str) -> HttpResponse:
    if not passkeys.are_possible():
        return _impossible()
    try:
        return JsonResponse(passkeys.options_for_use(user, purpose, timezone.now()))
    except PeopleError as error:
        return JsonResponse({"says": str(error)}, status=422)


@sensitive_post_parameters()
@never_cache
@require_http_methods(FORM_METHODS)
@login_required
def passkey_new(request: UserRequest) -> HttpResponse:
    """Register a passkey that the browser makes."""
    if not passkeys.are_possible():
        return redirect("people:second_factor")
    form = PasskeyForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid() and proves(request, form):
        try:
            codes = passkeys.register_passkey(
                user=request.user,
                name=form.cleaned_data["name"],
                answer=form.cleaned_data["credential"],
                at=timezone.now(),
            )
        except PeopleError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("The passkey is registered."))
            return render_codes(request, codes)
    status = 422 if form.is_bound else 200
    return render(request, "people/passkey_new.html", {"form": form}, status=status)

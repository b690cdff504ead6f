"""Shared tablets: declared, locked, opened by badge and PIN for looking, or in full."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core import signing
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from people import access
from people.access import UserRequest, role_required
from people.exceptions import (
    PeopleError,
    PrintedPinGiven,
    ProofRefused,
    TabletRefused,
    WrongPassword,
)
from people.forms.tablets import (
    BadgeForm,
    OwnPinForm,
    PinForm,
    RemovePinForm,
    TabletForm,
    TabletPasswordForm,
)
from people.middleware import tablets
from people.models import BadgePin, Role, SharedTablet
from people.services import tablets as services
from people.services.proof import prove_identity

FORM_METHODS = ["GET", "HEAD", "POST"]
PRINTED_PIN = "people.printed_pin"
PRINTED_PIN_LASTS_S = 600


class TabletUserRequest(UserRequest, tablets.TabletRequest):
    """A request of somebody who is signed in, or at a tablet of nobody."""


@never_cache
@require_http_methods(FORM_METHODS)
@role_required(Role.INSTRUCTOR, Role.ADMINISTRATOR)
def tablet_list(request: TabletUserRequest) -> HttpResponse:
    """The shared tablets of one's sites, and a form that makes this browser one."""
    form = TabletForm(
        request.POST if request.method == "POST" else None,
        sites=access.sites_sharing_tablets(request.user),
    )
    if request.method == "POST" and form.is_valid():
        try:
            if request.tablet is not None:
                raise PeopleError(
                    _("This browser is the shared tablet %(name)s already.")
                    % {"name": request.tablet}
                )
            tablet, token = services.declare_tablet(
                **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except PeopleError as error:
            form.add_error(None, str(error))
        else:
            messages.success(
                request,
                _("This browser is the shared tablet %(name)s. It locks after %(n)d minutes.")
                % {"name": tablet, "n": tablet.site.lock_minutes},
            )
            response = redirect("people:tablet_list")
            tablets.set_cookie(response, tablet, token)
            return response
    context = {
        "tablets": access.tablets_managed_by(request.user).order_by(
            "revoked_at", "site__name", "name"
        ),
        "form": form,
        "this": request.tablet,
    }
    status = 422 if form.is_bound else 200
    return render(request, "people/tablet_list.html", context, status=status)


@require_POST
@login_required
def tablet_revoke(request: TabletUserRequest, tablet_id: int) -> HttpResponse:
    tablet = access.tablet_for_manager(request.user, tablet_id)
    services.revoke_tablet(tablet=tablet, actor=request.user, at=timezone.now())
    messages.success(request, _("%(name)s is no longer a shared tablet.") % {"name": tablet})
    return redirect("people:tablet_list")


def _tablet_or_404(request: TabletUserRequest) -> SharedTablet:
    """The tablet that the request comes from; 404 where the browser is none."""
    if request.tablet is None:
        raise Http404
    return request.tablet


def _render_tablet(
    request: TabletUserRequest,
    *,
    badge_form: BadgeForm | None = None,
    password_form: TabletPasswordForm | None = None,
) -> HttpResponse:
    data = request.POST if request.method == "POST" else request.GET
    # Whoever came to prove themselves types a password; whoever came to a locked tablet, a badge.
    is_password_first = request.path == reverse("people:tablet_full") and (
        tablets.is_locked(request) or tablets.is_read_only(request)
    )
    password_form = password_form or TabletPasswordForm(was_looking=tablets.is_read_only(request))
    if is_password_first:
        password_form.fields["password"].widget.attrs["autofocus"] = True
    context = {
        "tablet": request.tablet,
        "locked": tablets.is_locked(request),
        "looking": tablets.is_read_only(request),
        "badge_form": badge_form or BadgeForm(),
        "full_form": password_form,
        "full_first": is_password_first,
        "next": tablets.safe_next(data.get("next", "")),
    }
    status = 422 if badge_form or password_form.is_bound else 200
    return render(request, "people/tablet.html", context, status=status)


def _is_anonymous_without_tablet(request: HttpRequest) -> bool:
    """Whether nobody is signed in, on a browser that is no shared tablet."""
    return tablets.tablet_of(request) is None and not request.user.is_authenticated


@never_cache
@require_safe
def tablet(request: TabletUserRequest) -> HttpResponse:
    """The page of a locked tablet, which also changes who uses one that is open."""
    if _is_anonymous_without_tablet(request):
        return redirect("account_login")
    _tablet_or_404(request)
    return _render_tablet(request)


@sensitive_post_parameters("badge", "pin", "again")
@never_cache
@require_POST
def tablet_open(request: TabletUserRequest) -> HttpResponse:
    """Go on by badge and PIN, for looking; the same person unlocks what was locked."""
    if _is_anonymous_without_tablet(request):
        return redirect("account_login")
    shared_tablet = _tablet_or_404(request)
    if "printed" in request.POST:
        return _choose_pin(request, shared_tablet)
    form = BadgeForm(request.POST)
    if form.is_valid():
        try:
            user = services.open_by_badge(
                tablet=shared_tablet, at=timezone.now(), **form.cleaned_data
            )
        except PrintedPinGiven as given:
            token = signing.dumps(given.code_id, salt=PRINTED_PIN)
            return _render_choose_pin(request, shared_tablet, OwnPinForm(), token)
        except TabletRefused as error:
            form.add_error(None, str(error))
        else:
            is_same_user = request.user.is_authenticated and request.user.pk == user.pk
            tablets.open_read_only(request, user, shared_tablet)
            next_url = tablets.safe_next(request.POST.get("next", "")) if is_same_user else "/"
            return redirect(next_url)
    return _render_tablet(request, badge_form=form)


def _choose_pin(request: TabletUserRequest, shared_tablet: SharedTablet) -> HttpResponse:
    """Choose a PIN after a printed one was given here, and go on by it."""
    token = request.POST.get("printed", "")
    form = OwnPinForm(request.POST)
    try:
        code_id = signing.loads(token, salt=PRINTED_PIN, max_age=PRINTED_PIN_LASTS_S)
    except signing.BadSignature:
        badge_form = BadgeForm({})
        badge_form.errors.clear()
        badge_form.add_error(None, _("That took too long. Give badge and printed PIN once more."))
        return _render_tablet(request, badge_form=badge_form)
    if form.is_valid():
        try:
            user = services.choose_pin(
                code_id=code_id, pin=form.cleaned_data["pin"], at=timezone.now()
            )
        except PeopleError as error:
            form.add_error("pin", str(error))
        else:
            tablets.open_read_only(request, user, shared_tablet)
            messages.success(request, _("Your PIN is set. From now on it opens beside your badge."))
            return redirect("/")
    return _render_choose_pin(request, shared_tablet, form, token)


def _render_choose_pin(
    request: TabletUserRequest, shared_tablet: SharedTablet, form: OwnPinForm, token: str
) -> HttpResponse:
    context = {"tablet": shared_tablet, "form": form, "printed": token}
    return render(request, "people/tablet_pin.html", context, status=422 if form.is_bound else 200)


@sensitive_post_parameters("password")
@never_cache
@require_http_methods(FORM_METHODS)
@login_required
def tablet_full(request: TabletUserRequest) -> HttpResponse:
    """Unlock in full, or go on from looking, by one's password."""
    if request.tablet is None and not tablets.is_read_only(request):
        raise Http404
    if request.method != "POST":
        return _render_tablet(request)
    was_looking = tablets.is_read_only(request)
    form = TabletPasswordForm(request.POST, was_looking=was_looking)
    if form.is_valid():
        try:
            services.prove_password_at_tablet(
                user=request.user,
                password=form.cleaned_data["password"],
                was_looking=was_looking,
                tablet=request.tablet,
                at=timezone.now(),
            )
        except TabletRefused as error:
            form.add_error("password", str(error))
        else:
            tablets.open_fully(request)
            return redirect(tablets.safe_next(request.POST.get("next", "")))
    return _render_tablet(request, password_form=form)


@csrf_exempt
@require_POST
@login_required
def tablet_lock(request: TabletUserRequest) -> HttpResponse:
    """Lock at once, by the button or by the page's script when nobody has used it.

    A window that was open before somebody signed in locks too, although its token is an
    earlier one's: locking is all that comes of it, and from other sites no session is sent.
    """
    _tablet_or_404(request)
    if request.tablet_use is not None:
        tablets.lock(request.tablet_use)
    return redirect("people:tablet")


@never_cache
@require_safe
@login_required
def tablet_awake(request: TabletUserRequest) -> HttpResponse:
    """Somebody types or taps without asking for a page: the time is counted anew."""
    _tablet_or_404(request)
    return HttpResponse(status=204)


@sensitive_post_parameters("pin", "again", "password")
@never_cache
@require_http_methods(FORM_METHODS)
@login_required
def pin(request: UserRequest) -> HttpResponse:
    """One's own badge and PIN, set or given up under one's password."""
    badge_pin = BadgePin.objects.filter(user=request.user).first()
    is_removal = request.POST.get("act") == "remove"
    form = PinForm(
        request.POST if request.method == "POST" and not is_removal else None,
        initial={"badge": badge_pin.badge if badge_pin else ""},
    )
    remove_form = RemovePinForm(request.POST if is_removal else None, prefix="remove")
    bound_form = remove_form if is_removal else form
    if request.method == "POST" and bound_form.is_valid():
        data = bound_form.cleaned_data
        try:
            proof = prove_identity(request.user, data["password"])
            if is_removal:
                services.remove_pin(user=request.user, at=timezone.now())
            else:
                services.set_pin(
                    user=request.user,
                    pin=data["pin"],
                    badge=data["badge"],
                    proof=proof,
                    at=timezone.now(),
                )
        except WrongPassword:
            bound_form.add_error(
                "password", _("That is not your password. Type it again, or reset it.")
            )
        except ProofRefused as error:
            bound_form.add_error("password", str(error))
        except PeopleError as error:
            bound_form.add_error("pin", str(error))
        else:
            message = _("Your PIN is given up.") if is_removal else _("Your badge and PIN are set.")
            messages.success(request, message)
            return redirect("people:pin")
    context = {"kept": badge_pin, "form": form, "remove_form": remove_form}
    status = 422 if request.method == "POST" else 200
    return render(request, "people/pin.html", context, status=status)

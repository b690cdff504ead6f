"""Kiosks, which open the bench check alone: for administrators."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from people import access
from people.access import UserRequest, role_required
from people.exceptions import PeopleError
from people.forms.kiosks import KioskForm
from people.models import Role, User
from people.services import kiosks as services


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ADMINISTRATOR)
def kiosk_list(request: UserRequest) -> HttpResponse:
    """The kiosks at the administrator's sites, and a form to make one more."""
    form = KioskForm(
        request.POST if request.method == "POST" else None,
        sites=access.sites_administered_by(request.user),
    )
    if request.method == "POST" and form.is_valid():
        try:
            kiosk, password = services.make_kiosk(
                **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except PeopleError as error:
            form.add_error(None, str(error))
        else:
            return _render_password_once(request, kiosk, password)
    kiosks = access.kiosks_administered_by(request.user).prefetch_related("roles__site")
    context = {"kiosks": kiosks, "form": form}
    status = 422 if form.is_bound else 200
    return render(request, "people/kiosk_list.html", context, status=status)


@never_cache
@require_POST
@login_required
def kiosk_password(request: UserRequest, name: str) -> HttpResponse:
    kiosk = access.kiosk_for_administrator(request.user, name)
    password = services.give_kiosk_password(kiosk=kiosk, actor=request.user, at=timezone.now())
    return _render_password_once(request, kiosk, password)


@require_POST
@login_required
def kiosk_switch(request: UserRequest, name: str) -> HttpResponse:
    kiosk = access.kiosk_for_administrator(request.user, name)
    active = request.POST.get("act") == "open"
    services.set_kiosk_active(kiosk=kiosk, active=active, actor=request.user, at=timezone.now())
    message = _("%(name)s may check again.") if active else _("%(name)s is closed and signed out.")
    messages.success(request, message % {"name": kiosk.employee_number})
    return redirect("people:kiosk_list")


def _render_password_once(request: UserRequest, kiosk: User, password: str) -> HttpResponse:
    context = {"kiosk": kiosk, "password": password}
    return render(request, "people/kiosk_once.html", context)

"""Tokens of programs that ask the bench check: for administrators."""

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from interfaces import access
from interfaces.exceptions import InterfaceError
from interfaces.forms.api_tokens import ApiTokenForm
from interfaces.services import api_tokens as services
from people.access import UserRequest, role_required, sites_administered_by
from people.models import Role


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ADMINISTRATOR)
def api_token_list(request: UserRequest) -> HttpResponse:
    """The tokens of the administrator's sites, and a form to make one more."""
    form = ApiTokenForm(
        request.POST if request.method == "POST" else None,
        sites=sites_administered_by(request.user),
    )
    if request.method == "POST" and form.is_valid():
        try:
            made, token = services.make_token(
                **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except InterfaceError as error:
            form.add_error(None, str(error))
        else:
            context = {"made": made, "token": token, "public_url": settings.PUBLIC_URL}
            return render(request, "interfaces/api_token_once.html", context)
    context = {
        "tokens": access.api_tokens_administered_by(request.user),
        "form": form,
        "a_minute": settings.API_REQUESTS_A_MINUTE,
        "public_url": settings.PUBLIC_URL,
    }
    status = 422 if form.is_bound else 200
    return render(request, "interfaces/api_token_list.html", context, status=status)


@require_POST
@login_required
def api_token_revoke(request: UserRequest, token_id: int) -> HttpResponse:
    token = access.api_token_for_administrator(request.user, token_id)
    services.revoke_token(token=token, actor=request.user, at=timezone.now())
    messages.success(
        request,
        _("%(name)s is revoked: nobody gets an answer by it any more.") % {"name": token.name},
    )
    return redirect("interfaces:api_token_list")

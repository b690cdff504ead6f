"""Web hooks and what became of everything sent to them: for administrators."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from interfaces import access
from interfaces.exceptions import InterfaceError
from interfaces.forms.web_hooks import DeliveriesForm, HookForm
from interfaces.models import WebHookDelivery
from interfaces.services import web_hooks as services
from people.access import UserRequest, role_required, sites_administered_by
from people.models import Role

DELIVERIES_A_PAGE = 50

SHAPES = {
    WebHookDelivery.State.ACCEPTED: ("accept", "is-accept"),
    WebHookDelivery.State.WAITING: ("open", "is-none"),
    WebHookDelivery.State.RETRIED: ("unsaved", "is-caution"),
    WebHookDelivery.State.FAILED: ("reject", "is-reject"),
    WebHookDelivery.State.STOPPED: ("na", "is-none"),
}


@require_safe
@role_required(Role.ADMINISTRATOR)
def hook_list(request: UserRequest) -> HttpResponse:
    hooks = access.hooks_administered_by(request.user).with_list_columns()
    return render(request, "interfaces/hook_list.html", {"hooks": hooks})


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.ADMINISTRATOR)
@never_cache
def hook_new(request: UserRequest) -> HttpResponse:
    """Make a web hook; its secret is shown in the answer and never again."""
    form = HookForm(
        request.POST if request.method == "POST" else None,
        sites=sites_administered_by(request.user),
    )
    if request.method == "POST" and form.is_valid():
        try:
            hook = services.make_hook(**form.cleaned_data, actor=request.user, at=timezone.now())
        except InterfaceError as error:
            form.add_error("address", str(error))
        else:
            return render(request, "interfaces/hook_made.html", {"hook": hook})
    status = 422 if form.is_bound else 200
    return render(request, "interfaces/hook_form.html", {"form": form}, status=status)


@require_POST
@role_required(Role.ADMINISTRATOR)
def hook_stop(request: UserRequest, hook_id: int) -> HttpResponseRedirect:
    hook = access.hook_for_administrator(request.user, hook_id)
    try:
        services.stop_hook(hook=hook, actor=request.user, at=timezone.now())
    except InterfaceError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("Nothing more goes to %(name)s.") % {"name": hook.name})
    return redirect("interfaces:hook_list")


@require_safe
@role_required(Role.ADMINISTRATOR)
def hook_deliveries(request: UserRequest) -> HttpResponse:
    form = DeliveriesForm(request.GET, hooks=access.hooks_administered_by(request.user))
    form.is_valid()
    mine = access.deliveries_administered_by(request.user)
    page = Paginator(form.narrowed(mine).with_list_columns(), DELIVERIES_A_PAGE).get_page(
        request.GET.get("page")
    )
    return render(
        request,
        "interfaces/hook_deliveries.html",
        {
            "form": form,
            "page": page,
            "shown": [(delivery, *SHAPES[delivery.state]) for delivery in page],
            "failed": mine.in_state(WebHookDelivery.State.FAILED).count(),
            "retried": mine.in_state(WebHookDelivery.State.RETRIED).count(),
            "any": page.paginator.count or mine.exists(),
        },
    )


@require_POST
@role_required(Role.ADMINISTRATOR)
def hook_delivery_send_again(request: UserRequest, delivery_id: int) -> HttpResponseRedirect:
    delivery = access.delivery_for_administrator(request.user, delivery_id)
    try:
        services.send_again(delivery=delivery, actor=request.user, at=timezone.now())
    except InterfaceError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("It goes out with the next round, with the same id."))
    return redirect("interfaces:hook_deliveries")

"""Operations of a routing: read by everybody, kept by quality."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from certification import access
from certification.exceptions import CertificationError
from certification.forms.scopes import OperationForm, OperationsForm
from certification.models import Operation, Scope
from certification.services import routing_operations as services
from people.access import UserRequest, role_required
from people.models import Role

from .schemes import FORM_METHODS


@require_safe
@login_required
def operation_list(request: UserRequest) -> HttpResponse:
    return _show_list(request)


def _show_list(request: UserRequest, form: OperationsForm | None = None) -> HttpResponse:
    context = {
        "operations": Operation.objects.select_related("scope").order_by("code"),
        "form": form or OperationsForm(),
        "may_keep": access.may_publish(request.user),
        "are_scopes": Scope.objects.exists(),
    }
    status = 422 if form is not None else 200
    return render(request, "certification/operation_list.html", context, status=status)


@require_POST
@role_required(Role.QUALITY)
def operation_add(request: UserRequest) -> HttpResponse:
    """Take in what was pasted: all of it, or nothing."""
    form = OperationsForm(request.POST)
    if form.is_valid():
        try:
            new, there = services.add_operations(
                rows=form.cleaned_data["rows"], actor=request.user, at=timezone.now()
            )
        except CertificationError as error:
            form.add_error("rows", str(error))
        else:
            added = ngettext("%(n)d operation is added.", "%(n)d operations are added.", new)
            said = added % {"n": new}
            if there:
                stayed = ngettext("%(n)d was there already.", "%(n)d were there already.", there)
                said = f"{said} {stayed % {'n': there}}"
            messages.success(request, said)
            return redirect("certification:operation_list")
    return _show_list(request, form)


@require_http_methods(FORM_METHODS)
@role_required(Role.QUALITY)
def operation_edit(request: UserRequest, operation_id: int) -> HttpResponse:
    operation = access.operation_by_id(operation_id)
    form = OperationForm(request.POST if request.method == "POST" else None, operation=operation)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            services.change_operation(
                operation=operation,
                code=data["code"],
                scope=data["scope"],
                shown=_shown(data["shown_code"], data["shown_scope"]),
                actor=request.user,
                at=timezone.now(),
            )
        except CertificationError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("What changed is saved."))
            return redirect("certification:operation_list")
    context = {"form": form, "operation": operation}
    status = 422 if form.is_bound else 200
    return render(request, "certification/operation_form.html", context, status=status)


def _shown(code: str, scope_code: str) -> services.Routed:
    """What the page showed; a scope that there is none of is unlike any."""
    scope = Scope.objects.filter(code=scope_code).first() or Scope()
    return services.Routed(code, scope)


@require_POST
@role_required(Role.QUALITY)
def operation_remove(request: UserRequest, operation_id: int) -> HttpResponse:
    operation = access.operation_by_id(operation_id)
    shown = _shown(request.POST.get("shown_code", ""), request.POST.get("shown_scope", ""))
    try:
        services.remove_operation(
            operation=operation, shown=shown, actor=request.user, at=timezone.now()
        )
    except CertificationError as error:
        messages.error(request, str(error))
        return redirect("certification:operation_list")
    messages.success(request, _("%(operation)s is removed.") % {"operation": operation.code})
    return redirect("certification:operation_list")

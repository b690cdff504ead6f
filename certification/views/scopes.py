"""Scopes: read by everybody, kept by quality."""

import json
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import F
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from certification import access
from certification.exceptions import CertificationError, ChangedMeanwhile
from certification.forms.scopes import ReasonForm, ScopeForm
from certification.models import SchemeRevision, Scope
from certification.models.schemes import operators_first
from certification.queries import scope_use
from certification.services import scopes as services
from certification.services.schemes import create_scope
from people.access import UserRequest, role_required, today_for
from people.models import Role
from training.models import JointType

from .schemes import FORM_METHODS


@require_safe
@login_required
def scope_list(request: UserRequest) -> HttpResponse:
    """Every scope, retired ones last, with the schemes in force that cover it."""
    retired_last = F("retired_at").asc(nulls_first=True)
    scopes = list(Scope.objects.order_by(retired_last, operators_first(), "title"))
    in_force: dict[int, list[SchemeRevision]] = {scope.pk: [] for scope in scopes}
    for revision in SchemeRevision.objects.in_force().prefetch_related("scopes"):
        for scope in revision.scopes.all():
            in_force[scope.pk].append(revision)
    context = {
        "rows": [
            {"scope": scope, "joint_types": joint_types_said(scope), "schemes": in_force[scope.pk]}
            for scope in scopes
        ],
        "may_keep": access.may_publish(request.user),
    }
    return render(request, "certification/scope_list.html", context)


def joint_types_said(scope: Scope) -> str:
    labels = dict(JointType.choices)
    return ", ".join(str(labels.get(name, name)) for name in scope.joint_types)


@require_http_methods(FORM_METHODS)
@role_required(Role.QUALITY)
def scope_new(request: UserRequest) -> HttpResponse:
    form = ScopeForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            made = create_scope(**form.cleaned_data, actor=request.user, at=timezone.now())
        except CertificationError as error:
            form.add_error("code", str(error))
        else:
            messages.success(
                request,
                _("%(scope)s is made. Nobody can be certified for it before a scheme covers it.")
                % {"scope": made.code},
            )
            return redirect("certification:scope_list")
    status = 422 if form.is_bound else 200
    return render(request, "certification/scope_form.html", {"form": form}, status=status)


@require_http_methods(FORM_METHODS)
@role_required(Role.QUALITY)
def scope_edit(request: UserRequest, scope_id: int) -> HttpResponse:
    """A scope with what uses it: changed, or its title corrected, or retired."""
    scope = access.scope_by_id(scope_id)
    use = scope_use.use_of(scope)
    form = ScopeForm(
        request.POST if request.method == "POST" else None,
        scope=scope,
        is_used=use.is_used,
        initial={name: getattr(scope, name) for name in services.FIELDS},
    )
    if request.method == "POST" and form.is_valid():
        try:
            services.change_scope(
                scope=scope,
                shown=_shown(request.POST.get("shown", "")),
                actor=request.user,
                at=timezone.now(),
                **form.cleaned_data,
            )
        except ChangedMeanwhile as error:
            scope = access.scope_by_id(scope_id)
            form.add_error(None, str(error))
        except CertificationError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("What changed is saved."))
            return redirect("certification:scope_list")
    return show_scope(request, scope, use, form, status=422 if form.is_bound else 200)


def show_scope(
    request: UserRequest,
    scope: Scope,
    use: scope_use.ScopeUse,
    form: ScopeForm,
    *,
    reason_form: ReasonForm | None = None,
    status: int = 200,
) -> HttpResponse:
    shown = json.dumps(services.scope_state(scope))
    context = {
        "scope": scope,
        "form": form,
        "shown": shown,
        "use": use,
        "in_force": scope_use.in_force_for(scope),
        "certified": scope_use.standing_for(scope, today_for(request.user)),
        "reason_form": reason_form or ReasonForm(auto_id="retire-%s", initial={"shown": shown}),
    }
    return render(request, "certification/scope_form.html", context, status=status)


def _shown(text: str) -> dict[str, Any]:
    """What a page said that it showed; what is none of ours is unlike anything."""
    try:
        shown = json.loads(text)
    except (ValueError, RecursionError):
        shown = None
    return shown if isinstance(shown, dict) and shown else {"code": None}


@require_POST
@role_required(Role.QUALITY)
def scope_retire(request: UserRequest, scope_id: int) -> HttpResponse:
    """Retire a scope, or restore one that is retired."""
    scope = access.scope_by_id(scope_id)
    form = ReasonForm(request.POST, auto_id="retire-%s")
    if not form.is_valid():
        use = scope_use.use_of(scope)
        unchanged = ScopeForm(
            scope=scope,
            is_used=use.is_used,
            initial={name: getattr(scope, name) for name in services.FIELDS},
        )
        return show_scope(request, scope, use, unchanged, reason_form=form, status=422)
    reason = form.cleaned_data["reason"]
    try:
        services.retire_scope(
            scope=scope,
            reason=reason,
            shown=_shown(form.cleaned_data["shown"]),
            actor=request.user,
            at=timezone.now(),
        )
    except CertificationError as error:
        messages.error(request, str(error))
        return redirect("certification:scope_edit", scope_id)
    messages.success(request, _("%(scope)s is retired.") % {"scope": scope.code})
    return redirect("certification:scope_list")


@require_POST
@role_required(Role.QUALITY)
def scope_restore(request: UserRequest, scope_id: int) -> HttpResponse:
    scope = access.scope_by_id(scope_id)
    form = ReasonForm(request.POST)
    reason = form.cleaned_data["reason"] if form.is_valid() else ""
    try:
        services.restore_scope(scope=scope, reason=reason, actor=request.user, at=timezone.now())
    except CertificationError as error:
        messages.error(request, str(error))
        return redirect("certification:scope_edit", scope_id)
    messages.success(request, _("%(scope)s is offered again.") % {"scope": scope.code})
    return redirect("certification:scope_list")

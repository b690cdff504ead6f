"""Tools and their calibrations."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import OuterRef, Subquery
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from people import access as people_access
from people.access import UserRequest, role_required
from people.models import Person, Role, Site
from training import access
from training.exceptions import TrainingError
from training.forms.tools import CalibrationForm, ToolForm
from training.models import Calibration, Tool
from training.services import tools as services

FORM_METHODS = ["GET", "HEAD", "POST"]


@require_safe
@role_required(Role.INSTRUCTOR, Role.QUALITY)
def tool_list(request: UserRequest) -> HttpResponse:
    """Tools by the day their calibration ends, those that ended first."""
    latest = Calibration.objects.filter(tool=OuterRef("pk")).order_by("-calibrated_on", "-pk")
    tools = access.tools_readable_by(request.user).annotate(
        good_through=Subquery(latest.values("valid_through")[:1]),
        last_passed=Subquery(latest.values("passed")[:1]),
    )
    context = {
        "tools": tools.filter(retired_on__isnull=True).order_by("good_through", "code"),
        "retired": tools.filter(retired_on__isnull=False).order_by("-retired_on", "code"),
        "today": people_access.today_for(request.user),
        "may_add": request.user.has_role(Role.INSTRUCTOR),
    }
    return render(request, "training/tool_list.html", context)


@require_http_methods(FORM_METHODS)
@role_required(Role.INSTRUCTOR)
def tool_new(request: UserRequest) -> HttpResponse:
    sites = Site.objects.filter(pk__in=request.user.sites_as(Role.INSTRUCTOR))
    form = ToolForm(
        request.POST if request.method == "POST" else None,
        sites=sites,
        people=Person.objects.filter(site__in=sites),
    )
    if request.method == "POST" and form.is_valid():
        try:
            tool = services.add_tool(**form.cleaned_data, actor=request.user, at=timezone.now())
        except TrainingError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("%(code)s is entered.") % {"code": tool.code})
            return redirect("training:tool_detail", tool.code)
    status = 422 if form.is_bound else 200
    return render(request, "training/tool_form.html", {"form": form}, status=status)


@require_http_methods(FORM_METHODS)
@login_required
def tool_edit(request: UserRequest, code: str) -> HttpResponse:
    tool = access.tool_for_instructor(request.user, code)
    form = ToolForm(
        request.POST if request.method == "POST" else None,
        sites=Site.objects.none(),
        people=Person.objects.filter(site=tool.site_id),
        tool=tool,
        initial={"name": tool.name, "answers_for": tool.answers_for},
    )
    if request.method == "POST" and form.is_valid():
        services.change_tool(tool=tool, **form.cleaned_data, actor=request.user, at=timezone.now())
        messages.success(request, _("What changed is saved."))
        return redirect("training:tool_detail", code)
    context = {"form": form, "tool": tool}
    status = 422 if form.is_bound else 200
    return render(request, "training/tool_form.html", context, status=status)


@require_safe
@login_required
def tool_detail(request: UserRequest, code: str) -> HttpResponse:
    tool = access.tool_for_reader(request.user, code)
    return _render_tool(
        request, tool, CalibrationForm(initial={"calibrated_on": tool.site.today()})
    )


@require_POST
@login_required
def calibration_new(request: UserRequest, code: str) -> HttpResponse:
    tool = access.tool_for_instructor(request.user, code)
    form = CalibrationForm(request.POST)
    if form.is_valid():
        try:
            recorded = services.record_calibration_once(
                tool=tool, **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except TrainingError as error:
            form.add_error(None, str(error))
        else:
            if recorded is None:
                already = _("This calibration was recorded so already, and is not recorded twice.")
                messages.info(request, already)
            else:
                messages.success(request, _("The calibration is recorded."))
            return redirect("training:tool_detail", code)
    return _render_tool(request, tool, form)


@require_POST
@login_required
def tool_retire(request: UserRequest, code: str) -> HttpResponse:
    tool = access.tool_for_instructor(request.user, code)
    try:
        services.retire_tool(tool=tool, on=tool.site.today(), actor=request.user, at=timezone.now())
    except TrainingError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("%(code)s is out of use from today.") % {"code": code})
    return redirect("training:tool_detail", code)


def _render_tool(request: UserRequest, tool: Tool, form: CalibrationForm) -> HttpResponse:
    calibrations = list(tool.calibrations.order_by("-calibrated_on", "-pk"))
    context: dict[str, Any] = {
        "tool": tool,
        "calibrations": calibrations,
        "latest": calibrations[0] if calibrations else None,
        "form": form,
        "today": tool.site.today(),
        "keeps": request.user.has_role(Role.INSTRUCTOR, site=tool.site_id),
    }
    status = 422 if form.is_bound else 200
    return render(request, "training/tool_detail.html", context, status=status)

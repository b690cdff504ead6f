"""Tools and their calibrations."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import F
from django.http import FileResponse, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from people import access as people_access
from people.access import UserRequest, role_required
from people.exceptions import ProofRefused
from people.models import Person, Role, Site
from people.presenters.days import format_day
from people.services.proof import prove_identity
from records.exceptions import ShownOtherwise
from training import access
from training.exceptions import ToolChangedMeanwhile, TrainingError
from training.forms.facts import ReasonForm
from training.forms.rows import DO, Rows
from training.forms.tools import (
    BackInServiceForm,
    CalibrationForm,
    OutOfServiceForm,
    ReadingForm,
    ToolForm,
)
from training.models import Tool, ToolOutOfService
from training.presenters.calibrations import calibration_shown, calibration_to_withdraw
from training.queries.tool_fitness import found_out_of_limits, out_since_earlier, with_state
from training.services import tools as services

FORM_METHODS = ["GET", "HEAD", "POST"]
MORE = "more:"


@require_safe
@role_required(Role.INSTRUCTOR, Role.QUALITY)
def tool_list(request: UserRequest) -> HttpResponse:
    """Tools by the day their calibration ends, those that ended first."""
    tools = with_state(access.tools_readable_by(request.user))
    context = {
        "tools": tools.filter(retired_on__isnull=True).order_by(F("good_through").asc(), "code"),
        "retired": tools.filter(retired_on__isnull=False).order_by("-retired_on", "code"),
        "today": people_access.today_for(request.user),
        "in_doubt": found_out_of_limits(access.tools_readable_by(request.user)),
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
        initial={
            "name": tool.name,
            "serial": tool.serial,
            "answers_for": tool.answers_for,
            "without_calibration": tool.without_calibration,
            "seen": services.tool_digest(tool),
        },
    )
    if request.method == "POST" and form.is_valid():
        said = {**form.cleaned_data, "seen": form.cleaned_data["seen"] or None}
        try:
            services.change_tool(tool=tool, **said, actor=request.user, at=timezone.now())
        except ToolChangedMeanwhile as error:
            form.add_error(None, str(error))
            now = access.tool_for_instructor(request.user, code)
            form.data = typed = request.POST.copy()
            typed["seen"] = services.tool_digest(now)
        else:
            messages.success(request, _("What changed is saved."))
            return redirect("training:tool_detail", code)
    context = {"form": form, "tool": tool}
    status = 422 if form.is_bound else 200
    return render(request, "training/tool_form.html", context, status=status)


@require_safe
@login_required
def tool_detail(request: UserRequest, code: str) -> HttpResponse:
    return _render_tool(request, access.tool_for_reader(request.user, code))


@require_http_methods(FORM_METHODS)
@login_required
def calibration_new(request: UserRequest, code: str) -> HttpResponse:
    """Record a calibration with its readings; what a button does to the rows stores nothing."""
    tool = access.tool_for_instructor(request.user, code)
    sent = request.POST if request.method == "POST" else None
    form = CalibrationForm(
        sent, request.FILES or None, initial={"calibrated_on": tool.site.today()}
    )
    rows = Rows(
        ReadingForm,
        prefix="reading",
        data=sent,
        most=services.MOST_READINGS,
    )
    status = 200
    if sent is not None and sent.get(DO, "") != MORE:
        if form.is_valid() and rows.is_valid and _record(request, tool, form, rows):
            return redirect("training:tool_detail", code)
        if rows.too_many:
            form.add_error(None, _("These are more readings than a calibration has here."))
        rows.show_errors()
        status = 422
    elif sent is not None:
        form = CalibrationForm(initial=sent.dict())
        rows.do(MORE)
    context = {"tool": tool, "form": form, "rows": rows}
    return render(request, "training/calibration_form.html", context, status=status)


def _record(request: UserRequest, tool: Tool, form: CalibrationForm, rows: Rows) -> bool:
    """Record what was typed; False where it cannot be, which the form then says."""
    readings = [row.reading() for row in rows.forms if isinstance(row, ReadingForm)]
    try:
        recorded = services.record_calibration_once(
            tool=tool,
            readings=readings,
            **form.cleaned_data,
            actor=request.user,
            at=timezone.now(),
        )
    except TrainingError as error:
        form.add_error(None, str(error))
        return False
    if recorded is None:
        already = _("This calibration was recorded so already, and is not recorded twice.")
        messages.info(request, already)
    elif recorded.was_found_good:
        messages.success(request, _("The calibration is recorded."))
    else:
        found_out = _(
            "The calibration is recorded. The tool was found out of its limits: look at the work "
            "that was done with it."
        )
        messages.warning(request, found_out)
    return True


@require_safe
@login_required
def calibration_document(request: UserRequest, code: str, calibration_id: int) -> FileResponse:
    """The certificate as it came, as a download: never shown inside a page of ours."""
    document = access.calibration_document_for_reader(request.user, code, calibration_id)
    return FileResponse(
        document.file.open("rb"),
        as_attachment=True,
        filename=document.original_name,
        content_type=document.media_type,
    )


@require_http_methods(FORM_METHODS)
@login_required
def calibration_withdraw(request: UserRequest, code: str, calibration_id: int) -> HttpResponse:
    """Have a calibration that was entered in error count as never entered."""
    tool = access.tool_for_instructor(request.user, code)
    calibration = get_object_or_404(
        tool.calibrations.not_withdrawn().select_related("tool__site", "document"),
        pk=calibration_id,
    )
    shown = calibration_to_withdraw(calibration, timezone.now())
    form = ReasonForm(request.POST if request.method == "POST" else None, showing=shown)
    if form.is_bound and form.is_valid():
        try:
            services.withdraw_calibration(
                calibration=calibration,
                reason=form.cleaned_data["reason"],
                proof=prove_identity(request.user, form.cleaned_data["password"]),
                shown=form.shown_digest,
                actor=request.user,
                at=timezone.now(),
            )
        except ShownOtherwise:
            form.show_anew(calibration_to_withdraw(calibration, timezone.now()))
        except ProofRefused as error:
            form.add_error("password", str(error))
        except TrainingError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("The calibration is withdrawn."))
            return redirect("training:tool_detail", code)
    status = 422 if form.is_bound else 200
    context = {"tool": tool, "form": form}
    return render(request, "training/calibration_withdraw.html", context, status=status)


@require_POST
@login_required
def tool_out(request: UserRequest, code: str) -> HttpResponse:
    tool = access.tool_for_instructor(request.user, code)
    form = OutOfServiceForm(request.POST, people=Person.objects.filter(site=tool.site_id))
    if form.is_valid():
        said = dict(form.cleaned_data)
        answers = tool.answers_for
        if said["told"] is None and answers is not None and answers.left_on is None:
            said["told"] = answers
        try:
            out = services.put_out_of_service(
                tool=tool, **said, actor=request.user, at=timezone.now()
            )
        except TrainingError as error:
            form.add_error(None, str(error))
        else:
            _say_out(request, out)
            return redirect("training:tool_detail", code)
    return _render_tool(request, tool, out_form=form)


def _say_out(request: UserRequest, out: ToolOutOfService) -> None:
    tool = out.tool
    if out in out_since_earlier(Tool.objects.filter(pk=tool.pk)):
        since = _(
            "%(code)s is out of service since %(day)s: look at the work that was done with it "
            "since then."
        )
        messages.warning(request, since % {"code": tool.code, "day": format_day(out.first_day)})
    else:
        messages.success(request, _("%(code)s is out of service.") % {"code": tool.code})


@require_POST
@login_required
def tool_back(request: UserRequest, code: str) -> HttpResponse:
    tool = access.tool_for_instructor(request.user, code)
    form = BackInServiceForm(request.POST)
    if form.is_valid():
        try:
            services.put_back_in_service(
                tool=tool, **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except TrainingError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("%(code)s is in service again.") % {"code": code})
            return redirect("training:tool_detail", code)
    return _render_tool(request, tool, back_form=form)


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


def _render_tool(
    request: UserRequest,
    tool: Tool,
    *,
    out_form: OutOfServiceForm | None = None,
    back_form: BackInServiceForm | None = None,
) -> HttpResponse:
    today = tool.site.today()
    calibrations = list(
        tool.calibrations.order_by("-calibrated_on", "-pk").select_related("document", "withdrawal")
    )
    standing = [each for each in calibrations if not hasattr(each, "withdrawal")]
    periods = list(
        tool.out_of_service.select_related("told", "entered_by__person", "back__entered_by__person")
    )
    context: dict[str, Any] = {
        "tool": tool,
        "calibrations": [calibration_shown(calibration) for calibration in calibrations],
        "latest": standing[0] if standing else None,
        "in_doubt": any(not calibration.was_found_good for calibration in standing),
        "used_while_out": out_since_earlier(Tool.objects.filter(pk=tool.pk)),
        "periods": periods,
        "out": next((period for period in periods if not hasattr(period, "back")), None),
        "out_form": out_form
        or OutOfServiceForm(
            people=Person.objects.filter(site=tool.site_id), initial={"first_day": today}
        ),
        "back_form": back_form or BackInServiceForm(initial={"from_day": today}),
        "today": today,
        "keeps": request.user.has_role(Role.INSTRUCTOR, site=tool.site_id),
    }
    status = 422 if out_form or back_form else 200
    return render(request, "training/tool_detail.html", context, status=status)

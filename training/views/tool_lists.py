"""Tools from a spreadsheet: brought, looked at row by row, and taken in. Nothing is kept before."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from people.access import UserRequest, role_required
from people.forms.lists import MOST_PASTED, BringForm
from people.models import Role, Site
from people.views.person_forms import FORM_METHODS
from records.exceptions import CannotRead
from training.exceptions import TrainingError
from training.forms.tool_lists import AskedForm, ToolListForm, as_text, read_tools, said_of
from training.queries.tool_lists import MOST_TOOLS, Does, ToolPlan
from training.services.tool_lists import take_in_tools

TAKE_IN = "take-in"
FAULTS_SHOWN = 50


@require_http_methods(FORM_METHODS)
@role_required(Role.INSTRUCTOR)
def tool_list_new(request: UserRequest) -> HttpResponse:
    """Bring a list; one that was brought is carried by its page, and looked at or taken in."""
    if request.method == "POST" and "text" in request.POST:
        return _carried(request)
    form = BringForm(request.POST or None, request.FILES or None, file_help=_file_help())
    if request.method == "POST" and form.is_valid():
        name, content = form.named_content()
        try:
            # Read again as its page carries it, so that lines count as they stand there.
            brought = as_text(read_tools(name, content))
            read = read_tools(_("Pasted rows"), brought.encode())
        except CannotRead as error:
            form.add_error(None, str(error))
        else:
            return _look(request, ToolListForm(read=read))
    return _bring(request, form)


def _bring(request: UserRequest, form: BringForm) -> HttpResponse:
    status = 422 if form.is_bound else 200
    return render(request, "training/tool_list_new.html", {"form": form}, status=status)


def _carried(request: UserRequest) -> HttpResponse:
    text = request.POST["text"][: MOST_PASTED + 1]
    try:
        read = read_tools(_("Pasted rows"), text.strip("\r\n").encode())
    except CannotRead as error:
        # Nothing that can be looked at: back to where it can be pasted anew.
        form = BringForm({"pasted": text}, file_help=_file_help())
        form.add_error(None, str(error))
        return _bring(request, form)
    carried = ToolListForm(request.POST, read=read)
    if not carried.is_valid():
        return _show(request, carried, ToolPlan(), None, status=422)
    return _look(request, carried)


def _look(request: UserRequest, form: ToolListForm) -> HttpResponse:
    sites = _sites(request)
    data = request.POST if form.is_bound else {}
    now = timezone.now()
    if "code" not in form.columns():
        # Brought without a heading that says so: asked by the columns alone.
        return _show(request, form, ToolPlan(), None)
    asked = said_of(form, data).plan(sites, now)
    tool_list = said_of(form, data, asked.questions)
    if form.is_bound and request.POST.get("do") == TAKE_IN:
        try:
            done = take_in_tools(
                tool_list=tool_list,
                sites=sites,
                shown=form.cleaned_data["shown"],
                actor=request.user,
                at=now,
            )
        except TrainingError as error:
            messages.warning(request, str(error))
        else:
            messages.success(request, _done_sentence(done))
            return redirect("training:tool_list")
    plan = tool_list.plan(sites, now)
    questions = AskedForm(
        data if form.is_bound else None,
        questions=plan.questions,
        day_example=plan.day_example,
        sites=list(sites),
    )
    return _show(request, form, plan, questions)


def _show(
    request: UserRequest,
    form: ToolListForm,
    plan: ToolPlan,
    asked: AskedForm | None,
    status: int = 200,
) -> HttpResponse:
    context: dict[str, Any] = {
        "form": form,
        "columns": form.column_rows(),
        "plan": plan,
        "asked": asked if asked is not None and asked.fields else None,
        "faults": plan.faults[:FAULTS_SHOWN],
        "digest": plan.digest(),
        "new": plan.count(Does.NEW),
        "calibrated": plan.count(Does.CALIBRATED),
        "alone": plan.count(Does.ALONE),
    }
    return render(request, "training/tool_list_look.html", context, status=status)


def _file_help() -> str:
    return _("CSV or XLSX of any spreadsheet program, up to %(most)d rows.") % {"most": MOST_TOOLS}


def _sites(request: UserRequest) -> Any:
    return Site.objects.filter(pk__in=request.user.sites_as(Role.INSTRUCTOR)).order_by("name")


def _done_sentence(done: ToolPlan) -> str:
    new = done.count(Does.NEW)
    calibrations = sum(
        row.calibrated_on is not None and row.does is not Does.ALONE for row in done.rows
    )
    if not new and not calibrations:
        return _("All of it was there already: nothing is changed.")
    said = [
        ngettext("%(n)d tool is entered.", "%(n)d tools are entered.", new) % {"n": new},
        ngettext("%(n)d calibration is recorded.", "%(n)d calibrations are recorded.", calibrations)
        % {"n": calibrations},
    ]
    if alone := done.count(Does.ALONE):
        said.append(
            ngettext("%(n)d was there already.", "%(n)d were there already.", alone) % {"n": alone}
        )
    return " ".join(said)

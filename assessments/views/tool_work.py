"""Work that a tool puts in question: what it is, and what was decided of it."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from assessments.exceptions import AssessmentError
from assessments.forms.tool_work import ToolWorkForm
from assessments.queries.tool_work import questioned_work, work_while_out
from assessments.services import tool_work as services
from people.access import UserRequest, row_number
from people.models import Role
from training import access as training_access
from training.models import Tool


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def tool_work(request: UserRequest, code: str) -> HttpResponse:
    """For each calibration that found a tool out of its limits, the boards, by name.

    And those of days on which, as was entered later, it was out of service.
    """
    tool = training_access.tool_for_reader(request.user, code)
    asked = row_number(request.POST.get("calibration", ""))
    own = request.user.person_id or 0
    forms = []
    for work in questioned_work(Tool.objects.filter(pk=tool.pk)):
        sent = request.POST if asked == work.calibration.pk else None
        form = ToolWorkForm(sent, prefix=f"c{work.calibration.pk}", work=work, own=own)
        if sent is not None and form.is_valid():
            try:
                services.decide_on_work(
                    calibration=work.calibration,
                    boards=form.seen(),
                    decision=form.cleaned_data["decision"],
                    reason=form.cleaned_data["reason"],
                    actor=request.user,
                    at=timezone.now(),
                )
            except AssessmentError as error:
                form.add_error(None, str(error))
            else:
                messages.success(request, _("What was decided is written down."))
                return redirect("assessments:tool_work", code)
        forms.append(form)
    status = 422 if request.method == "POST" else 200
    context = {
        "tool": tool,
        "forms": forms,
        "while_out": work_while_out(Tool.objects.filter(pk=tool.pk)),
        "keeps": request.user.has_role(Role.INSTRUCTOR, site=tool.site_id),
    }
    return render(request, "assessments/tool_work.html", context, status=status)

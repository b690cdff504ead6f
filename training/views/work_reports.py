"""Work that people report of themselves, and the page on which it is confirmed or refused."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from people.access import READERS, UserRequest, own_person, role_required
from people.models import Role
from people.views.person_forms import FORM_METHODS, post_data
from records.exceptions import Refusal
from training import access, ports
from training.forms.facts import WorkReportForm
from training.forms.grids import keys_ticked
from training.forms.work_reports import DecisionForm
from training.services import work_reports as services

SHOWN = 100


@require_http_methods(FORM_METHODS)
@login_required
def my_work(request: UserRequest) -> HttpResponse:
    """Report one's own work, and see what became of it."""
    person = own_person(request.user)
    scopes = ports.scopes()
    form = WorkReportForm(
        post_data(request), scopes=scopes, initial={"performed_on": person.site.today()}
    )
    if form.is_bound and form.is_valid():
        try:
            made = services.report_work(
                person=person, **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except Refusal as error:
            form.add_error(None, str(error))
        else:
            if made is None:
                messages.info(request, _("This work is reported or recorded so already."))
            else:
                messages.success(request, _("Reported. It counts once it is confirmed."))
            return redirect("training:my_work")
    reports = person.work_reports.select_related("decision__decided_by__person")
    context = {
        "form": form,
        "reports": reports[:SHOWN],
        "titles": dict(scopes),
        "lead": person.line_lead,
    }
    status = 422 if form.is_bound else 200
    return render(request, "training/my_work.html", context, status=status)


@require_http_methods(FORM_METHODS)
@role_required(Role.LINE_LEAD, *READERS)
def work_reported(request: UserRequest) -> HttpResponse:
    """What waits for the reader: ticked and confirmed, or refused with a reason."""
    reports = access.work_reports_for(request.user)
    form = DecisionForm(post_data(request))
    ticked = keys_ticked(request.POST, "report")
    refused: dict[int, str] = {}
    if form.is_bound and form.is_valid():
        if not ticked:
            form.add_error(None, _("Tick at least one report."))
        else:
            found = list(access.work_reports_seen_by(request.user).filter(pk__in=ticked))
            outcome = services.decide_reports(
                reports=found,
                confirmed=form.cleaned_data["act"] == DecisionForm.CONFIRM,
                reason=form.cleaned_data["reason"],
                people=access.people_confirmed_by(request.user),
                actor=request.user,
                at=timezone.now(),
            )
            refused = outcome.refused
            if outcome.recorded:
                messages.success(request, _decided(form, len(outcome.recorded)))
            if len(found) < len(ticked):
                messages.warning(request, _not_found(len(ticked) - len(found)))
            if not refused:
                return redirect("training:work_reported")
    rows = list(
        access.work_reports_seen_by(request.user)
        .filter(pk__in=[*refused, *reports.values_list("pk", flat=True)[:SHOWN]])
        .select_related("person")
        .order_by("person__full_name", "performed_on", "pk")
    )
    context: dict[str, Any] = {
        "form": form,
        "rows": [(row, row.pk in ticked, refused.get(row.pk, "")) for row in rows],
        "waiting": reports.count(),
        "titles": dict(ports.scopes()),
    }
    status = 422 if form.is_bound else 200
    return render(request, "training/work_reported.html", context, status=status)


def _decided(form: DecisionForm, number: int) -> str:
    if form.cleaned_data["act"] == DecisionForm.CONFIRM:
        said = ngettext(
            "%(n)d report is confirmed and counts.",
            "%(n)d reports are confirmed and count.",
            number,
        )
    else:
        said = ngettext("%(n)d report is refused.", "%(n)d reports are refused.", number)
    return said % {"n": number}


def _not_found(number: int) -> str:
    return ngettext(
        "%(n)d report of those ticked is not there any more: it is kept no longer, or others "
        "confirm that work now.",
        "%(n)d reports of those ticked are not there any more: they are kept no longer, or others "
        "confirm that work now.",
        number,
    ) % {"n": number}

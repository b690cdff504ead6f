"""Who is away when, as far as a plan of classes has to know."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from people import access as people_access
from people.access import UserRequest, role_required
from people.models import Role
from training import access
from training.exceptions import TrainingError
from training.forms.absences import AbsenceForm, AwayLimitForm
from training.models import AwayLimit
from training.services import absences as services

KEEPERS = (Role.INSTRUCTOR, Role.LINE_LEAD)


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*KEEPERS)
def absence_list(request: UserRequest) -> HttpResponse:
    """Days away from today on; it takes more of them."""
    people = access.people_whose_days_away(request.user)
    form = AbsenceForm(request.POST if request.method == "POST" else None, people=people)
    if form.is_valid():
        try:
            absence = services.enter_absence(
                **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except TrainingError as error:
            form.add_error(None, str(error))
        else:
            messages.success(
                request, _("Days away of %(name)s are entered.") % {"name": absence.person}
            )
            return redirect("training:absence_list")
    return _page(request, form=form, status=422 if form.is_bound else 200)


@require_POST
@login_required
def absence_remove(request: UserRequest, absence_id: int) -> HttpResponse:
    absence = access.absence_for_keeper(request.user, absence_id)
    try:
        services.remove_absence(absence=absence, actor=request.user, at=timezone.now())
    except TrainingError as error:
        messages.error(request, str(error))
    else:
        messages.success(
            request, _("%(name)s counts as there again.") % {"name": absence.person.full_name}
        )
    return redirect("training:absence_list")


@require_POST
@role_required(*KEEPERS)
def away_limit(request: UserRequest) -> HttpResponse:
    form = AwayLimitForm(request.POST, leads=access.leads_limited_by(request.user))
    if form.is_valid():
        try:
            services.limit_away(**form.cleaned_data, actor=request.user, at=timezone.now())
        except TrainingError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("What changed is saved."))
            return redirect("training:absence_list")
    return _page(request, limit_form=form, status=422)


def _page(
    request: UserRequest,
    *,
    form: AbsenceForm | None = None,
    limit_form: AwayLimitForm | None = None,
    status: int,
) -> HttpResponse:
    user = request.user
    today = people_access.today_for(user)
    leads = access.leads_limited_by(user)
    limits = dict(AwayLimit.objects.filter(lead__in=leads).values_list("lead", "people"))
    context = {
        "form": form or AbsenceForm(people=access.people_whose_days_away(user)),
        "limit_form": limit_form or AwayLimitForm(leads=leads),
        "absences": access.absences_kept_by(user).filter(through_day__gte=today),
        "leads": [(lead, limits.get(lead.pk)) for lead in leads],
        "today": today,
    }
    return render(request, "training/absence_list.html", context, status=status)

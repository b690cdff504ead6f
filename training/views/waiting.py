"""The waiting list of a class, as instructors keep it."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from people import access as people_access
from people.access import UserRequest
from training import access
from training.exceptions import TrainingError
from training.forms.courses import EnrolForm
from training.forms.waiting import ReasonForm
from training.services import waiting as services

from .courses import show_class


@require_POST
@login_required
def class_wait(request: UserRequest, number: str) -> HttpResponse:
    """Put people on the waiting list of a class that is full."""
    session = access.session_for_instructor(request.user, number)
    form = EnrolForm(request.POST, people=people_access.people_listed_for(request.user))
    if form.is_valid():
        try:
            waiting = services.wait_for_place(
                session=session, people=form.chosen(), actor=request.user, at=timezone.now()
            )
        except TrainingError as error:
            form.add_error("people", str(error))
        else:
            message = ngettext(
                "%(n)d person is put on the waiting list.",
                "%(n)d people are put on the waiting list.",
                len(waiting),
            )
            messages.success(request, message % {"n": len(waiting)})
            return redirect("training:class_detail", number)
    session = access.session_for_reader(request.user, number)
    return show_class(request, session, enrol_form=form)


@require_POST
@login_required
def waiting_first(request: UserRequest, number: str, waiting_id: int) -> HttpResponse:
    """Let somebody have the next place, for a reason."""
    session = access.session_for_instructor(request.user, number)
    waiting = get_object_or_404(session.waiting_places.select_related("person"), pk=waiting_id)
    form = ReasonForm(request.POST)
    if not form.is_valid():
        messages.error(request, str(form.errors["reason"][0]))
        return redirect("training:class_detail", number)
    try:
        services.put_first(
            waiting=waiting,
            reason=form.cleaned_data["reason"],
            actor=request.user,
            at=timezone.now(),
        )
    except TrainingError as error:
        messages.error(request, str(error))
    else:
        messages.success(
            request,
            _("%(name)s gets the next place that is free.") % {"name": waiting.person.full_name},
        )
    return redirect("training:class_detail", number)


@require_POST
@login_required
def waiting_cancel(request: UserRequest, number: str, waiting_id: int) -> HttpResponse:
    session = access.session_for_instructor(request.user, number)
    waiting = get_object_or_404(session.waiting_places.select_related("person"), pk=waiting_id)
    try:
        services.stop_waiting(waiting=waiting, actor=request.user, at=timezone.now())
    except TrainingError as error:
        messages.error(request, str(error))
    else:
        messages.success(
            request,
            _("%(name)s is taken off the waiting list.") % {"name": waiting.person.full_name},
        )
    return redirect("training:class_detail", number)

"""Stamps: a site's list, issued and taken back."""

from functools import partial

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from people import access
from people.access import UserRequest, role_required
from people.exceptions import PeopleError
from people.forms.people import StampForm, StampReturnForm, StampToSomebodyForm
from people.models import Role
from people.queries.stamps import latest_stamps
from people.services import stamps as services

from .person_forms import FORM_METHODS, post_data, save_person_fact

PAGE_SIZE = 100


@require_http_methods(FORM_METHODS)
@role_required(Role.QUALITY, Role.ADMINISTRATOR)
def stamp_list(request: UserRequest) -> HttpResponse:
    """Each mark with whoever holds it; one that is free is issued in place."""
    people = access.people_with_stamps_of(request.user)
    stamps = latest_stamps(people)
    form = StampToSomebodyForm(
        post_data(request),
        people=people,
        initial={
            "issued_on": access.today_for(request.user),
            "mark": request.GET.get("mark", "")[:32],
        },
    )
    if request.method == "POST" and form.is_valid():
        try:
            stamp = services.issue_stamp(**form.cleaned_data, actor=request.user, at=timezone.now())
        except PeopleError as error:
            form.add_error(None, str(error))
        else:
            words = {"mark": stamp.mark, "name": stamp.person.full_name}
            messages.success(request, _("Stamp %(mark)s is issued to %(name)s.") % words)
            return redirect("people:stamp_list")
    only_free = request.GET.get("free") == "1"
    shown = stamps.filter(returned_on__isnull=False) if only_free else stamps
    context = {
        "form": form,
        "page": Paginator(shown, PAGE_SIZE).get_page(request.GET.get("page")),
        "held": stamps.filter(returned_on__isnull=True).count(),
        "free": stamps.filter(returned_on__isnull=False).count(),
        "free_marks": stamps.filter(returned_on__isnull=False)[:200],
        "only_free": only_free,
        "suggestions": form.fields["person"].suggestions,  # type: ignore[attr-defined]
    }
    status = 422 if form.is_bound else 200
    return render(request, "people/stamp_list.html", context, status=status)


@require_http_methods(FORM_METHODS)
@login_required
def stamp_issue(request: UserRequest, employee_number: str) -> HttpResponse:
    person = access.person_with_right(request.user, employee_number, "stamps")
    form = StampForm(post_data(request), initial={"issued_on": person.site.today()})
    texts = {
        "title": _("Issue a stamp"),
        "lead": _("Its marks are theirs from that day on, until they give it back."),
        "submit": _("Issue the stamp"),
        "done": _("The stamp is issued."),
    }
    return save_person_fact(
        request, person, form, texts, partial(services.issue_stamp, person=person)
    )


@require_http_methods(FORM_METHODS)
@login_required
def stamp_return(request: UserRequest, employee_number: str, stamp_id: int) -> HttpResponse:
    person = access.person_with_right(request.user, employee_number, "stamps")
    stamp = get_object_or_404(person.stamps.filter(returned_on__isnull=True), pk=stamp_id)
    form = StampReturnForm(post_data(request), initial={"returned_on": person.site.today()})
    texts = {
        "title": _("Stamp %(mark)s returned") % {"mark": stamp.mark},
        "lead": "",
        "submit": _("Stamp returned"),
        "done": _("Stamp %(mark)s returned.") % {"mark": stamp.mark},
    }
    return save_person_fact(
        request, person, form, texts, partial(services.return_stamp, stamp=stamp)
    )

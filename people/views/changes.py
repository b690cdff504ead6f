"""Somebody changed from a day on, and back after having left."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from people import access, ports
from people.access import UserRequest
from people.exceptions import PeopleError
from people.forms.people import ChangeForm, ReturnForm
from people.models import Person
from people.queries import reach
from people.services import particulars, returns

from .person_forms import FORM_METHODS, post_data, save_person_fact


@require_http_methods(FORM_METHODS)
@login_required
def person_change(request: UserRequest, employee_number: str) -> HttpResponse:
    """Name, number or line lead from a day on."""
    person = access.person_with_right(request.user, employee_number, "edit")
    enrols_at = access.enrolling_site_ids(request.user) | {person.site_id}
    form = ChangeForm(
        post_data(request),
        leads=Person.objects.filter(site__in=enrols_at).exclude(pk=person.pk),
        initial={
            "full_name": person.full_name,
            "employee_number": person.employee_number,
            "line_lead": person.line_lead,
            "from_day": person.site.today(),
        },
    )
    texts = {
        "title": _("Change from a day on"),
        "lead": _(
            "A new name, number or line lead. What was recorded until then keeps the name it was "
            "recorded under, and both are found. A slip of the pen is put right under Edit."
        ),
        "submit": _("Enter the change"),
        "done": _("The change is entered."),
    }

    def act(**fields: Any) -> None:
        common = {name: fields[name] for name in ("from_day", "reason", "actor", "at")}
        particulars.change_from_day(person=person, changes=form.changes(), **common)

    return save_person_fact(request, person, form, texts, act)


@require_http_methods(FORM_METHODS)
@login_required
def person_return(request: UserRequest, employee_number: str) -> HttpResponse:
    """Somebody is back: shown first how they stand on that day, and what is missing."""
    person = access.person_with_right(request.user, employee_number, "edit")
    now = timezone.now()
    if not person.has_left(now):
        raise Http404
    form = ReturnForm(post_data(request), initial={"returned_on": person.site.today(now)})
    user = reach.sign_in_of(person)
    roles = reach.roles_on_return(request.user, user) if user else None
    day = person.site.today(now)
    if form.is_bound and form.is_valid():
        day = form.cleaned_data["returned_on"]
        if request.POST.get("day_seen") == day.isoformat():
            try:
                returns.return_person(
                    person=person, **form.cleaned_data, actor=request.user, at=now
                )
            except PeopleError as error:
                form.add_error(None, str(error))
            else:
                messages.success(
                    request,
                    _("%(name)s is back. Print a letter or have a link sent for a new password.")
                    % {"name": person.full_name},
                )
                if roles is not None and roles.staying:
                    messages.warning(
                        request,
                        _("Roles at other sites stay until their administrators take them away."),
                    )
                return redirect("people:person_detail", person.employee_number)
    context = {
        "person": person,
        "form": form,
        "day": day,
        "matters": ports.matters_on_return(person, day),
        "roles": roles,
        "keeps_factors": user is not None and not reach.may_reset_sign_in(request.user, user),
    }
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "people/person_return.html", context, status=status)

"""Stamps: issued and taken back."""

from functools import partial

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from people import access
from people.access import UserRequest
from people.forms.people import StampForm, StampReturnForm
from people.services import stamps as services

from .person_forms import FORM_METHODS, post_data, save_person_fact


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

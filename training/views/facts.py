"""What is written down about somebody: vision tests, practice, stamps."""

from collections.abc import Callable
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from training import access, gates
from training.access import UserRequest
from training.exceptions import ProofRefused, TrainingError
from training.forms.people import (
    PracticeForm,
    ReasonForm,
    StampForm,
    StampReturnForm,
    VisionTestForm,
)
from training.models import Person
from training.proof import prove_identity
from training.services import facts as services

FORM_METHODS = ["GET", "HEAD", "POST"]


@require_http_methods(FORM_METHODS)
@login_required
def vision_test_new(request: UserRequest, employee_number: str) -> HttpResponse:
    person = access.person_when(request.user, employee_number, "facts")
    form = VisionTestForm(sent(request), initial={"tested_on": person.site.today()})
    texts = {
        "title": _("Record a vision test"),
        "lead": _("Result and day alone: no other medical detail is kept."),
        "submit": _("Record the test"),
        "done": _("The vision test is recorded."),
    }
    return _write(request, person, form, texts, partial(services.record_vision_test, person=person))


@require_http_methods(FORM_METHODS)
@login_required
def vision_test_withdraw(request: UserRequest, employee_number: str, test_id: str) -> HttpResponse:
    person = access.person_when(request.user, employee_number, "facts")
    test = get_object_or_404(
        person.vision_tests.filter(withdrawal__isnull=True).select_related("person__site"),
        test_id=test_id,
    )
    texts = {
        "title": _("Withdraw vision test %(number)s") % {"number": test.test_id},
        "lead": _(
            "For a test entered in error. From now on it counts as never entered, and standings "
            "are worked out again without it. The record of it stays."
        ),
        "submit": _("Withdraw the test and sign"),
        "done": _("The vision test is withdrawn."),
    }
    form = ReasonForm(sent(request))
    return _write(
        request, person, form, texts, partial(services.withdraw_vision_test, vision_test=test)
    )


@require_http_methods(FORM_METHODS)
@login_required
def practice_new(request: UserRequest, employee_number: str) -> HttpResponse:
    person = access.person_when(request.user, employee_number, "facts")
    form = PracticeForm(
        sent(request), scopes=gates.scopes(), initial={"performed_on": person.site.today()}
    )
    texts = {
        "title": _("Record practice"),
        "lead": _("You confirm that they did work within this scope on that day."),
        "submit": _("Confirm the work"),
        "done": _("The work is recorded."),
    }
    return _write(request, person, form, texts, partial(services.record_practice, person=person))


@require_http_methods(FORM_METHODS)
@login_required
def practice_withdraw(request: UserRequest, employee_number: str, practice_id: int) -> HttpResponse:
    person = access.person_when(request.user, employee_number, "facts")
    practice = get_object_or_404(
        person.practice.filter(withdrawal__isnull=True).select_related("person__site"),
        pk=practice_id,
    )
    texts = {
        "title": _("Withdraw practice in %(scope)s") % {"scope": practice.scope_code},
        "lead": _(
            "For work entered in error. From now on it counts as never entered, and standings "
            "are worked out again without it. The record of it stays."
        ),
        "submit": _("Withdraw the work and sign"),
        "done": _("The work is withdrawn."),
    }
    form = ReasonForm(sent(request))
    return _write(
        request, person, form, texts, partial(services.withdraw_practice, practice=practice)
    )


@require_http_methods(FORM_METHODS)
@login_required
def stamp_issue(request: UserRequest, employee_number: str) -> HttpResponse:
    person = access.person_when(request.user, employee_number, "stamps")
    form = StampForm(sent(request), initial={"issued_on": person.site.today()})
    texts = {
        "title": _("Issue a stamp"),
        "lead": _("Its marks are theirs from that day on, until they give it back."),
        "submit": _("Issue the stamp"),
        "done": _("The stamp is issued."),
    }
    return _write(request, person, form, texts, partial(services.issue_stamp, person=person))


@require_http_methods(FORM_METHODS)
@login_required
def stamp_return(request: UserRequest, employee_number: str, stamp_id: int) -> HttpResponse:
    person = access.person_when(request.user, employee_number, "stamps")
    stamp = get_object_or_404(person.stamps.filter(returned_on__isnull=True), pk=stamp_id)
    form = StampReturnForm(sent(request), initial={"returned_on": person.site.today()})
    texts = {
        "title": _("Take stamp %(mark)s back") % {"mark": stamp.mark},
        "lead": "",
        "submit": _("Take it back"),
        "done": _("Stamp %(mark)s is back.") % {"mark": stamp.mark},
    }
    return _write(request, person, form, texts, partial(services.return_stamp, stamp=stamp))


def sent(request: UserRequest) -> Any:
    return request.POST if request.method == "POST" else None


def _write(
    request: UserRequest,
    person: Person,
    form: forms.Form,
    texts: dict[str, str],
    act: Callable[..., Any],
) -> HttpResponse:
    """Show the form, or act on what it says and go back to the person's page."""
    if form.is_bound and form.is_valid():
        fields = dict(form.cleaned_data)
        try:
            if "password" in fields:
                fields["proof"] = prove_identity(request.user, fields.pop("password"))
            act(**fields, actor=request.user, at=timezone.now())
        except ProofRefused as error:
            form.add_error("password", str(error))
        except TrainingError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, texts["done"])
            return redirect("training:person_detail", person.employee_number)
    context = {"person": person, "form": form, "texts": texts}
    status = 422 if form.is_bound else 200
    return render(request, "training/fact_form.html", context, status=status)

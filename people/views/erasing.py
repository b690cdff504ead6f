"""Erasing the name of somebody who has left, for whoever administers their site."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from people import access
from people.access import UserRequest
from people.exceptions import PeopleError, ProofRefused
from people.forms.people import ErasureForm
from people.services.erasing import erase_person
from people.services.proof import prove_identity

from .person_forms import FORM_METHODS, post_data


@sensitive_post_parameters("password")
@never_cache
@require_http_methods(FORM_METHODS)
@login_required
def person_erase(request: UserRequest, employee_number: str) -> HttpResponse:
    person = access.person_to_erase(request.user, employee_number)
    form = ErasureForm(post_data(request))
    if form.is_bound and form.is_valid():
        try:
            prove_identity(request.user, form.cleaned_data["password"])
            erase_person(
                person=person,
                reason=form.cleaned_data["reason"],
                actor=request.user,
                at=timezone.now(),
            )
        except ProofRefused as error:
            form.add_error("password", str(error))
        except PeopleError as error:
            form.add_error(None, str(error))
        else:
            messages.success(
                request,
                _("The name of %(number)s is erased.") % {"number": person.employee_number},
            )
            return redirect("people:person_detail", person.employee_number)
    texts = {
        "title": _("Erase the name"),
        "lead": _(
            "Name, addresses, employer, sign-in, mails and reminders go for good, and the name "
            "goes out of what was signed and written down. The employee number, what was certified "
            "and what they signed stay. Evidence packs about them are thrown away; answers to "
            "questions of auditors that tell of them go 30 days after they were made. Back-ups "
            "made before still hold the name. Take what is kept about them as a file first, if "
            "they asked for it."
        ),
        "submit": _("Erase for good"),
    }
    context = {"person": person, "form": form, "texts": texts}
    status = 422 if form.is_bound else 200
    return render(request, "people/fact_form.html", context, status=status)

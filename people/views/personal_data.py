"""What is kept about somebody as a file: for themselves, and for whoever answers for it."""

from django.contrib.auth.decorators import login_required
from django.http import FileResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from people import access
from people.access import UserRequest
from people.exceptions import PeopleError, ProofRefused
from people.forms.people import PersonalDataForm
from people.models import Role
from people.presenters.personal_data import personal_data_zip
from people.services.personal_data import record_handed_out
from people.services.proof import prove_identity

from .person_forms import FORM_METHODS, post_data


@require_safe
@login_required
def own_personal_data(request: UserRequest) -> HttpResponseBase:
    person = access.own_person(request.user)
    return redirect("people:personal_data", person.employee_number)


@sensitive_post_parameters("password")
@never_cache
@require_http_methods(FORM_METHODS)
@login_required
def personal_data(request: UserRequest, employee_number: str) -> HttpResponseBase:
    """Results are in it for themselves and quality, who may read them on pages too."""
    person = access.person_with_right(request.user, employee_number, "data")
    is_own = request.user.person_id == person.pk
    in_full = is_own or request.user.has_role(Role.QUALITY, site=person.site_id)
    form = PersonalDataForm(post_data(request), is_own=is_own)
    if form.is_bound and form.is_valid():
        at = timezone.now()
        try:
            proof = prove_identity(request.user, form.cleaned_data["password"])
            record_handed_out(
                person=person,
                reason=form.cleaned_data.get("reason", ""),
                proof=proof,
                actor=request.user,
                at=at,
            )
        except ProofRefused as error:
            form.add_error("password", str(error))
        except PeopleError as error:
            form.add_error(None, str(error))
        else:
            file = personal_data_zip(person, at=at, in_full=in_full)
            name = f"{person.employee_number}-{at:%Y-%m-%d}.zip"
            return FileResponse(file, as_attachment=True, filename=name)
    context = {"person": person, "form": form, "is_own": is_own, "in_full": in_full}
    status = 422 if form.is_bound else 200
    return render(request, "people/personal_data.html", context, status=status)

"""A form about somebody: shown, acted on, and back to their page."""

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from people.access import UserRequest, people_listed_for
from people.exceptions import ProofRefused
from people.forms.signing import SigningForm
from people.models import Person
from people.services.proof import prove_identity
from records.domain.shown import Shown
from records.exceptions import Refusal, ShownOtherwise

FORM_METHODS = ["GET", "HEAD", "POST"]


def post_data(request: UserRequest) -> Any:
    return request.POST if request.method == "POST" else None


def save_person_fact(
    request: UserRequest,
    person: Person,
    form: forms.Form,
    texts: dict[str, str],
    act: Callable[..., Any],
    *,
    ends: str = "",
    showing: Callable[[], Shown] | None = None,
) -> HttpResponse:
    """Show the form, or act on what it says and go back to the person's page.

    ``ends`` names another page, for acts that may take the person out of the user's reach;
    ``showing`` looks up once more what a `SigningForm` shows. Where the texts have a sentence for
    what was there ``already``, the act returns None for it.
    """
    if form.is_bound and form.is_valid():
        fields = dict(form.cleaned_data)
        try:
            if "password" in fields:
                fields["proof"] = prove_identity(request.user, fields.pop("password"))
            if isinstance(form, SigningForm):
                fields["shown"] = form.shown_digest
            done = act(**fields, actor=request.user, at=timezone.now())
        except ShownOtherwise:
            if isinstance(form, SigningForm) and showing is not None:
                form.show_anew(showing())
        except ProofRefused as error:
            form.add_error("password", str(error))
        except Refusal as error:
            form.add_error(None, str(error))
        else:
            if done is None and "already" in texts:
                messages.info(request, texts["already"])
            else:
                messages.success(request, texts["done"])
            if ends and not people_listed_for(request.user).filter(pk=person.pk).exists():
                return redirect(ends)
            return redirect("people:person_detail", person.employee_number)
    context = {"person": person, "form": form, "texts": texts}
    status = 422 if form.is_bound else 200
    return render(request, "people/fact_form.html", context, status=status)

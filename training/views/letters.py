"""Letters about a class to those whom no mail reaches, and cancelling a class."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from people.access import UserRequest
from training import access
from training.exceptions import TrainingError
from training.forms.letters import LettersForm
from training.forms.waiting import ReasonForm
from training.presenters.letters_printed import letters_pdf
from training.queries.classes import letters_to_print
from training.services import cancelling, letters


@require_safe
@login_required
def class_letters(request: UserRequest, number: str) -> HttpResponse:
    """The letters of a class that are still to be printed, as a PDF."""
    session = access.session_for_instructor(request.user, number)
    content = letters_pdf(session.site, letters_to_print(session), at=timezone.now())
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="letters-{number}.pdf"'
    return response


@require_POST
@login_required
def class_letters_printed(request: UserRequest, number: str) -> HttpResponse:
    """Note that the letters which the page of the class named are printed."""
    session = access.session_for_instructor(request.user, number)
    form = LettersForm(request.POST, letters=session.letters.all())
    if form.is_valid():
        noted = letters.note_printed(
            session=session,
            letter_ids=[letter.pk for letter in form.cleaned_data["letter"]],
            actor=request.user,
            at=timezone.now(),
        )
        message = ngettext(
            "%(n)d letter is noted as printed.", "%(n)d letters are noted as printed.", noted
        )
        messages.success(request, message % {"n": noted})
    else:
        messages.error(request, _("No letter is named. Open the class and try again."))
    return redirect("training:class_detail", number)


@require_POST
@login_required
def class_cancel(request: UserRequest, number: str) -> HttpResponse:
    """Cancel a class for a reason that everybody in it is told."""
    session = access.session_for_instructor(request.user, number)
    form = ReasonForm(request.POST)
    if not form.is_valid():
        messages.error(request, str(form.errors["reason"][0]))
        return redirect("training:class_edit", number)
    try:
        cancelling.cancel_class(
            session=session,
            reason=form.cleaned_data["reason"],
            actor=request.user,
            at=timezone.now(),
        )
    except TrainingError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("The class is cancelled, and everybody in it is told."))
    return redirect("training:class_detail", number)

"""One's own language, and how often lists come."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from people.access import UserRequest, own_person
from people.models import Role
from people.queries.languages import in_language, language_of
from people.services import people
from reminders.forms.mail_choices import MailChoiceForm
from reminders.services import lists as reminder_lists


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def mail_choices(request: UserRequest) -> HttpResponse:
    person = own_person(request.user)
    form = MailChoiceForm(
        request.POST if request.method == "POST" else None,
        has_lists=request.user.has_role(Role.INSTRUCTOR),
        initial={
            "language": language_of(person),
            "lists": reminder_lists.how_often(person),
        },
    )
    if request.method == "POST" and form.is_valid():
        chosen, now = form.cleaned_data, timezone.now()
        people.change_person(person=person, actor=request.user, at=now, language=chosen["language"])
        if "lists" in chosen:
            reminder_lists.choose_lists(
                person=person, lists=chosen["lists"], actor=request.user, at=now
            )
        with in_language(chosen["language"]):
            messages.success(request, _("What changed is saved."))
        return redirect("reminders:mail_choices")
    return render(
        request,
        "reminders/mail_choices.html",
        {"form": form, "person": person},
        status=422 if form.is_bound else 200,
    )

"""The auditor's question: whose stamp or whose work was that, and were they certified."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from audit.forms.who_was_that import WhoWasThatForm
from audit.presenters import who_was_that as answers
from people.access import UserRequest, role_required, today_for
from people.models import Role


@require_safe
@role_required(Role.QUALITY)
def who_was_that(request: UserRequest) -> HttpResponse:
    person = request.user.person
    site = person.site if person else None
    form = WhoWasThatForm(request.GET if "q" in request.GET else None, site=site)
    now = timezone.now()
    reply, known_at = None, None
    if form.is_valid():
        known_at = form.known_at
        if known_at is not None and known_at >= now:
            known_at = None  # What is still to be recorded is not known now either.
        reply = answers.who_was_that(
            request.user, form.cleaned_data["q"], today=today_for(request.user), known_at=known_at
        )
    context = {"form": form, "reply": reply, "known_at": known_at, "now": now, "site": site}
    return render(
        request,
        "audit/who_was_that.html",
        context,
        status=422 if form.errors else 200,
    )

"""One person and one scope: the answer for a day, as known at an instant, and its evidence."""

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from certification import access
from certification.forms.standing import StandingForm
from certification.presenters import standing_page as standing_screen
from people.access import UserRequest


@require_safe
@login_required
def standing_detail(request: UserRequest, person_pk: int, scope_pk: int) -> HttpResponse:
    person, scope = access.person_and_scope_for_standing(request.user, person_pk, scope_pk)
    now = timezone.now()
    form = StandingForm(request.GET, site=person.site, today=person.site.today(now))
    screen = standing_screen.build(
        person,
        scope,
        request.user,
        day=form.asked_day,
        known_at=form.asked_known_at,
        all_practice=request.GET.get("practice") == "all",
        now=now,
    )
    return render(
        request,
        "certification/standing_detail.html",
        {"screen": screen, "form": form, "query": form.query(), "now": now},
        status=422 if form.errors else 200,
    )

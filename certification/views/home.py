"""The home pages by role, and somebody's standing on their page."""

from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from assessments.access import cannot_tell_visible_to
from assessments.presenters.board_page import asked_of
from certification import access, ports
from certification.models import Scope
from certification.presenters import bench, card, register
from certification.presenters.path_picture import paths_ahead
from people.access import (
    UserRequest,
    days_for,
    own_person,
    people_with_standing_for,
    person_for_page,
    role_required,
)
from people.models import Role


@require_safe
@login_required
def home(request: UserRequest) -> HttpResponse:
    """Where somebody’s work is: bench, register, bench check, people, or their own card.

    Whoever administers a site that is not set up yet is led to what is missing.

    A kiosk is led to the only page it opens.
    """
    roles = request.user.role_names()
    if Role.KIOSK in roles:
        return redirect("certification:bench_check")
    if first := ports.first_page(request.user, timezone.now()):
        return redirect(first)
    if Role.INSTRUCTOR in roles:
        return redirect("certification:bench")
    if Role.QUALITY in roles:
        return redirect("certification:register")
    if Role.LINE_LEAD in roles:
        return redirect("certification:bench_check")
    if Role.ADMINISTRATOR in roles:
        return redirect("people:person_list")
    return redirect("certification:my_card")


@require_safe
@role_required(Role.INSTRUCTOR)
def bench_page(request: UserRequest) -> HttpResponse:
    """What waits for the instructor, in the calendar of where they work."""
    person = request.user.person
    with timezone.override(person.site.zone if person else None):
        sites = request.user.sites_as(Role.INSTRUCTOR)
        now = timezone.now()
        days = days_for(request.user, sites, now)
        context = {
            "bench": bench.bench_of(request.user, days, now),
            "today": days.day,
        }
        return render(request, "certification/bench.html", context)


@require_safe
@login_required
def my_card(request: UserRequest) -> HttpResponse:
    person = own_person(request.user)
    today = person.site.today()
    own = cannot_tell_visible_to(request.user).filter(grading__board__person=person)
    context = {
        "card": card.card_of(person, today),
        "today": today,
        "asked": asked_of(own[: bench.ASKED_SHOWN]),
    }
    return render(request, "certification/card.html", context)


@require_safe
@login_required
def person_standing(request: UserRequest, employee_number: str) -> HttpResponse:
    """Somebody's scopes today, as a part of their page."""
    person = person_for_page(request.user, employee_number)
    filters = register.RegisterFilters(day=person.site.today(), with_left=True)
    visible = people_with_standing_for(request.user).filter(pk=person.pk)
    other = (
        register.with_spans(request.user, visible, filters)
        .select_related("site", "line_lead")
        .first()
    )
    in_full = access.reads_in_full(request.user, person)
    return render(
        request,
        "certification/partials/person_standing.html",
        {
            "person": person,
            "lines": register.lines_of(other, filters, in_full) if other else [],
            "may_read": other is not None,
            "paths": paths_ahead(person, filters.day) if in_full else [],
            "scopes": Scope.objects.filter(retired_at__isnull=True) if in_full else [],
            "today": filters.day,
        },
    )

"""The home pages by role, and the find field."""

from django.contrib.auth.decorators import login_required
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from assessments.access import boards_readable_by
from certification import bench, card, register
from certification.access import certificates_readable_by
from certification.models import Scope
from training.access import (
    UserRequest,
    own_person,
    people_listed_for,
    people_with_standing_for,
    person_for_page,
    role_required,
)
from training.models import Person, Role

MOST_FOUND = 20


@require_safe
@login_required
def home(request: UserRequest) -> HttpResponse:
    """Where somebody's work is: the bench, the register, the people, or their own card."""
    roles = request.user.role_names()
    if Role.INSTRUCTOR in roles:
        return redirect("certification:bench")
    if roles & {Role.QUALITY, Role.LINE_LEAD}:
        return redirect("certification:register")
    if Role.ADMINISTRATOR in roles:
        return redirect("training:person_list")
    return redirect("certification:my_card")


@require_safe
@role_required(Role.INSTRUCTOR)
def bench_page(request: UserRequest) -> HttpResponse:
    now = timezone.now()
    person = request.user.person
    today = person.site.today(now) if person else timezone.localdate(now)
    return render(
        request,
        "certification/bench.html",
        {"bench": bench.bench_of(request.user, today), "today": today},
    )


@require_safe
@login_required
def my_card(request: UserRequest) -> HttpResponse:
    person = own_person(request.user)
    today = person.site.today()
    return render(
        request, "certification/card.html", {"card": card.card_of(person, today), "today": today}
    )


@require_safe
@login_required
def person_standing(request: UserRequest, employee_number: str) -> HttpResponse:
    """Somebody's scopes today, as a part of their page."""
    person = person_for_page(request.user, employee_number)
    asked = register.Asked(day=person.site.today(), with_left=True)
    visible = people_with_standing_for(request.user).filter(pk=person.pk)
    found = register.with_spans(visible, asked).select_related("site", "line_lead").first()
    in_full = register.reads_in_full(request.user, person)
    return render(
        request,
        "certification/partials/person_standing.html",
        {
            "person": person,
            "lines": register.lines_of(found, asked, in_full) if found else [],
            "may_read": found is not None,
            "scopes": Scope.objects.filter(retired_at__isnull=True) if in_full else [],
            "today": asked.day,
        },
    )


@require_safe
@role_required(Role.INSTRUCTOR, Role.QUALITY)
def find(request: UserRequest) -> HttpResponse:
    """People, boards and certificates by number or name; a single one is opened at once."""
    text = request.GET.get("q", "").strip()[:120]
    people: list[Person] = []
    boards, certificates = [], []
    if text:
        people = list(
            people_listed_for(request.user)
            .filter(
                Q(full_name__icontains=text)
                | Q(employee_number__istartswith=text)
                | Q(former_numbers__employee_number=text)
                | Q(stamps__mark__iexact=text)
            )
            .select_related("site")
            .distinct()[:MOST_FOUND]
        )
        boards = list(
            boards_readable_by(request.user)
            .filter(Q(number__icontains=text) | Q(unit__iexact=text) | Q(work_order__iexact=text))
            .with_list_columns()[:MOST_FOUND]
        )
        certificates = list(
            certificates_readable_by(request.user)
            .filter(Q(number__icontains=text) | Q(outside_number__iexact=text))
            .select_related("person", "scope")[:MOST_FOUND]
        )
    if len(people) + len(boards) + len(certificates) == 1:
        if people:
            return redirect("training:person_detail", people[0].employee_number)
        if boards:
            return redirect("assessments:board_detail", boards[0].number)
        return redirect("certification:certificate_detail", certificates[0].number)
    return render(
        request,
        "certification/find.html",
        {"text": text, "people": people, "boards": boards, "certificates": certificates},
    )

"""What is printed of who may do what: the list for the wall, and the card for the wallet."""

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from certification import access
from certification.exceptions import NothingToPrint
from certification.presenters import wall_list
from certification.presenters.wallet_card import wallet_card
from people.access import UserRequest, role_required
from people.models import Role


@require_safe
@role_required(Role.QUALITY, Role.INSTRUCTOR, Role.LINE_LEAD)
def wall_list_page(request: UserRequest) -> HttpResponse:
    choice = wall_list.choice_for(
        request.user, request.GET.get("site", ""), request.GET.get("lead", "")
    )
    now = timezone.now()
    works = []
    people = wall_list.people_for(request.user).none()
    if choice.site is not None:
        people = wall_list.people_for(request.user).filter(site=choice.site)
        if choice.lead is not None:
            people = people.filter(line_lead=choice.lead)
        today = choice.site.today(now)
        works = wall_list.works_of(people.at_work_on(today), today)
    return render(
        request,
        "certification/wall_list.html",
        {
            "choice": choice,
            "works": works,
            "now": now,
            "today": choice.site.today(now) if choice.site else timezone.localdate(now),
            "check_at": settings.PUBLIC_URL + reverse("certification:bench_check"),
        },
    )


@require_safe
@login_required
def certificate_card(request: UserRequest, number: str) -> HttpResponse:
    """The card for the wallet as a PDF, where the certificate is in force today."""
    certificate = access.certificate_for_reader(request.user, number)
    try:
        content = wallet_card(certificate, at=timezone.now())
    except NothingToPrint as error:
        messages.error(request, str(error))
        return redirect("certification:certificate_detail", certificate.number)
    response = HttpResponse(content, content_type="application/pdf")
    name = "".join(
        character if character.isalnum() or character in "-_" else "-"
        for character in certificate.number
    )
    response["Content-Disposition"] = f'inline; filename="card-{name}.pdf"'
    return response

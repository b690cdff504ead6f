"""What is printed of who may do what: the list for the wall, and the card for the wallet."""

from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from certification import access
from certification.exceptions import NothingToPrint
from certification.presenters import wall_list
from certification.presenters.wallet_card import wallet_card
from people.access import UserRequest, role_required
from people.models import Role
from people.presenters.paper import not_printed


@require_safe
@role_required(Role.QUALITY, Role.INSTRUCTOR, Role.LINE_LEAD)
def wall_list_page(request: UserRequest) -> HttpResponse:
    lists = _list_asked_for(request)
    return render(
        request,
        "certification/wall_list.html",
        {
            "choice": lists.choice,
            "works": lists.works,
            "now": lists.at,
            "check_at": wall_list.check_address(),
            "asked": urlencode(
                {"site": lists.choice.site.prefix if lists.choice.site else "", "lead": lists.lead}
            ),
            "lacking": not_printed(wall_list.texts_on_list(lists)),
        },
    )


@require_safe
@role_required(Role.QUALITY, Role.INSTRUCTOR, Role.LINE_LEAD)
def wall_list_pdf(request: UserRequest) -> HttpResponse:
    """The same list as it is printed."""
    content = wall_list.wall_pdf(_list_asked_for(request))
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = 'inline; filename="who-may-do-what.pdf"'
    return response


def _list_asked_for(request: UserRequest) -> wall_list.WallList:
    return wall_list.wall_list(
        request.user,
        request.GET.get("site", ""),
        request.GET.get("lead", ""),
        at=timezone.now(),
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

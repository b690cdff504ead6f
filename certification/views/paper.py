"""What is printed of who may do what, and the certificate as paper, card and signed file."""

from urllib.parse import urlencode

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from certification import access
from certification.exceptions import CertificationError, NothingToPrint
from certification.forms.paper import MonthsBackForm
from certification.models import Certificate
from certification.presenters import certificate_document, credential, wall_list, work_missing
from certification.presenters.wallet_card import wallet_card
from certification.services.credentials import make_credential
from certification.services.public_codes import code_of
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
@role_required(Role.QUALITY, Role.INSTRUCTOR, Role.LINE_LEAD)
def work_missing_page(request: UserRequest) -> HttpResponse:
    """Who of a line has no work recorded in some months."""
    form = MonthsBackForm({"months": work_missing.USUAL_MONTHS, **request.GET.dict()})
    listed = _work_missing(request, form)
    asked = {
        "site": listed.choice.site.prefix if listed.choice.site else "",
        "lead": listed.lead,
        "months": listed.months,
    }
    return render(
        request,
        "certification/work_missing.html",
        {
            "choice": listed.choice,
            "scopes": listed.scopes,
            "since": listed.since,
            "title": work_missing.months_said(listed.months),
            "now": listed.at,
            "form": form,
            "months": listed.months,
            "asked": urlencode(asked),
            "lacking": not_printed(work_missing.texts_on_list(listed)),
        },
        status=422 if form.errors else 200,
    )


@require_safe
@role_required(Role.QUALITY, Role.INSTRUCTOR, Role.LINE_LEAD)
def work_missing_pdf(request: UserRequest) -> HttpResponse:
    """The same list as it is printed."""
    content = work_missing.work_missing_pdf(_work_missing(request, MonthsBackForm(request.GET)))
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = 'inline; filename="work-missing.pdf"'
    return response


def _work_missing(request: UserRequest, form: MonthsBackForm) -> work_missing.WorkMissing:
    return work_missing.work_missing(
        request.user,
        request.GET.get("site", ""),
        request.GET.get("lead", ""),
        months=form.months_asked(),
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
    response["Content-Disposition"] = f'inline; filename="card-{_in_file_name(certificate)}.pdf"'
    return response


@require_safe
@login_required
def certificate_pdf(request: UserRequest, number: str) -> HttpResponse:
    """The certificate on A4; its public code is made with the first one."""
    certificate = access.certificate_for_reader(request.user, number)
    try:
        content = certificate_document.certificate_pdf(
            certificate, code=code_of(certificate), at=timezone.now()
        )
    except NothingToPrint as error:
        messages.error(request, str(error))
        return redirect("certification:certificate_detail", certificate.number)
    response = HttpResponse(content, content_type="application/pdf")
    name = _in_file_name(certificate)
    response["Content-Disposition"] = f'inline; filename="certificate-{name}.pdf"'
    return response


@require_POST
@login_required
def certificate_credential(request: UserRequest, number: str) -> HttpResponse:
    """The certificate as a signed file for other programs."""
    certificate = access.certificate_for_reader(request.user, number)
    try:
        made = make_credential(certificate=certificate, actor=request.user, at=timezone.now())
        content = credential.credential_jwt(made, code=code_of(certificate))
    except CertificationError as error:
        messages.error(request, str(error))
        return redirect("certification:certificate_detail", certificate.number)
    response = HttpResponse(content, content_type=credential.MEDIA_TYPE)
    name = _in_file_name(certificate)
    response["Content-Disposition"] = f'attachment; filename="certificate-{name}.jwt"'
    response["Cache-Control"] = "no-store, private"
    return response


def _in_file_name(certificate: Certificate) -> str:
    return "".join(
        character if character.isalnum() or character in "-_" else "-"
        for character in certificate.number
    )

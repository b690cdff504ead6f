"""What anybody may open without signing in: one certificate by its code, keys and status lists.

Nothing here sets a cookie, is found by search engines or names anybody whose paper the reader does
not hold.
"""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from certification.exceptions import CertificationError, KeyNotHere
from certification.forms.public import PublicCodeForm
from certification.presenters import credential
from certification.presenters.public_certificate import PublicCertificate
from certification.services.public_codes import certificate_by_code
from people.exceptions import TriedTooOften
from people.middleware.sign_ins import client_address

View = Callable[..., HttpResponse]
NOT_INDEXED = {"X-Robots-Tag": "noindex, nofollow", "Referrer-Policy": "no-referrer"}
FRESH_S = int(credential.LIST_IS_FRESH.total_seconds())
FOR_ALL = {"Cache-Control": f"public, max-age={FRESH_S}", "Access-Control-Allow-Origin": "*"}
UNAVAILABLE = 503


def not_indexed(view: View) -> View:
    @wraps(view)
    def wrapper(request: HttpRequest, **named: Any) -> HttpResponse:
        response = view(request, **named)
        for name, value in NOT_INDEXED.items():
            response[name] = value
        return response

    return wrapper


@not_indexed
@require_safe
def public_check(request: HttpRequest) -> HttpResponse:
    """The form, and what it was asked: sent by GET, so that no cookie is needed."""
    if not {"number", "code"} & request.GET.keys():
        return _page(request, PublicCodeForm())
    form = PublicCodeForm(request.GET)
    if not form.is_valid():
        return _page(request, form, status=422)
    return _answer(request, form, **form.cleaned_data)


@not_indexed
@require_safe
def public_certificate(request: HttpRequest, number: str, code: str) -> HttpResponse:
    """Where the code on paper leads."""
    return _answer(request, PublicCodeForm({"number": number, "code": code}), number, code)


def _answer(request: HttpRequest, form: PublicCodeForm, number: str, code: str) -> HttpResponse:
    now = timezone.now()
    form.is_valid()
    try:
        certificate = certificate_by_code(
            number=number, code=code, address=client_address(request), at=now
        )
    except TriedTooOften as error:
        form.add_error(None, str(error))
        return _page(request, form, status=429)
    except CertificationError as error:
        form.add_error(None, str(error))
        return _page(request, form, status=404)
    return _page(request, PublicCodeForm(), shown=PublicCertificate.of(certificate, now))


def _page(
    request: HttpRequest,
    form: PublicCodeForm,
    *,
    shown: PublicCertificate | None = None,
    status: int = 200,
) -> HttpResponse:
    context = {"form": form, "shown": shown}
    return render(request, "certification/public_certificate.html", context, status=status)


@not_indexed
@require_safe
def signing_keys(request: HttpRequest) -> HttpResponse:
    """Public keys at their well-known address; a lost one is gone from here."""
    return JsonResponse(credential.jwks(), content_type="application/jwk-set+json", headers=FOR_ALL)


@not_indexed
@require_safe
def issuer_metadata(request: HttpRequest) -> HttpResponse:
    return JsonResponse(credential.issuer_metadata(), headers=FOR_ALL)


@not_indexed
@require_safe
def credential_issuer(request: HttpRequest) -> HttpResponse:
    """The issuer that credentials name, with its keys."""
    return JsonResponse(
        credential.issuer_document(), content_type="application/cid", headers=FOR_ALL
    )


@not_indexed
@require_safe
def status_list(request: HttpRequest, status_list: int) -> HttpResponse:
    """Which credentials of a list no longer count, signed."""
    if status_list > credential.MOST_LISTS:
        raise Http404
    try:
        content = credential.status_list_jwt(status_list, at=timezone.now())
    except KeyNotHere as error:
        return HttpResponse(
            str(error), status=UNAVAILABLE, content_type="text/plain; charset=utf-8"
        )
    if content is None:
        raise Http404
    return HttpResponse(content, content_type=credential.MEDIA_TYPE, headers=FOR_ALL)

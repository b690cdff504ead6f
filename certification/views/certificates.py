"""One certificate: reading it, its document, and acting on it."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_safe

from certification import access
from certification.exceptions import CertificationError
from certification.forms.certificates import ActForm
from certification.models import CertificateEvent
from certification.presenters import certificate_page as certificate_screen
from certification.presenters.certificate_document import texts_on_certificate
from certification.presenters.signing_shown import certificates_shown
from certification.presenters.wallet_card import texts_on_card
from certification.services import events
from certification.services.acts import Act
from people.access import UserRequest
from people.exceptions import ProofRefused
from people.presenters.paper import not_printed
from people.services.proof import prove_identity
from records.exceptions import ShownOtherwise


@dataclass(frozen=True)
class ActPage:
    """One thing quality can do to a certificate, and how its page words it."""

    service: Callable[..., Any]
    title: Any
    lead: Any
    done: Any
    asks: tuple[str, ...] = ("effective_on",)
    day_label: Any = ""
    on_all: bool = True
    is_final: bool = False
    tells_restriction: bool = False


ACTS = {
    "suspend": ActPage(
        events.suspend_certificates,
        gettext_lazy("Suspend"),
        gettext_lazy("It does not count from this day until somebody reinstates it."),
        gettext_lazy("Suspended."),
        day_label=gettext_lazy("First day suspended"),
    ),
    "reinstate": ActPage(
        events.reinstate_certificates,
        gettext_lazy("Reinstate"),
        gettext_lazy("It counts again from this day on."),
        gettext_lazy("Reinstated."),
        day_label=gettext_lazy("First day in force again"),
    ),
    "revoke": ActPage(
        events.revoke_certificates,
        gettext_lazy("Revoke"),
        gettext_lazy("It never counts again from this day on, nor do boards judged until then."),
        gettext_lazy("Revoked."),
        day_label=gettext_lazy("First day revoked"),
        is_final=True,
    ),
    "end": ActPage(
        events.end_certificates,
        gettext_lazy("End"),
        gettext_lazy("For somebody who leaves, changes work or gives it up."),
        gettext_lazy("Ended."),
        day_label=gettext_lazy("Last good day"),
    ),
    "restrict": ActPage(
        events.restrict_certificates,
        gettext_lazy("Restrict"),
        gettext_lazy(
            "From this day on it allows what you write and no other work. Its days, and what "
            "keeps it alive, stay as they are."
        ),
        gettext_lazy("Restricted."),
        asks=("effective_on", "restriction"),
        day_label=gettext_lazy("First day restricted"),
        tells_restriction=True,
    ),
    "lift": ActPage(
        events.lift_restriction,
        gettext_lazy("Lift the restriction"),
        gettext_lazy("From this day on it allows again what it was issued for."),
        gettext_lazy("The restriction is lifted."),
        asks=("effective_on",),
        day_label=gettext_lazy("First day without it"),
        tells_restriction=True,
    ),
    "extend": ActPage(
        events.extend_certificate,
        gettext_lazy("Extend"),
        gettext_lazy(
            "Moves the last day, if it was granted while the certificate was good. What keeps it "
            "alive is asked for as before."
        ),
        gettext_lazy("Extended."),
        asks=("effective_on", "until", "authority"),
        day_label=gettext_lazy("Granted on"),
        on_all=False,
    ),
    "withdraw": ActPage(
        events.withdraw_certificate,
        gettext_lazy("Withdraw"),
        gettext_lazy(
            "For a certificate entered in error: from now on it counts as never entered. "
            "It stays on record."
        ),
        gettext_lazy("Withdrawn."),
        asks=(),
        on_all=False,
        is_final=True,
        tells_restriction=True,
    ),
}


@require_safe
@login_required
def certificate_detail(request: UserRequest, number: str) -> HttpResponse:
    certificate = access.certificate_for_reader(request.user, number)
    screen = certificate_screen.build(certificate, request.user)
    return render(
        request,
        "certification/certificate_detail.html",
        {
            "certificate": certificate,
            "screen": screen,
            "lacking": not_printed(
                (
                    *texts_on_card(certificate, screen.restriction),
                    *texts_on_certificate(certificate),
                )
            ),
        },
    )


@require_safe
@login_required
def certificate_document(request: UserRequest, number: str) -> FileResponse:
    """The paper as it came, as a download: never shown inside a page of ours."""
    document = access.document_for_reader(request.user, number)
    return FileResponse(
        document.file.open("rb"),
        as_attachment=True,
        filename=document.original_name,
        content_type=document.media_type,
    )


@require_http_methods(["GET", "POST"])
@login_required
def certificate_act(request: UserRequest, number: str, act: str) -> HttpResponse:
    certificate = access.certificate_for_quality(request.user, number)
    if act not in ACTS:
        raise Http404
    wanted = ACTS[act]
    now = timezone.now()
    form = ActForm(
        request.POST or None,
        asks=wanted.asks,
        day_label=wanted.day_label,
        today=certificate.person.site.today(now),
        showing=certificates_shown(certificate.person, certificate.scope, now),
    )
    if request.method == "POST" and form.is_valid():
        fields = dict(form.cleaned_data)
        try:
            proof = prove_identity(request.user, fields.pop("password"))
            fields.pop("shown")
            signed = Act(
                actor=request.user,
                at=now,
                proof=proof,
                reason=fields.pop("reason"),
                effective_on=fields.pop("effective_on", None),
                shown=form.shown_digest,
            )
            on = (
                {"person": certificate.person, "scope": certificate.scope}
                if wanted.on_all
                else {"certificate": certificate}
            )
            wanted.service(**on, **fields, act=signed)
        except ShownOtherwise:
            form.show_anew(certificates_shown(certificate.person, certificate.scope, now))
        except ProofRefused as error:
            form.add_error("password", str(error))
        except CertificationError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, str(wanted.done))
            return redirect("certification:certificate_detail", certificate.number)
    restricted = None
    if wanted.tells_restriction:
        restricted = certificate_screen.restricted_now(certificate, now)
    return render(
        request,
        "certification/certificate_act.html",
        {"certificate": certificate, "act": wanted, "form": form, "restricted": restricted},
        status=422 if form.errors else 200,
    )


@require_http_methods(["GET", "POST"])
@login_required
def event_remove(request: UserRequest, number: str, event: int) -> HttpResponse:
    certificate = access.certificate_for_quality(request.user, number)
    removable = get_object_or_404(
        CertificateEvent.objects.select_related("certificate__person__site", "signature"),
        certificate=certificate,
        pk=event,
    )
    now = timezone.now()
    form = ActForm(
        request.POST or None,
        asks=(),
        today=certificate.person.site.today(now),
        showing=certificates_shown(certificate.person, certificate.scope, now),
    )
    if request.method == "POST" and form.is_valid():
        try:
            proof = prove_identity(request.user, form.cleaned_data["password"])
            events.void_event(
                event=removable,
                act=Act(
                    actor=request.user,
                    at=now,
                    proof=proof,
                    reason=form.cleaned_data["reason"],
                    shown=form.shown_digest,
                ),
            )
        except ShownOtherwise:
            form.show_anew(certificates_shown(certificate.person, certificate.scope, now))
        except ProofRefused as error:
            form.add_error("password", str(error))
        except CertificationError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("Removed."))
            return redirect("certification:certificate_detail", certificate.number)
    return render(
        request,
        "certification/event_remove.html",
        {"certificate": certificate, "event": removable, "form": form},
        status=422 if form.errors else 200,
    )

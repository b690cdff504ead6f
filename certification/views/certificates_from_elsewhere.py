"""A certificate from elsewhere: what it would give is shown first, then it is signed."""

from datetime import datetime

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from certification import access
from certification.exceptions import CertificationError
from certification.forms.certificates_from_elsewhere import ElsewhereForm
from certification.models import SchemeRevision, Scope
from certification.presenters import standing_to_come as presenter
from certification.queries.standing_if_entered import IfEntered
from certification.services import certificates_from_elsewhere as services
from certification.services.acts import Act
from people.access import UserRequest, role_required
from people.exceptions import ProofRefused
from people.models import Role
from people.services.proof import prove_identity
from records.domain.shown import Shown
from records.exceptions import ShownOtherwise


def _coming(form: ElsewhereForm, act: Act) -> IfEntered:
    """The standing that the form's facts would give; its document is not read for it."""
    facts = form.cleaned_data
    return services.standing_to_come(
        person=facts["person"],
        scope=facts["scope"],
        revision=facts["revision"],
        paper=form.paper_without_document(),
        restriction=facts["restriction"],
        act=act,
    )


def _form(request: UserRequest, now: datetime, *, is_signing: bool) -> ElsewhereForm:
    act = Act(actor=request.user, at=now)

    def show(form: ElsewhereForm) -> Shown:
        try:
            coming = form.coming = _coming(form, act)
        except CertificationError as error:
            raise ValidationError(str(error)) from error
        return presenter.elsewhere_shown(coming, now)

    asked = {name: request.GET[name] for name in ("person", "scope") if name in request.GET}
    return ElsewhereForm(
        request.POST or None,
        request.FILES or None,
        initial=asked,
        people=access.people_for_quality(request.user),
        scopes=Scope.objects.filter(retired_at__isnull=True),
        revisions=SchemeRevision.objects.filter(published_at__isnull=False, retired_at__isnull=True)
        .select_related("scheme")
        .order_by("name"),
        show=show,
        is_signing=is_signing,
        now=now,
    )


@require_http_methods(["GET", "POST"])
@role_required(Role.QUALITY)
def certificate_from_elsewhere(request: UserRequest) -> HttpResponse:
    """The form, the standing that it would give as it is typed, and the signature.

    Where only the standing is asked for (by htmx, or by a button without a script), nothing is
    written and no proof is looked at.
    """
    now, posted = timezone.now(), request.method == "POST"
    asks_only = posted and (request.htmx or "preview" in request.POST)
    form = _form(request, now, is_signing=posted and not asks_only)
    if posted and form.is_valid() and not asks_only:
        try:
            proof = prove_identity(request.user, form.cleaned_data["password"])
            certificate = services.enter_certificate_from_elsewhere(
                person=form.cleaned_data["person"],
                scope=form.cleaned_data["scope"],
                revision=form.cleaned_data["revision"],
                paper=form.paper(),
                restriction=form.cleaned_data["restriction"],
                act=Act(actor=request.user, at=now, proof=proof, shown=form.shown_digest),
            )
        except ShownOtherwise:
            form.coming = _coming(form, Act(request.user, now))
            form.show_anew(presenter.elsewhere_shown(form.coming, now))
        except ProofRefused as error:
            form.add_error("password", str(error))
        except CertificationError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("Entered as %(number)s.") % {"number": certificate.number})
            return redirect("certification:certificate_detail", certificate.number)
    context = {
        "form": form,
        "to_come": presenter.standing_to_come(form.coming) if form.coming else None,
        "suggestions": access.people_for_quality(request.user)[:200],
    }
    if request.htmx:
        return render(request, "certification/partials/standing_to_come.html", context)
    status = 422 if form.errors else 200
    return render(request, "certification/certificate_elsewhere.html", context, status=status)

"""Schemes published and retired by quality, with their proof."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from certification import access
from certification.exceptions import CertificationError
from certification.forms.schemes import PublishSchemeForm, RetireSchemeForm
from certification.models import SchemeRevision
from certification.presenters import scheme_page
from certification.queries import scheme_drafts as queries
from certification.queries import scheme_faults
from certification.services import schemes as services
from people.access import UserRequest, days_for, role_required, today_for
from people.exceptions import ProofRefused
from people.models import Role, Site
from people.services.proof import prove_identity
from records.exceptions import ShownOtherwise

from .schemes import FORM_METHODS, published_already, show_revision


@require_http_methods(FORM_METHODS)
@role_required(Role.QUALITY)
def scheme_publish(request: UserRequest, revision_id: int) -> HttpResponse:
    """What publishing a draft comes to, what stops it, and publishing it."""
    revision = access.revision_for_reader(request.user, revision_id)
    if not revision.is_draft:
        return published_already(request, revision)
    form = PublishSchemeForm(
        request.POST if request.method == "POST" else None,
        showing=scheme_page.scheme_shown(revision, timezone.now()),
    )
    if request.method == "POST" and form.is_valid():
        try:
            published = services.publish_scheme_revision(
                revision=revision,
                reason=form.cleaned_data["reason"],
                proof=prove_identity(request.user, form.cleaned_data["password"]),
                shown=form.shown_digest,
                actor=request.user,
                at=timezone.now(),
            )
        except ShownOtherwise:
            revision = access.revision_for_reader(request.user, revision_id)
            form.show_anew(scheme_page.scheme_shown(revision, timezone.now()))
        except ProofRefused as error:
            form.add_error("password", str(error))
        except CertificationError as error:
            form.add_error(None, str(error))
        else:
            messages.success(
                request,
                _("%(name)s is published: certificates are issued under it.") % {"name": published},
            )
            return redirect("certification:scheme_detail", revision_id)
    return _show_publishing(request, revision, form)


def _show_publishing(
    request: UserRequest, revision: SchemeRevision, form: PublishSchemeForm
) -> HttpResponse:
    sites = set(Site.objects.values_list("pk", flat=True))
    second = queries.refusing_for_second(revision, request.user)
    faults = scheme_faults.faults_of(revision)
    if second:
        faults.append(scheme_faults.second_said(second))
    context = {
        "revision": revision,
        "form": form,
        "figures": scheme_page.revision_said(revision, today_for(request.user)),
        "scopes": scheme_page.scopes_said(revision),
        "earlier": queries.earlier_of(revision),
        "differences": scheme_page.draft_differences(revision),
        "faults": faults,
        "remarks": scheme_faults.remarks_on(revision),
        "consequences": scheme_page.consequences(
            revision, days_for(request.user, sites, timezone.now())
        ),
    }
    status = 422 if form.is_bound else 200
    return render(request, "certification/scheme_publish.html", context, status=status)


@require_POST
@role_required(Role.QUALITY)
def scheme_retire(request: UserRequest, revision_id: int) -> HttpResponse:
    """Issue nothing more under a revision."""
    revision = access.revision_for_reader(request.user, revision_id)
    form = RetireSchemeForm(request.POST, auto_id="retire-%s")
    if form.is_valid():
        try:
            services.retire_scheme_revision(
                revision=revision,
                reason=form.cleaned_data["reason"],
                proof=prove_identity(request.user, form.cleaned_data["password"]),
                actor=request.user,
                at=timezone.now(),
            )
        except ProofRefused as error:
            form.add_error("password", str(error))
        except CertificationError as error:
            messages.error(request, str(error))
            return redirect("certification:scheme_detail", revision_id)
        else:
            messages.success(request, _("%(name)s is retired.") % {"name": revision})
            return redirect("certification:scheme_detail", revision_id)
    if revision.is_draft:
        messages.error(request, _("%(name)s is a draft: discard it.") % {"name": revision})
        return redirect("certification:scheme_detail", revision_id)
    return show_revision(request, revision, retire_form=form)

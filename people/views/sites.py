"""Sites and how they are set up: for administrators."""

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from people import access
from people.access import UserRequest, role_required
from people.exceptions import PeopleError, ProofRefused
from people.forms.sites import SignInPolicyForm, SiteForm
from people.models import Role, Site
from people.queries.second_factors import lacking_at
from people.services import sites as services
from people.services.proof import prove_identity

FORM_METHODS = ["GET", "HEAD", "POST"]


@require_GET
@role_required(Role.ADMINISTRATOR)
def site_list(request: UserRequest) -> HttpResponse:
    sites = access.sites_administered_by(request.user)
    return render(request, "people/site_list.html", {"sites": sites, "now": timezone.now()})


@require_http_methods(FORM_METHODS)
@role_required(Role.ADMINISTRATOR)
def site_new(request: UserRequest) -> HttpResponse:
    blank = Site()
    form = SiteForm(
        request.POST if request.method == "POST" else None,
        initial={
            "time_zone": access.sites_administered_by(request.user)[0].time_zone,
            **{
                name: getattr(blank, name)
                for name in (
                    "work_starts",
                    "work_ends",
                    "send_hour",
                    "proposal_days",
                    "lock_minutes",
                )
            },
        },
    )
    if request.method == "POST" and form.is_valid():
        try:
            data = dict(form.cleaned_data)
            site = services.add_site(
                prefix=data.pop("number_prefix"), **data, actor=request.user, at=timezone.now()
            )
        except PeopleError as error:
            form.add_error(None, str(error))
        else:
            messages.success(
                request, _("%(site)s is added, and you administer it.") % {"site": site}
            )
            return redirect("people:site_list")
    status = 422 if form.is_bound else 200
    return render(request, "people/site_form.html", {"form": form}, status=status)


@require_http_methods(FORM_METHODS)
@login_required
def site_edit(request: UserRequest, prefix: str) -> HttpResponse:
    site = access.site_for_administrator(request.user, prefix)
    form = SiteForm(
        request.POST if request.method == "POST" else None,
        site=site,
        initial={name: getattr(site, name) for name in services.SETTINGS},
    )
    if request.method == "POST" and form.is_valid():
        try:
            services.change_site(
                site=site, **form.cleaned_data, actor=request.user, at=timezone.now()
            )
        except PeopleError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("What changed is saved."))
            return redirect("people:site_list")
    context = {"form": form, "site": site}
    status = 422 if form.is_bound else 200
    return render(request, "people/site_form.html", context, status=status)


@require_http_methods(FORM_METHODS)
@login_required
def site_sign_in(request: UserRequest, prefix: str) -> HttpResponse:
    """What a site asks of those who sign in there."""
    site = access.site_for_administrator(request.user, prefix)
    form = SignInPolicyForm(
        request.POST if request.method == "POST" else None,
        initial={
            "second_factor_roles": site.second_factor_roles,
            "second_factor_signs": site.second_factor_signs,
            "shown": services.sign_in_policy(site),
        },
    )
    if request.method == "POST" and form.is_valid():
        try:
            proof = prove_identity(request.user, form.cleaned_data.pop("password"))
            services.change_sign_in_policy(
                site=site, **form.cleaned_data, proof=proof, actor=request.user, at=timezone.now()
            )
        except ProofRefused as error:
            form.add_error("password", str(error))
        except PeopleError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("What changed is saved."))
            return redirect("people:site_sign_in", site.prefix)
    context = {
        "form": form,
        "site": site,
        "needed": ", ".join(str(Role(role).label) for role in site.second_factor_roles),
        "lacking": lacking_at(site, site.second_factor_roles),
    }
    status = 422 if form.is_bound else 200
    return render(request, "people/site_sign_in.html", context, status=status)

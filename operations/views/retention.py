"""How long each site keeps what is recorded, and what the next night removes."""

import json

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from operations import access
from operations.exceptions import ShownOtherRules
from operations.forms.retention import RetentionForm
from operations.models import SiteRetention
from operations.queries import old_photos
from operations.queries import retention as queries
from operations.services import retention as services
from people.access import UserRequest, role_required
from people.exceptions import ProofRefused
from people.models import Role
from people.services.proof import prove_identity

FORM_METHODS = ["GET", "HEAD", "POST"]


@require_safe
@role_required(Role.ADMINISTRATOR, Role.QUALITY)
def retention(request: UserRequest) -> HttpResponse:
    """The user's sites; of one alone its page."""
    sites = list(access.sites_with_retention(request.user))
    if len(sites) == 1:
        return redirect("operations:retention_site", sites[0].prefix)
    rules = [(site, queries.retention_of(site)) for site in sites]
    kinds = list(SiteRetention.Kind)
    lines = [(site, [(kind, rule.months(kind)) for kind in kinds]) for site, rule in rules]
    context = {"lines": lines, "kinds": kinds}
    return render(request, "operations/retention_list.html", context)


@require_safe
@login_required
def retention_site(request: UserRequest, prefix: str) -> HttpResponse:
    """What the next run removes at a site and why."""
    site, at = access.site_with_retention(request.user, prefix), timezone.now()
    last = queries.last_run(site)
    said = json.loads(last.payload.body or "{}") if last else {}
    context = {
        "site": site,
        "may_change": access.may_change_retention(request.user, site),
        "outlooks": queries.outlook(site, at),
        "moves": old_photos.move_outlook(site, at),
        "last": last,
        "last_removed": [
            (kind.label, said[kind.value]) for kind in SiteRetention.Kind if said.get(kind.value)
        ],
    }
    return render(request, "operations/retention_site.html", context)


@sensitive_post_parameters("password")
@never_cache
@require_http_methods(FORM_METHODS)
@login_required
def retention_change(request: UserRequest, prefix: str) -> HttpResponse:
    site = access.site_to_change_retention(request.user, prefix)
    form = RetentionForm(
        request.POST if request.method == "POST" else None, retention=queries.retention_of(site)
    )
    if form.is_bound and form.is_valid():
        try:
            proof = prove_identity(request.user, form.cleaned_data["password"])
            services.change_retention(
                site=site,
                months=form.months(),
                shown=form.shown(),
                proof=proof,
                actor=request.user,
                at=timezone.now(),
            )
        except ProofRefused as error:
            form.add_error("password", str(error))
        except ShownOtherRules as error:
            # Shown anew, so that what is saved next is what was read.
            messages.warning(request, str(error))
            return redirect("operations:retention_change", site.prefix)
        else:
            messages.success(request, _("Saved. Below is what the next run removes."))
            return redirect("operations:retention_site", site.prefix)
    status = 422 if form.is_bound else 200
    context = {"site": site, "form": form}
    return render(request, "operations/retention_change.html", context, status=status)

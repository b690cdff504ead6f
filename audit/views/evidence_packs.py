"""Evidence packs: asked for here, their progress, and the file."""

from typing import Any

from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.cache import add_never_cache_headers
from django.views.decorators.http import require_http_methods, require_safe

from audit import access
from audit.exceptions import AuditError
from audit.forms.evidence_packs import EvidencePackForm
from audit.models import EvidencePack
from audit.models.evidence_packs import KEPT_FOR
from audit.presenters import pack_dossier
from audit.services import evidence_packs as services
from people.access import UserRequest, role_required
from people.models import Role

PACKS_A_PAGE = 25


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.QUALITY)
def evidence_packs(request: UserRequest) -> HttpResponse:
    thing, site = access.thing_to_pack(request.user, request.GET)
    if site is None:
        raise Http404
    data = request.POST if request.method == "POST" else None
    form = EvidencePackForm(data, zone=site.zone, of_one_thing=bool(thing))
    if request.method == "POST" and form.is_valid():
        try:
            pack = services.request_pack(
                actor=request.user, site=site, at=timezone.now(), **thing, **form.question()
            )
        except AuditError as error:
            form.add_error(None, str(error))
        else:
            return redirect("audit:evidence_pack", pack.number)
    packs = access.evidence_packs_readable_by(request.user).select_related(
        "asked_by__person", "site", "certificate", "person", "board", "head"
    )
    page = Paginator(packs, PACKS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "thing": next(iter(thing.items()), None),
        "page": page,
        "lines": [(pack, pack_dossier.question_said(pack)) for pack in page],
        "zone": site.zone,
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "audit/evidence_packs.html", context, status=status)


@require_safe
@role_required(Role.QUALITY)
def evidence_pack(request: UserRequest, number: str) -> HttpResponse:
    pack = access.evidence_pack_for_quality(request.user, number)
    if request.htmx and request.htmx.target == "progress":
        response = render(request, "audit/partials/evidence_pack_progress.html", {"pack": pack})
        if pack.finished_at is not None:
            response["HX-Refresh"] = "true"
        return response
    context: dict[str, Any] = {
        "pack": pack,
        "question": pack_dossier.question_said(pack),
        "zone": pack.site.zone,
        "kept_until": pack.finished_at + KEPT_FOR if pack.finished_at else None,
    }
    return render(request, "audit/evidence_pack.html", context)


@require_safe
@role_required(Role.QUALITY)
def evidence_pack_file(request: UserRequest, number: str) -> FileResponse:
    pack = access.evidence_pack_for_quality(request.user, number)
    if pack.state != EvidencePack.State.FINISHED:
        raise Http404
    response = FileResponse(
        pack.file.open("rb"),
        as_attachment=True,
        filename=f"{pack.number}.zip",
        content_type="application/zip",
    )
    add_never_cache_headers(response)
    return response

"""What fails most, and the joints with their photographs behind each number."""

from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from assessments.forms.what_fails import WhatFailsForm
from assessments.models import Rendition
from assessments.presenters import what_fails as presenter
from people.access import READERS, UserRequest, role_required
from people.presenters import exported_tables as exports


def _asked(request: UserRequest) -> tuple[WhatFailsForm, presenter.WhatFailsFilters]:
    form = WhatFailsForm(request.GET, sites=request.user.sites_as(*READERS))
    return form, presenter.WhatFailsFilters(
        form.months_asked, form.purpose_asked, form.site_asked, timezone.now()
    )


@require_safe
@role_required(*READERS)
def what_fails(request: UserRequest) -> HttpResponse:
    form, filters = _asked(request)
    by = presenter.by_named(request.GET.get("by", ""))
    context = {
        "form": form,
        "filters": filters,
        "query": filters.as_asked(),
        "overview": presenter.overview(request.user, by, filters),
    }
    return render(request, "assessments/what_fails.html", context)


@require_safe
@role_required(*READERS)
def what_fails_csv(request: UserRequest) -> StreamingHttpResponse:
    _form, filters = _asked(request)
    lines = exports.csv_lines(presenter.COLUMNS, presenter.csv_rows(request.user, filters))
    response = StreamingHttpResponse(lines, content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = (
        f'attachment; filename="what-fails-{filters.first_month:%Y-%m}.csv"'
    )
    return response


@require_safe
@role_required(*READERS)
def what_fails_joints(request: UserRequest) -> HttpResponse:
    _form, filters = _asked(request)
    behind = presenter.joints_behind(
        request.user,
        presenter.by_named(request.GET.get("by", "")),
        request.GET.get("key", ""),
        filters,
        shows_all=request.GET.get("show") == "judged",
        page=request.GET.get("page"),
    )
    context = {
        "behind": behind,
        "filters": filters,
        "page": behind.page,
        "thumbnail": Rendition.Size.THUMBNAIL.value,
    }
    return render(request, "assessments/what_fails_joints.html", context)

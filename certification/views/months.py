"""What ends in the coming months, as a chart, a list and a file, beside the places planned."""

from datetime import date
from itertools import groupby

from django.core.paginator import Paginator
from django.http import HttpResponse, StreamingHttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from certification.forms.months import MonthsForm
from certification.presenters import months_ahead, months_picture
from people.access import (
    UserRequest,
    days_for,
    people_with_standing_for,
    role_required,
)
from people.models import Role, Site
from people.presenters import exported_tables as exports
from people.queries.site_days import Days

ENDS_A_PAGE = 100
Places = list[tuple[date, str]]
READERS = (Role.QUALITY, Role.INSTRUCTOR, Role.LINE_LEAD)


def _asked(request: UserRequest) -> tuple[MonthsForm, months_ahead.MonthsFilters, Places]:
    """What is asked for, on the day that it is at each site, and the sites on another day."""
    work_at = set(
        people_with_standing_for(request.user)
        .order_by()
        .values_list("site", "line_lead")
        .distinct()
    )
    sites = {site for site, _lead in work_at}
    form = MonthsForm(
        request.GET,
        user=request.user,
        sites=sites,
        leads={lead for _site, lead in work_at if lead},
    )
    days = days_for(request.user, sites, timezone.now())
    return form, form.filters(days), _named(days)


def _named(days: Days) -> Places:
    """The sites where it is another day than the reader's, by day, in words."""
    ids = {site_id for _day, sites in days.elsewhere for site_id in sites}
    names = dict(Site.objects.filter(pk__in=ids).values_list("pk", "name")) if ids else {}
    return [
        (day, ", ".join(sorted(names[site_id] for site_id in sites)))
        for day, sites in days.elsewhere
    ]


@require_safe
@role_required(*READERS)
def months_ahead_page(request: UserRequest) -> HttpResponse:
    form, filters, elsewhere = _asked(request)
    overview = months_ahead.overview(request.user, filters)
    page = Paginator(months_ahead.listed(request.user, filters), ENDS_A_PAGE).get_page(
        request.GET.get("page")
    )
    lines = months_ahead.lines_of(request.user, filters, list(page.object_list))
    query = request.GET.copy()
    query.pop("page", None)
    title = _(
        "What ends in the %(n)d months from today, by scope, as filled bars, and the places in "
        "classes, by course, as hollow ones. The table below says the same."
    ) % {"n": filters.months}
    return render(
        request,
        "certification/months_ahead.html",
        {
            "form": form,
            "filters": filters,
            "elsewhere": elsewhere,
            "overview": overview,
            "pictures": months_picture.pictures(overview, title),
            "table": months_ahead.table_of(overview),
            "places": months_ahead.places_total(overview.sessions),
            "page": page,
            "months": [
                (month, list(month_lines))
                for month, month_lines in groupby(
                    lines, key=lambda line: line.last_day.replace(day=1)
                )
            ],
            "query": query.urlencode(),
            "may_place": any(line.may_be_placed for line in lines),
            "sees_classes": request.user.has_role(Role.QUALITY, Role.INSTRUCTOR),
        },
    )


@require_safe
@role_required(*READERS)
def months_ahead_csv(request: UserRequest) -> StreamingHttpResponse:
    _form, filters, _elsewhere = _asked(request)
    rows = (months_ahead.as_row(line) for line in months_ahead.all_lines(request.user, filters))
    lines = exports.csv_lines(months_ahead.COLUMNS, rows)
    response = StreamingHttpResponse(lines, content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="months-ahead-{filters.day}.csv"'
    return response

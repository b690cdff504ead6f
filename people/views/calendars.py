"""A site's calendar: a year at a glance, and the days on which it is closed."""

from datetime import date

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods

from people import access
from people.access import UserRequest, role_required
from people.exceptions import PeopleError
from people.forms.calendars import ClosedDaysForm, OpenDayForm
from people.models import Site
from people.presenters.calendar_page import year_of
from people.presenters.days import format_day
from people.queries.calendars import closed_between, working_days_at
from people.services import calendars as services

FIRST_YEAR, LAST_YEAR = 2000, 2200


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(*services.MAY_CHANGE)
def site_calendar(request: UserRequest) -> HttpResponse:
    """The year of the site that ``?site=`` names; it takes closed days, and opens one again."""
    sites = list(access.sites_with_calendar(request.user))
    site = access.site_for_calendar(request.user, request.GET.get("site", ""))
    year = _year(request.GET.get("year", ""), site.today())
    form = ClosedDaysForm()
    if request.method == "POST" and "opened" in request.POST:
        _open(request, site)
        return _back(site, year)
    if request.method == "POST":
        form = ClosedDaysForm(request.POST)
        if form.is_valid():
            days = form.cleaned_data["days"]
            try:
                closed = services.close_days(
                    site=site, days=days, actor=request.user, at=timezone.now()
                )
            except PeopleError as error:
                form.add_error(None, str(error))
            else:
                messages.success(request, _said(closed))
                return _back(site, min(days).year)
    named = closed_between(site, date(year, 1, 1), date(year, 12, 31))
    months = year_of(year, working_days_at(site), named)
    context = {
        "site": site,
        "sites": sites,
        "year": year,
        "before": year - 1 if year > FIRST_YEAR else None,
        "after": year + 1 if year < LAST_YEAR else None,
        "months": months,
        "working": sum(month.working for month in months),
        "closed": list(named.items()),
        "form": form,
        "today": site.today(),
    }
    status = 422 if form.is_bound else 200
    return render(request, "people/site_calendar.html", context, status=status)


def _year(said: str, today: date) -> int:
    if said.isascii() and said.isdecimal() and len(said) == 4:
        return min(max(int(said), FIRST_YEAR), LAST_YEAR)
    return today.year


def _open(request: UserRequest, site: Site) -> None:
    form = OpenDayForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("Choose a closed day from the list."))
        return
    day = form.cleaned_data["opened"]
    try:
        services.open_day(site=site, day=day, actor=request.user, at=timezone.now())
    except PeopleError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, _("%(day)s is not closed any more.") % {"day": format_day(day)})


def _said(closed: services.Closed) -> str:
    text = ngettext("%(n)d day is closed.", "%(n)d days are closed.", closed.entered)
    said = text % {"n": closed.entered} if closed.entered else ""
    if closed.renamed:
        more = ngettext("%(n)d has a new name.", "%(n)d have new names.", closed.renamed)
        said = f"{said} {more % {'n': closed.renamed}}".strip()
    return said or _("These days were closed already.")


def _back(site: Site, year: int) -> HttpResponse:
    query = urlencode({"site": site.prefix, "year": str(year)})
    return redirect(f"{reverse('people:site_calendar')}?{query}")

"""On which days a site works."""

from collections.abc import Collection
from datetime import date

from people.domain.working_days import WorkingDays, working_days
from people.models import ClosedDay, Site


def working_days_at(site: Site) -> WorkingDays:
    """The days on which a site works, as its week and its calendar say now."""
    closed = ClosedDay.objects.filter(site=site).values_list("day", flat=True)
    return working_days(site.working_days, closed)


def working_days_of(sites: Collection[Site]) -> dict[int, WorkingDays]:
    """The same of several sites, by their keys, in one query."""
    closed: dict[int, set[date]] = {}
    rows = ClosedDay.objects.filter(site__in={site.pk for site in sites})
    for site_id, day in rows.values_list("site", "day"):
        closed.setdefault(site_id, set()).add(day)
    return {site.pk: working_days(site.working_days, closed.get(site.pk, ())) for site in sites}


def closed_between(site: Site, first: date, last: date) -> dict[date, str]:
    """Closed days from one day through another, each with what it is called."""
    rows = ClosedDay.objects.filter(site=site, day__gte=first, day__lte=last)
    return dict(rows.order_by("day").values_list("day", "name"))

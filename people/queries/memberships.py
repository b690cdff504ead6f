"""At which site somebody was on a day, and who is at one now.

`Person.site` is where somebody is at present, kept as these rows say (`people.services.moves`).
Reads of the present use it; what is read of a past day asks here.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import groupby

from django.db.models import F, OuterRef, Q, QuerySet, Subquery

from people.models import Person, Site, SiteMembership


def were_at(sites: Collection[int], day: date) -> QuerySet[SiteMembership]:
    """Ids of those who moved at some time, and on a day were at one of these sites."""
    held = SiteMembership.objects.held_on(day).filter(site__in=sites)
    return held.order_by().values("person")  # type: ignore[return-value]


def at_site_on(site_id: int, day: date) -> Q:
    """People who were at a site on a day, whether or not they ever moved."""
    moved = SiteMembership.objects.not_withdrawn().order_by().values("person")
    never_moved = Q(site=site_id) & ~Q(pk__in=moved)
    return never_moved | Q(pk__in=were_at([site_id], day))


def former_sites_on(day: date) -> dict[int, Site]:
    """Where those were on a day who are elsewhere now, by the person's id."""
    held = SiteMembership.objects.held_on(day).select_related("site", "person")
    return {row.person_id: row.site for row in held if row.site_id != row.person.site_id}


def site_then(day: str) -> Subquery:
    """The site of a row's ``person`` on the day in its field ``day``; null if they never moved."""
    begun = SiteMembership.objects.not_withdrawn().filter(
        person=OuterRef("person"), from_day__lte=OuterRef(day)
    )
    return Subquery(begun.order_by("-from_day", "-pk").values("site")[:1])


@dataclass(frozen=True, slots=True)
class Away:
    """Days on which somebody was not at any of some sites, first and last included."""

    person_id: int
    first: date
    last: date


def ever_at(sites: Collection[int]) -> QuerySet[SiteMembership]:
    """Ids of those who moved, and have been at one of these sites at some time."""
    rows = SiteMembership.objects.not_withdrawn().filter(site__in=sites)
    return rows.order_by().values("person")  # type: ignore[return-value]


def away_from(sites: Collection[int]) -> list[Away]:
    """When those who are not at these sites now, and were, were elsewhere."""
    rows = (
        SiteMembership.objects.not_withdrawn()
        .filter(person__in=ever_at(sites))
        .exclude(person__site__in=sites)
        .order_by("person", "from_day", "pk")
        .values_list("person", "site", "from_day")
    )
    away = []
    for person_id, group in groupby(rows, key=lambda row: row[0]):
        begun = list(group)
        ends = [row[2] - timedelta(days=1) for row in begun[1:]] + [date.max]
        away += [
            Away(person_id, first, last)
            for (_person, site_id, first), last in zip(begun, ends, strict=True)
            if site_id not in sites and first <= last
        ]
    return away


# The present


def site_at(rows: Iterable[SiteMembership], now: datetime) -> Site | None:
    """Where somebody is at an instant, by their rows with their sites.

    A move holds from the midnight at which its day begins where they move to. None where no row
    holds.
    """
    held = [row for row in rows if row.from_day <= row.site.today(now)]
    return max(held, key=lambda row: (row.from_day, row.pk)).site if held else None


def begins_at(row: SiteMembership) -> datetime:
    """The instant from which a move holds."""
    return datetime.combine(row.from_day, time(), row.site.zone)


def moves_to_look_at(now: datetime) -> list[SiteMembership]:
    """Rows that may change where somebody is: lately begun or to come, or not carried out."""
    lately = now.date() - timedelta(days=2)
    last = SiteMembership.objects.held_on(now.date() - timedelta(days=1)).values("pk")
    not_carried_out = Q(pk__in=last) & ~Q(person__site=F("site"))
    return list(
        SiteMembership.objects.not_withdrawn()
        .filter(Q(from_day__gte=lately) | not_carried_out)
        .select_related("site")
    )


def history_of(person: Person) -> list[SiteMembership]:
    """Where somebody was from when, latest first, with what was withdrawn."""
    rows = person.site_memberships.select_related("site", "withdrawal", "entered_by__person")
    return list(rows.order_by("-from_day", "-pk"))

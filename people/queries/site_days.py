"""The day that it is for each person: the one at their site, whoever asks and from where."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.db.models import Q

from people.models import Site


@dataclass(frozen=True, slots=True)
class Days:
    """One day for everybody, except at the sites where it is another.

    Attributes
    ----------
    day : date
        Where the reader is, or the day that was asked about.
    elsewhere : tuple of (date, frozenset of int)
        Other days with the ids of the sites where it is that day; the world has three at most.
    """

    day: date
    elsewhere: tuple[tuple[date, frozenset[int]], ...] = ()

    def at(self, site_id: int) -> date:
        return next((day for day, sites in self.elsewhere if site_id in sites), self.day)

    @property
    def first(self) -> date:
        return min([self.day, *(day for day, _sites in self.elsewhere)])

    @property
    def last(self) -> date:
        return max([self.day, *(day for day, _sites in self.elsewhere)])

    def each(self, condition: Callable[[date], Q], site: str) -> Q:
        """A condition on a day, asked of everybody with the day at their site.

        ``site`` is the path from the rows asked about to the site, such as ``person__site``.
        """
        asked = condition(self.day)
        if not self.elsewhere:
            return asked
        others = {site_id for _day, sites in self.elsewhere for site_id in sites}
        asked &= ~Q(**{f"{site}__in": others})
        for day, sites in self.elsewhere:
            asked |= Q(**{f"{site}__in": sites}) & condition(day)
        return asked


def days_at(now: datetime, day: date, zones: Iterable[tuple[int, str]]) -> Days:
    """The days that it is now at sites, given their ids and time zones, beside the reader's."""
    by_day: dict[date, set[int]] = {}
    for site_id, zone in zones:
        by_day.setdefault(now.astimezone(ZoneInfo(zone)).date(), set()).add(site_id)
    by_day.pop(day, None)
    return Days(day, tuple((other, frozenset(by_day[other])) for other in sorted(by_day)))


def days_now(now: datetime, day: date, site_ids: Iterable[int]) -> Days:
    """The same for sites that have not been read."""
    zones = Site.objects.filter(pk__in=set(site_ids)).values_list("pk", "time_zone")
    return days_at(now, day, zones)

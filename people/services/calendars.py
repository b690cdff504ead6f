"""Closed days of a site: entered, named, and opened again."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext as _

from people.exceptions import PeopleError
from people.models import ClosedDay, Role, Site, User
from records.services import trail

MAY_CHANGE = (Role.ADMINISTRATOR, Role.INSTRUCTOR)


@dataclass(frozen=True, slots=True)
class Closed:
    """How many days were entered, and how many were there already under another name."""

    entered: int
    renamed: int


@transaction.atomic
def close_days(*, site: Site, days: Mapping[date, str], actor: User, at: datetime) -> Closed:
    """Enter days on which a site does not work; one that is there takes the name that is given.

    Classes that are planned keep their days: they are changed one by one.

    Raises
    ------
    PeopleError
        If the site's calendar is not the actor's to change.
    """
    site = _lock_site(site, actor)
    known = {row.day: row for row in ClosedDay.objects.filter(site=site, day__in=days)}
    new = {day: name for day, name in days.items() if day not in known}
    renamed = {
        day: name for day, name in days.items() if name and day in known and known[day].name != name
    }
    ClosedDay.objects.bulk_create(
        ClosedDay(site=site, day=day, name=name, recorded_at=at) for day, name in new.items()
    )
    for day, name in renamed.items():
        known[day].name = name
    ClosedDay.objects.bulk_update([known[day] for day in renamed], ["name"])
    if new or renamed:
        said = {day.isoformat(): name for day, name in sorted((new | renamed).items())}
        payload = {"site": site.prefix, "closed": said}
        trail.record(actor=actor, act="site days closed", about=site, payload=payload, at=at)
    return Closed(len(new), len(renamed))


@transaction.atomic
def open_day(*, site: Site, day: date, actor: User, at: datetime) -> None:
    """Take a day out of the calendar, so that the week alone says whether it is a working day.

    Raises
    ------
    PeopleError
        If the day is not closed, or the site's calendar is not the actor's to change.
    """
    site = _lock_site(site, actor)
    row = ClosedDay.objects.filter(site=site, day=day).first()
    if row is None:
        raise PeopleError(_("That day is not closed: somebody opened it meanwhile."))
    payload = {"site": site.prefix, "day": day, "name": row.name}
    row.delete()
    trail.record(actor=actor, act="site day opened", about=site, payload=payload, at=at)


def _lock_site(site: Site, actor: User) -> Site:
    if not actor.has_role(*MAY_CHANGE, site=site):
        raise PeopleError(
            _("The calendar of %(site)s is kept by its instructors and administrators.")
            % {"site": site}
        )
    return Site.objects.select_for_update(no_key=True).get(pk=site.pk)

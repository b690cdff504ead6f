"""What a plan of a class has to keep to, and with which other classes it meets."""

from collections.abc import Collection, Sequence
from datetime import date, datetime

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from people.models import Role, Site, User
from people.presenters.days import format_day_with_weekday
from training.domain.class_days import FIRST, LAST, MAX_DAYS
from training.exceptions import MeetsOtherClasses, TrainingError
from training.models import ClassSession, Room
from training.queries.meeting_classes import meeting_classes


def refuse_plan(
    site: Site, instructors: Sequence[User], starts_on: date, ends_on: date, at: datetime
) -> None:
    """Raise TrainingError for days that cannot be, or somebody who does not teach at the site."""
    if ends_on < starts_on:
        raise TrainingError(_("The last day comes before the first. Change one of them."))
    if starts_on < FIRST or ends_on > LAST:
        raise TrainingError(
            _("Give days in the years %(first)d to %(last)d.")
            % {"first": FIRST.year, "last": LAST.year}
        )
    if (ends_on - starts_on).days >= MAX_DAYS:
        raise TrainingError(
            _("That is more than %(days)d days. Plan several classes.") % {"days": MAX_DAYS}
        )
    for instructor in instructors:
        may_teach = instructor.may_sign_in(at) and instructor.has_role(Role.INSTRUCTOR, site=site)
        if not may_teach:
            raise TrainingError(
                _("%(name)s is not an instructor at %(site)s. Choose one who is.")
                % {"name": instructor, "site": site}
            )


def lock_room(site: Site, name: str, places: int, days: Sequence[date]) -> Room | None:
    """The room of the site with this name, held until the plan is written; None for other places.

    Raises
    ------
    TrainingError
        If it has fewer benches than there are to be places, or is closed on one of the days.
    """
    room = (
        Room.objects.select_for_update(no_key=True).filter(site=site, name__iexact=name).first()
        if name
        else None
    )
    if room is None:
        return None
    if places > room.benches:
        raise TrainingError(
            ngettext(
                "%(room)s has %(benches)d bench: give the class no more places, or another room.",
                "%(room)s has %(benches)d benches: give the class no more places, or another room.",
                room.benches,
            )
            % {"room": room, "benches": room.benches}
        )
    if room.closed_on is not None and days[-1] >= room.closed_on:
        raise TrainingError(
            _("%(room)s is closed from %(day)s on. Choose another room or earlier days.")
            % {"room": room, "day": format_day_with_weekday(room.closed_on)}
        )
    return room


def lock_rooms(keys: Collection[int]) -> None:
    """Hold rooms until classes in them are filled, one after another in the order of their keys."""
    rooms = Room.objects.select_for_update(no_key=True).filter(pk__in=keys).order_by("pk")
    list(rooms.values_list("pk", flat=True))


def say_what_it_meets(
    session: ClassSession | None,
    days: Sequence[date],
    room: Room | None,
    instructors: Sequence[User],
    known: Collection[str] | None,
) -> None:
    """Name other classes in the same room or with the same instructor on one of the days.

    Parameters
    ----------
    session : ClassSession or None
        The class itself, where it is planned already.
    known : collection of str or None
        Numbers of the classes that the page named already; None where nobody asks.

    Raises
    ------
    MeetsOtherClasses
        If there is one that is not among those known.
    """
    if known is None:
        return
    meetings = meeting_classes(session, days, room, [one.pk for one in instructors])
    if any(meeting.session.number not in known for meeting in meetings):
        raise MeetsOtherClasses(meetings)

"""The rooms of a site and their benches."""

from datetime import date, datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from people.models import Site, User
from people.presenters.days import format_day_with_weekday
from records.services import trail
from training.exceptions import TrainingError
from training.models import Room


@transaction.atomic
def add_room(*, site: Site, name: str, benches: int, actor: User, at: datetime) -> Room:
    """Enter a room of a site; raise TrainingError where it has one of that name."""
    try:
        with transaction.atomic():
            room = Room.objects.create(site=site, name=name, benches=benches, recorded_at=at)
    except IntegrityError:
        raise _is_there_already(site, name) from None
    trail.record(actor=actor, act="room added", about=room, payload=_room_payload(room), at=at)
    return room


@transaction.atomic
def change_room(
    *, room: Room, name: str, benches: int, closed_on: date | None, actor: User, at: datetime
) -> Room:
    """Change what a room is called, how many benches it has, or until when it is used.

    Raises
    ------
    TrainingError
        If a class to come has more places than there would be benches, or is held there once it
        is closed; or if another room of the site has the name.
    """
    room = Room.objects.select_for_update(no_key=True).select_related("site").get(pk=room.pk)
    before = _room_payload(room)
    to_come = room.sessions.filter(ends_on__gte=room.site.today(at)).order_by("starts_on", "number")
    if (session := to_come.filter(places__gt=benches).first()) is not None:
        raise TrainingError(
            _("%(number)s has %(places)d places there: give it fewer, or another room, first.")
            % {"number": session.number, "places": session.places}
        )
    if closed_on and (session := to_come.filter(ends_on__gte=closed_on).first()) is not None:
        raise TrainingError(
            _("%(number)s is held there until %(day)s: give it another room first.")
            % {"number": session.number, "day": format_day_with_weekday(session.ends_on)}
        )
    room.name, room.benches, room.closed_on = name, benches, closed_on
    try:
        with transaction.atomic():
            room.save(update_fields=["name", "benches", "closed_on"])
    except IntegrityError:
        raise _is_there_already(room.site, name) from None
    after = _room_payload(room)
    if before != after:
        to_come.update(room=name)
        trail.record(
            actor=actor,
            act="room changed",
            about=room,
            payload={"before": before, "after": after},
            at=at,
        )
    return room


def _is_there_already(site: Site, name: str) -> TrainingError:
    return TrainingError(
        _("%(site)s has a room %(name)s already. Give this one another name.")
        % {"site": site, "name": name}
    )


def _room_payload(room: Room) -> dict[str, Any]:
    return {
        "site": room.site.prefix,
        "room": room.name,
        "benches": room.benches,
        "closed_on": room.closed_on,
    }

"""The rooms of a site and their benches."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from people.models import Site, User
from people.presenters.days import format_day_with_weekday
from records.services import trail
from training.exceptions import TrainingError
from training.models import ClassLetter, ClassSession, Room

from .class_lock import lock_sessions
from .letters import write_letters


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
    room, to_come = _lock_with_classes(room, at)
    before = _room_payload(room)
    for session in to_come:
        if session.places <= benches:
            continue
        raise TrainingError(
            _("%(number)s has %(places)d places there: give it fewer, or another room, first.")
            % {"number": session.number, "places": session.places}
        )
    for session in to_come:
        if closed_on is None or session.ends_on < closed_on:
            continue
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
        trail.record(
            actor=actor,
            act="room changed",
            about=room,
            payload={"before": before, "after": after},
            at=at,
        )
    if before["room"] != name:
        _rename_in(to_come, name, at)
    return room


def _lock_with_classes(room: Room, at: datetime) -> tuple[Room, list[ClassSession]]:
    """A room and the classes to come there, which come first in the order of locks.

    Where a class was given the room in between, the locks are given back and taken anew.
    """
    held = ClassSession.objects.standing().filter(held_in=room, ends_on__gte=room.site.today(at))
    while True:
        known = set(held.values_list("pk", flat=True))
        try:
            with transaction.atomic():
                lock_sessions(known)
                locked = Room.objects.select_for_update(of=("self",), no_key=True)
                room = locked.select_related("site").get(pk=room.pk)
                to_come = list(
                    held.select_related(
                        "site", "course_revision__course", "instructor__person"
                    ).order_by("pk")
                )
                if {session.pk for session in to_come} <= known:
                    return room, to_come
                raise _ClassWasGivenTheRoom
        except _ClassWasGivenTheRoom:
            continue


class _ClassWasGivenTheRoom(Exception):
    pass


def _rename_in(sessions: Sequence[ClassSession], name: str, at: datetime) -> None:
    """Have classes say where they are held now, and tell the people in them."""
    for session in sessions:
        session.room = name
        session.save(update_fields=["room"])
        people = [one.person for one in session.enrolments.select_related("person__site")]
        write_letters(session, people, ClassLetter.Kind.CHANGE, at=at, changed=["room"])


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

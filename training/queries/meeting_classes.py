"""Classes that meet: in the same room, or with the same instructor, on one day."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet

from people.models import Person
from training.models import ClassSession, Enrolment, Room, SessionDay


@dataclass(frozen=True)
class Meeting:
    """Another class, the first day that both are held, and what they share on it."""

    session: ClassSession
    day: date
    same_room: bool
    instructors: tuple[str, ...]


def meeting_classes(
    session: ClassSession | None,
    days: Sequence[date],
    room: Room | None,
    instructor_ids: Collection[int],
) -> list[Meeting]:
    """Other classes on one of the days in the room or with one of the instructors, by day."""
    shares = Q(instructor__in=instructor_ids) | Q(other_instructors__instructor__in=instructor_ids)
    if room is not None:
        shares |= Q(held_in=room)
    others = (
        ClassSession.objects.standing()
        .filter(shares, days__day__in=days)
        .select_related("course_revision__course", "instructor__person")
        .prefetch_related("other_instructors__instructor__person")
        .distinct()
    )
    if session is not None:
        others = others.exclude(pk=session.pk)
    first_day = dict(
        SessionDay.objects.filter(session__in=others.order_by().values("pk"), day__in=days)
        .order_by("session", "-day")
        .values_list("session", "day")
    )
    meetings = [
        Meeting(
            other,
            first_day[other.pk],
            room is not None and other.held_in_id == room.pk,
            tuple(str(one) for one in other.teachers() if one.pk in instructor_ids),
        )
        for other in others
    ]
    return sorted(meetings, key=lambda meeting: (meeting.day, meeting.session.number))


def overlapping(session: ClassSession, people: Sequence[Person]) -> QuerySet[Enrolment]:
    """Enrolments of these people in other classes that share a day with this one."""
    return enrolled_on(session.days.values("day"), people).exclude(session=session)


def enrolled_on(days: Any, people: Sequence[Person]) -> QuerySet[Enrolment]:
    """Enrolments of these people in classes that are held on one of the days."""
    shared = SessionDay.objects.filter(session=OuterRef("session"), day__in=days)
    return (
        Enrolment.objects.filter(Exists(shared), person__in=people)
        .select_related("person", "session__course_revision__course")
        .order_by("person__full_name", "session__number")
    )

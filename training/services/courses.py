"""Classes: planned, filled, and who was there on each day."""

from collections.abc import Collection, Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from people.models import Person, Site, User
from people.presenters.days import format_day_with_weekday
from people.queries.calendars import closed_between
from people.services.people import lock_people
from records.services import trail
from records.services.numbers import next_number
from training.domain.class_days import days_held
from training.exceptions import (
    ClassChangedMeanwhile,
    InAnotherClass,
    MeetsOtherClasses,
    TrainingError,
)
from training.models import (
    Attendance,
    ClassLetter,
    ClassSession,
    CourseRevision,
    Enrolment,
    OtherInstructor,
    SessionDay,
)
from training.queries.classes import class_days
from training.queries.meeting_classes import enrolled_on, overlapping

from .class_lock import (
    class_digest,
    enrolment_payload,
    lock_session,
    refuse_cancelled,
    refuse_who_lacks,
    refuse_who_left,
    session_payload,
)
from .letters import told_otherwise, what_it_says, write_letters
from .plan_checks import lock_room, refuse_plan, say_what_it_meets
from .waiting import fill_places, lock_with_waiting

NUMBER_KIND = "K"
PLANNED_FIELDS = (
    "instructor",
    "starts_on",
    "ends_on",
    "places",
    "room",
    "held_in",
    "open_to",
    "book_until_days",
)


@transaction.atomic
def plan_class(
    *,
    course_revision: CourseRevision,
    site: Site,
    instructor: User,
    starts_on: date,
    ends_on: date,
    places: int,
    actor: User,
    at: datetime,
    room: str = "",
    weekdays: Collection[int] = (),
    others: Sequence[User] = (),
    open_to: str = ClassSession.OpenTo.NOBODY,
    book_until_days: int = 1,
    known: Collection[str] | None = None,
) -> ClassSession:
    """Plan a class at a site; its lead and the others who teach it are instructors there.

    Parameters
    ----------
    weekdays : collection of int
        On which weekdays it is held between its first and its last day, 1 for Monday; by
        default as `training.domain.class_days.days_held` says.
    open_to : str
        Who books a place without an instructor, of `ClassSession.OpenTo`.
    book_until_days : int
        How many days before the first day they book and give back for the last time.
    room : str
        The name of a room of the site, whose benches then limit the places, or any other place.
    known : collection of str, optional
        Numbers of classes with the same room or instructor on a day of it, as the page named
        them. By default nobody asks.

    Raises
    ------
    TrainingError
        If the days, the instructors or the room cannot be as asked.
    MeetsOtherClasses
        If it meets a class that is not among those known.
    """
    _refuse_revision(course_revision)
    teachers = _teachers(instructor, others)
    refuse_plan(site, teachers, starts_on, ends_on, at)
    days = _days_held(site, starts_on, ends_on, weekdays)
    kept_room = lock_room(site, room, places, days)
    say_what_it_meets(None, days, kept_room, teachers, known)
    session = ClassSession.objects.create(
        number=next_number(site.prefix, NUMBER_KIND),
        course_revision=course_revision,
        site=site,
        instructor=instructor,
        room=kept_room.name if kept_room else room,
        held_in=kept_room,
        starts_on=starts_on,
        ends_on=ends_on,
        places=places,
        open_to=open_to,
        book_until_days=book_until_days,
        recorded_at=at,
    )
    hold_on(session, days)
    _taught_beside_by(session, teachers[1:])
    trail.record(
        actor=actor, act="class planned", about=session, payload=session_payload(session), at=at
    )
    return session


@transaction.atomic
def plan_class_for(
    people: Sequence[Person],
    *,
    actor: User,
    at: datetime,
    overlaps: Collection[str] | None = None,
    **plan: Any,
) -> ClassSession:
    """Plan a class and enrol people in it, or do neither; ``plan`` is what `plan_class` takes."""
    # People come first in the order of locks, before the series of numbers.
    lock_people([person.pk for person in people])
    try:
        session = plan_class(**plan, actor=actor, at=at)
    except MeetsOtherClasses as error:
        if overlaps is None:
            raise
        days = days_held(
            plan["starts_on"],
            plan["ends_on"],
            plan["site"].working_days,
            plan.get("weekdays", ()),
        )
        raise MeetsOtherClasses(error.meetings, list(enrolled_on(days, people))) from None
    if people:
        enrol_people(session=session, people=people, actor=actor, at=at, overlaps=overlaps)
    return session


@transaction.atomic
def change_class(
    *,
    session: ClassSession,
    instructor: User,
    starts_on: date,
    ends_on: date,
    places: int,
    actor: User,
    at: datetime,
    room: str = "",
    weekdays: Collection[int] = (),
    others: Sequence[User] = (),
    open_to: str = ClassSession.OpenTo.NOBODY,
    book_until_days: int = 1,
    known: Collection[str] | None = None,
    overlaps: Collection[str] | None = None,
    seen: str | None = None,
) -> ClassSession:
    """Move a class or change its places; refused where somebody or something would fall out.

    Parameters and errors are those of `plan_class`, and:

    Parameters
    ----------
    overlaps : collection of str, optional
        Enrolments of people of this class in others that are held on a day which it moves to, by
        their keys, where they are known. By default nobody asks.
    seen : str, optional
        `class_lock.class_digest` of it as the page showed it. By default no page was shown.

    Raises
    ------
    InAnotherClass
        If somebody is in another class on a day which it moves to, that is not among those known.
    ClassChangedMeanwhile
        If somebody else changed it since it was shown.
    """
    session = lock_with_waiting(session, with_enrolled=True)
    refuse_cancelled(session)
    if seen is not None and seen != class_digest(session):
        raise ClassChangedMeanwhile(
            _(
                "Somebody else changed this class since you opened it. What you typed is kept: "
                "save again to have it so, and everybody in the class is told."
            )
        )
    before, said = session_payload(session), what_it_says(session)
    teachers = _teachers(instructor, others)
    refuse_plan(session.site, teachers, starts_on, ends_on, at)
    enrolled = session.enrolments.count()
    if places < enrolled:
        raise TrainingError(
            _("%(n)d people are in the class: give at least as many places.") % {"n": enrolled}
        )
    days = _days_held(session.site, starts_on, ends_on, weekdays)
    outside = (
        Attendance.objects.filter(enrolment__session=session)
        .exclude(day__in=days)
        .order_by("day")
        .first()
    )
    if outside is not None:
        raise TrainingError(
            _("Attendance was taken on %(day)s, so the class has to include that day.")
            % {"day": format_day_with_weekday(outside.day)}
        )
    kept_room = lock_room(session.site, room, places, days)
    elsewhere = [] if overlaps is None else _elsewhere_on(session, days)
    try:
        say_what_it_meets(session, days, kept_room, teachers, known)
    except MeetsOtherClasses as error:
        raise MeetsOtherClasses(error.meetings, elsewhere) from None
    if overlaps is not None and any(str(one.pk) not in overlaps for one in elsewhere):
        raise InAnotherClass(elsewhere)
    session.instructor = instructor
    session.starts_on, session.ends_on = starts_on, ends_on
    session.places = places
    session.room, session.held_in = kept_room.name if kept_room else room, kept_room
    session.open_to, session.book_until_days = open_to, book_until_days
    session.save(update_fields=[*PLANNED_FIELDS])
    hold_on(session, days)
    _taught_beside_by(session, teachers[1:])
    after = session_payload(session)
    if before != after:
        trail.record(
            actor=actor,
            act="class changed",
            about=session,
            payload={"before": before, "after": after},
            at=at,
        )
    if changed := told_otherwise(said, what_it_says(session)):
        people = [one.person for one in session.enrolments.select_related("person__site")]
        write_letters(session, people, ClassLetter.Kind.CHANGE, at=at, changed=changed)
    fill_places(session, actor=actor, at=at)
    return session


def _elsewhere_on(session: ClassSession, days: Sequence[date]) -> list[Enrolment]:
    """Enrolments in other classes, on days that are new to this one, of whoever is in it.

    On the days that it had, whoever enrolled them was asked.
    """
    new = set(days) - set(class_days(session))
    people = [one.person for one in session.enrolments.select_related("person")]
    return list(enrolled_on(new, people).exclude(session=session))


def _teachers(instructor: User, others: Sequence[User]) -> list[User]:
    """The lead and the others, each once."""
    return list({user.pk: user for user in (instructor, *others)}.values())


def _taught_beside_by(session: ClassSession, others: Sequence[User]) -> None:
    session.other_instructors.exclude(instructor__in=others).delete()
    taught = set(session.other_instructors.values_list("instructor", flat=True))
    OtherInstructor.objects.bulk_create(
        OtherInstructor(session=session, instructor=other)
        for other in others
        if other.pk not in taught
    )


def hold_on(session: ClassSession, days: Sequence[date]) -> None:
    """Have a class held on these days and on no other."""
    session.days.exclude(day__in=days).delete()
    held = set(class_days(session))
    SessionDay.objects.bulk_create(
        SessionDay(session=session, day=day) for day in days if day not in held
    )


@transaction.atomic
def enrol_people(
    *,
    session: ClassSession,
    people: Sequence[Person],
    actor: User,
    at: datetime,
    overlaps: Collection[str] | None = None,
) -> list[Enrolment]:
    """Enrol all of them or nobody; whoever is in the class already stays.

    Parameters
    ----------
    overlaps : collection of str, optional
        Enrolments in other classes on the same days that are known, by their keys. By default
        nobody asks: whoever enrols by a page gives what the page said, also where that was nothing.

    Raises
    ------
    TrainingError
        If places are too few, or somebody will have left before the class begins or has not
        completed a course that comes first.
    InAnotherClass
        If somebody is in another class on the same days that is not among those known.
    """
    # People come first in the order of locks. Whoever enrols them in another class waits.
    lock_people([person.pk for person in people])
    session = lock_session(session)
    enrolled_ids = set(session.enrolments.values_list("person_id", flat=True))
    refuse_cancelled(session)
    newcomers = [person for person in people if person.pk not in enrolled_ids]
    free = session.places - len(enrolled_ids)
    if len(newcomers) > free:
        raise TrainingError(
            ngettext(
                "%(number)s has %(free)d place left and %(wanted)d are wanted. "
                "Give it more places.",
                "%(number)s has %(free)d places left and %(wanted)d are wanted. "
                "Give it more places.",
                max(free, 0),
            )
            % {"number": session.number, "free": max(free, 0), "wanted": len(newcomers)}
        )
    refuse_who_left(session, newcomers)
    refuse_who_lacks(session, newcomers)
    if overlaps is not None:
        others = list(overlapping(session, newcomers))
        if any(str(enrolment.pk) not in overlaps for enrolment in others):
            raise InAnotherClass(others)
    enrolments = [
        Enrolment.objects.create(session=session, person=person, recorded_at=at)
        for person in newcomers
    ]
    session.waiting_places.filter(person__in=newcomers).delete()
    trail.record_many(
        actor=actor,
        act="person enrolled in class",
        items=[(session, enrolment_payload(enrolment)) for enrolment in enrolments],
        at=at,
    )
    write_letters(session, newcomers, ClassLetter.Kind.INVITATION, at=at)
    return enrolments


@transaction.atomic
def cancel_enrolment(*, enrolment: Enrolment, actor: User, at: datetime) -> None:
    """Give a place free again; who has waited longest for one gets it.

    Raises
    ------
    TrainingError
        If attendance was taken, or somebody else gave the place free meanwhile.
    """
    session = lock_with_waiting(enrolment.session)
    if not Enrolment.objects.filter(pk=enrolment.pk).exists():
        raise TrainingError(
            _("%(name)s is not in the class any more: somebody gave the place free just now.")
            % {"name": enrolment.person.full_name}
        )
    if enrolment.attendances.exists():
        raise TrainingError(
            _("Attendance of %(name)s was taken, so they stay in the class.")
            % {"name": enrolment.person.full_name}
        )
    trail.record(
        actor=actor,
        act="enrolment cancelled",
        about=enrolment.session,
        payload=enrolment_payload(enrolment),
        at=at,
    )
    person = enrolment.person
    enrolment.delete()
    write_letters(session, [person], ClassLetter.Kind.CANCELLATION, at=at)
    fill_places(session, actor=actor, at=at)


def _days_held(site: Site, starts_on: date, ends_on: date, weekdays: Collection[int]) -> list[date]:
    closed = closed_between(site, starts_on, ends_on)
    return days_held(starts_on, ends_on, site.working_days, weekdays, closed)


def _refuse_revision(course_revision: CourseRevision) -> None:
    """Refuse what classes are not planned of, read anew: a page may be older than what it says."""
    now = CourseRevision.objects.select_related("course").get(pk=course_revision.pk)
    if now.is_draft:
        raise TrainingError(
            _("%(course)s is a draft. Classes are planned once it is published.") % {"course": now}
        )
    if now.retired_at is not None:
        raise TrainingError(
            _("%(course)s is out of use. Choose its newer revision.") % {"course": now}
        )

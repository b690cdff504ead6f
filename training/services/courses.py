"""Classes: planned, filled, and who was there on each day."""

from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from people.models import Person, Role, Site, User
from people.presenters.days import format_day_with_weekday
from people.queries.calendars import closed_between
from people.services.people import lock_people
from records.services import trail
from records.services.numbers import next_number
from training.domain.class_days import days_held
from training.exceptions import InAnotherClass, TrainingError
from training.models import Attendance, ClassSession, CourseRevision, Enrolment, SessionDay
from training.queries.classes import class_days

from .outcomes import Outcome

NUMBER_KIND = "K"
MAX_DAYS = 92


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
) -> ClassSession:
    """Plan a class at a site; its instructor is one there.

    Parameters
    ----------
    weekdays : collection of int
        On which weekdays it is held between its first and its last day, 1 for Monday; by
        default as `training.domain.class_days.days_held` says.
    """
    _refuse_revision(course_revision)
    _refuse_plan(site, instructor, starts_on, ends_on, at)
    session = ClassSession.objects.create(
        number=next_number(site.prefix, NUMBER_KIND),
        course_revision=course_revision,
        site=site,
        instructor=instructor,
        room=room,
        starts_on=starts_on,
        ends_on=ends_on,
        places=places,
        recorded_at=at,
    )
    hold_on(session, _days_held(site, starts_on, ends_on, weekdays))
    trail.record(
        actor=actor, act="class planned", about=session, payload=_session_payload(session), at=at
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
    session = plan_class(**plan, actor=actor, at=at)
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
) -> ClassSession:
    """Move a class or change its places; refused where somebody or something would fall out."""
    session = _lock_session(session)
    before = _session_payload(session)
    _refuse_plan(session.site, instructor, starts_on, ends_on, at)
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
    session.instructor = instructor
    session.starts_on, session.ends_on = starts_on, ends_on
    session.places, session.room = places, room
    session.save(update_fields=["instructor", "starts_on", "ends_on", "places", "room"])
    hold_on(session, days)
    after = _session_payload(session)
    if before != after:
        trail.record(
            actor=actor,
            act="class changed",
            about=session,
            payload={"before": before, "after": after},
            at=at,
        )
    return session


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
        If places are too few, or somebody will have left before the class begins.
    InAnotherClass
        If somebody is in another class on the same days that is not among those known.
    """
    # People come first in the order of locks. Whoever enrols them in another class waits.
    lock_people([person.pk for person in people])
    session = _lock_session(session)
    enrolled_ids = set(session.enrolments.values_list("person_id", flat=True))
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
    # As it is under the lock: what the page was filled from may have changed since.
    left = dict(
        Person.objects.filter(pk__in=[person.pk for person in newcomers]).values_list(
            "pk", "left_on"
        )
    )
    for person in newcomers:
        left_on = left[person.pk]
        if left_on is not None and left_on < session.starts_on:
            raise TrainingError(
                _("%(name)s left on %(day)s, before the class begins.")
                % {"name": person.full_name, "day": format_day_with_weekday(left_on)}
            )
    if overlaps is not None:
        others = list(overlapping(session, newcomers))
        if any(str(enrolment.pk) not in overlaps for enrolment in others):
            raise InAnotherClass(others)
    enrolments = [
        Enrolment.objects.create(session=session, person=person, recorded_at=at)
        for person in newcomers
    ]
    trail.record_many(
        actor=actor,
        act="person enrolled in class",
        items=[(session, _enrolment_payload(enrolment)) for enrolment in enrolments],
        at=at,
    )
    return enrolments


def overlapping(session: ClassSession, people: Sequence[Person]) -> QuerySet[Enrolment]:
    """Enrolments of these people in other classes that share a day with this one."""
    shared = SessionDay.objects.filter(
        session=OuterRef("session"), day__in=session.days.values("day")
    )
    return (
        Enrolment.objects.filter(Exists(shared), person__in=people)
        .exclude(session=session)
        .select_related("person", "session__course_revision__course")
        .order_by("person__full_name", "session__number")
    )


@transaction.atomic
def cancel_enrolment(*, enrolment: Enrolment, actor: User, at: datetime) -> None:
    """Give a place free again.

    Raises
    ------
    TrainingError
        If attendance was taken, or somebody else gave the place free meanwhile.
    """
    _lock_session(enrolment.session)
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
        payload=_enrolment_payload(enrolment),
        at=at,
    )
    enrolment.delete()


@transaction.atomic
def take_attendance(
    *,
    session: ClassSession,
    day: date,
    present: Collection[int],
    actor: User,
    at: datetime,
    shown: Mapping[int, bool | None] | None = None,
) -> Outcome:
    """Say who was there on a day of the class; the others were not. A later answer replaces it.

    Parameters
    ----------
    present : collection of int
        Enrolments by their keys.
    shown : mapping of int to bool or None, optional
        Whom the answer is about, each with what was recorded of them when it was given. Whoever
        was enrolled since stays as they are, and whoever was recorded otherwise since is refused.
        By default it is about everybody.

    Raises
    ------
    TrainingError
        If the class was not held that day, or the day is still to come.
    """
    session = _lock_session(session)
    if day not in class_days(session):
        raise TrainingError(
            _("%(number)s is not held on %(day)s.")
            % {"number": session.number, "day": format_day_with_weekday(day)}
        )
    if day > session.site.today(at):
        raise TrainingError(
            _("%(day)s is still to come. Take attendance on the day.")
            % {"day": format_day_with_weekday(day)}
        )
    enrolments = {one.pk: one for one in session.enrolments.select_related("person")}
    if not enrolments:
        raise TrainingError(_("Nobody is in the class yet. Enrol people first."))
    recorded = dict(
        Attendance.objects.filter(enrolment__in=enrolments, day=day).values_list(
            "enrolment", "present"
        )
    )
    outcome = Outcome()
    said = {}
    for key in enrolments if shown is None else shown:
        if key not in enrolments:
            outcome.refused[key] = _("They were taken off the class meanwhile.")
            continue
        is_present, before = key in present, recorded.get(key)
        if before == is_present:
            outcome.already.append(key)
        elif shown is not None and before != shown[key]:
            outcome.refused[key] = _recorded_meanwhile(is_present=bool(before))
            continue
        else:
            Attendance.objects.update_or_create(
                enrolment=enrolments[key],
                day=day,
                defaults={"present": is_present},
                create_defaults={"present": is_present, "recorded_at": at},
            )
            outcome.recorded.append(key)
        said[enrolments[key].person.employee_number] = is_present
    if outcome.recorded:
        trail.record(
            actor=actor,
            act="attendance taken",
            about=session,
            payload={"day": day, "present": said},
            at=at,
        )
    return outcome


def _recorded_meanwhile(*, is_present: bool) -> str:
    if is_present:
        return _("Recorded as there by somebody else meanwhile. Save once more to change that.")
    return _("Recorded as absent by somebody else meanwhile. Save once more to change that.")


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


def _refuse_plan(
    site: Site, instructor: User, starts_on: date, ends_on: date, at: datetime
) -> None:
    if ends_on < starts_on:
        raise TrainingError(_("The last day comes before the first. Change one of them."))
    if (ends_on - starts_on).days >= MAX_DAYS:
        raise TrainingError(
            _("That is more than %(days)d days. Plan several classes.") % {"days": MAX_DAYS}
        )
    may_teach = instructor.may_sign_in(at) and instructor.has_role(Role.INSTRUCTOR, site=site)
    if not may_teach:
        raise TrainingError(
            _("%(name)s is not an instructor at %(site)s. Choose one who is.")
            % {"name": instructor, "site": site}
        )


def _lock_session(session: ClassSession) -> ClassSession:
    """The class, so that two people filling it do not overfill it."""
    return (
        ClassSession.objects.select_for_update(of=("self",), no_key=True)
        .select_related("site", "course_revision__course", "instructor")
        .get(pk=session.pk)
    )


def _session_payload(session: ClassSession) -> dict:
    return {
        "number": session.number,
        "course": [session.course_revision.course.code, session.course_revision.revision],
        "site": session.site.prefix,
        "instructor": session.instructor.employee_number,
        "starts_on": session.starts_on,
        "ends_on": session.ends_on,
        "days": class_days(session),
        "places": session.places,
        "room": session.room,
    }


def _enrolment_payload(enrolment: Enrolment) -> dict[str, str]:
    return {
        "class": enrolment.session.number,
        "person": enrolment.person.employee_number,
    }

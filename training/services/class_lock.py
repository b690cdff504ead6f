"""A class held while somebody decides on it, and what the trail says of it."""

from collections.abc import Collection, Sequence
from typing import Any

from django.utils.translation import gettext as _

from people.models import Person
from people.presenters.days import format_day_with_weekday
from records.domain.shown import digest_of
from training.exceptions import TrainingError
from training.models import ClassSession, Enrolment, WaitingPlace
from training.queries.classes import class_days
from training.queries.completed import lacking, named, titles_of


def lock_session(session: ClassSession) -> ClassSession:
    """The class, so that two people filling it do not overfill it."""
    lock_sessions([session.pk])
    return ClassSession.objects.select_related("site", "course_revision__course", "instructor").get(
        pk=session.pk
    )


def lock_sessions(keys: Collection[int]) -> None:
    """Hold classes, one after another in the order of their keys; they are read afterwards.

    One that is joined while waiting is compared with what it was joined by before, so that
    PostgreSQL finds none where the other act changed its instructor.
    """
    rows = ClassSession.objects.select_for_update(no_key=True).filter(pk__in=keys)
    list(rows.order_by("pk").values_list("pk", flat=True))


def session_payload(session: ClassSession) -> dict[str, Any]:
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
        "open_to": session.open_to,
        "book_until_days": session.book_until_days,
        "other_instructors": sorted(
            session.other_instructors.values_list("instructor__person__employee_number", flat=True)
        ),
    }


def class_digest(session: ClassSession) -> str:
    """What a page that changes a class carries of the plan that it showed."""
    return digest_of(session_payload(session))


def enrolment_payload(enrolment: Enrolment) -> dict[str, str]:
    return {
        "class": enrolment.session.number,
        "person": enrolment.person.employee_number,
    }


def waiting_payload(waiting: WaitingPlace) -> dict[str, str]:
    return {
        "class": waiting.session.number,
        "person": waiting.person.employee_number,
    }


def refuse_cancelled(session: ClassSession) -> None:
    if session.cancelled_at is not None:
        raise TrainingError(
            _("%(number)s is cancelled. Plan another class.") % {"number": session.number}
        )


def refuse_who_lacks(session: ClassSession, people: Sequence[Person]) -> None:
    """Raise TrainingError for whoever has not completed a course that comes first."""
    missing = lacking([session], [person.pk for person in people]).get(session.pk, {})
    if not missing:
        return
    titles = titles_of({code for codes in missing.values() for code in codes})
    who = [
        _("%(name)s (%(courses)s)")
        % {"name": person.full_name, "courses": named(missing[person.pk], titles)}
        for person in people
        if person.pk in missing
    ]
    raise TrainingError(
        _("Not completed before this class begins: %(who)s. That comes first.")
        % {"who": "; ".join(who)}
    )


def refuse_who_left(session: ClassSession, people: Sequence[Person]) -> None:
    """Raise TrainingError for somebody who will have left; as it is under the lock, since what the
    page was filled from may have changed since."""
    left = dict(
        Person.objects.filter(pk__in=[person.pk for person in people]).values_list("pk", "left_on")
    )
    for person in people:
        left_on = left[person.pk]
        if left_on is not None and left_on < session.starts_on:
            raise TrainingError(
                _("%(name)s left on %(day)s, before the class begins.")
                % {"name": person.full_name, "day": format_day_with_weekday(left_on)}
            )

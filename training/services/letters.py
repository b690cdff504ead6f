"""Letters about places in classes: one for each act, handed to whoever sends mail, else printed."""

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Max

from people.models import Person, User
from records.services import trail
from training import ports
from training.models import ClassLetter, ClassSession
from training.queries.classes import class_days

from .class_lock import lock_session

TOLD_OF = ("days", "starts", "ends", "site", "room", "instructors")
"""What of a letter a change is told of; other things of a class concern nobody who is in it."""


def what_it_says(session: ClassSession) -> dict[str, Any]:
    """What a letter says of a class as it stands, as plain data that stays once it changes."""
    site = session.site
    return {
        "course": session.course_revision.course.title,
        "number": session.number,
        "days": [day.isoformat() for day in session.days.values_list("day", flat=True)],
        "starts": site.work_starts.isoformat("minutes"),
        "ends": site.work_ends.isoformat("minutes"),
        "zone": site.time_zone,
        "site": site.name,
        "address": site.address,
        "room": session.room,
        "instructors": [str(teacher) for teacher in session.teachers()],
    }


def write_letters(
    session: ClassSession,
    people: Collection[Person],
    kind: ClassLetter.Kind,
    *,
    at: datetime,
    says: dict[str, Any] | None = None,
    **more: Any,
) -> list[ClassLetter]:
    """Tell people about their places, under the lock of the class; of a class that is over nothing.

    Whoever has left is not written to any more, neither by mail nor on paper.

    Parameters
    ----------
    says : dict, optional
        What the class was, where it is not to be said as it stands.
    **more
        What this act adds to it: ``reason``, ``moved_up``, ``waiting``.
    """
    today = session.site.today(at)
    people = [one for one in people if one.left_on is None or one.left_on >= today]
    if not people or class_days(session)[-1] < today:
        return []
    content = (says or what_it_says(session)) | more
    last = dict(
        ClassLetter.objects.filter(session=session, person__in=people)
        .order_by()
        .values_list("person")
        .annotate(last=Max("sequence"))
    )
    letters = [
        ClassLetter(
            session=session,
            person=person,
            kind=kind,
            sequence=last.get(person.pk, -1) + 1,
            says=content,
            by_mail=False,
            recorded_at=at,
        )
        for person in people
    ]
    mailed = ports.send_class_letters(letters)
    for letter in letters:
        letter.by_mail = letter.person_id in mailed
    return ClassLetter.objects.bulk_create(letters)


def told_otherwise(before: dict[str, Any], after: dict[str, Any]) -> list[str]:
    """What of a class is told otherwise than it was."""
    return [name for name in TOLD_OF if before[name] != after[name]]


@transaction.atomic
def note_printed(
    *, session: ClassSession, letter_ids: Sequence[int], actor: User, at: datetime
) -> int:
    """Write down that letters on paper were printed; those that were already stay as they are."""
    session = lock_session(session)
    to_print = session.letters.filter(by_mail=False, printed_at__isnull=True)
    printed = list(to_print.filter(pk__in=letter_ids).select_related("person"))
    numbers = [letter.person.employee_number for letter in printed]
    for letter in printed:
        # Those before it are outdated by it: they were never printed and never will be.
        to_print.filter(person=letter.person, sequence__lte=letter.sequence).update(printed_at=at)
    if numbers:
        trail.record(
            actor=actor,
            act="class letters printed",
            about=session,
            payload={"class": session.number, "people": numbers},
            at=at,
        )
    return len(numbers)

"""Which days a class is held on, who is in one to come, and what it teaches."""

from collections.abc import Collection
from datetime import date

from django.db.models import QuerySet

from people.queries.calendars import closed_between
from training.domain.class_days import days_held
from training.models import ClassLetter, ClassSession, Enrolment, Exercise, Lesson


def class_days(session: ClassSession) -> list[date]:
    """The days of a class, in order; read again by nobody who has prefetched them."""
    return [held.day for held in session.days.all()]


def weekdays_chosen(session: ClassSession) -> list[int]:
    """The weekdays ticked for a class, as far as its days tell; none where they follow by default.

    So a class that is moved to other dates keeps to the working days there.
    """
    days, site = class_days(session), session.site
    closed = closed_between(site, session.starts_on, session.ends_on)
    by_default = days_held(session.starts_on, session.ends_on, site.working_days, (), closed)
    if days == by_default:
        return []
    return sorted({day.isoweekday() for day in days})


def enrolled_ahead(
    person_ids: Collection[int], sessions: QuerySet[ClassSession], day: date
) -> dict[int, list[ClassSession]]:
    """Of these classes those that are not over by a day, by who is enrolled, the first first."""
    enrolled: dict[int, list[ClassSession]] = {}
    enrolments = Enrolment.objects.filter(
        person__in=person_ids,
        session__in=sessions.order_by().values("pk"),
        session__ends_on__gte=day,
    ).select_related("session")
    for enrolment in enrolments.order_by("session__starts_on", "session__number"):
        enrolled.setdefault(enrolment.person_id, []).append(enrolment.session)
    return enrolled


def scopes_taught(revision_ids: Collection[int]) -> dict[int, set[str]]:
    """The codes of the scopes that the exercises of each revision of a course are credited to."""
    lessons = Lesson.objects.filter(
        course_revision__in=revision_ids, exercise__positions__scope_code__gt=""
    )
    taught: dict[int, set[str]] = {}
    for revision_id, code in (
        lessons.order_by()
        .values_list("course_revision", "exercise__positions__scope_code")
        .distinct()
    ):
        taught.setdefault(revision_id, set()).add(code)
    return taught


def exercises_taught(session: ClassSession, day: date) -> list[Exercise]:
    """The exercises of a class's lessons on a day; of all of them on a day it is not held on."""
    lessons = Lesson.objects.filter(
        course_revision=session.course_revision_id, exercise__isnull=False
    )
    days = class_days(session)
    if day in days:
        lessons = lessons.filter(day=days.index(day) + 1)
    taught = (
        lessons.select_related("exercise").prefetch_related("exercise__steps").order_by("order")
    )
    exercises = [lesson.exercise for lesson in taught if lesson.exercise]
    return list({exercise.pk: exercise for exercise in exercises}.values())


def letters_to_print(session: ClassSession) -> list[ClassLetter]:
    """Letters of a class that no mail takes and nobody has printed yet: of each person the latest.

    Whoever was invited and has lost the place since is handed one letter, not two.
    """
    latest: dict[int, ClassLetter] = {}
    letters = session.letters.filter(by_mail=False, printed_at__isnull=True)
    for letter in letters.select_related("person__site", "session__site").order_by("sequence"):
        latest[letter.person_id] = letter
    return sorted(latest.values(), key=lambda letter: (letter.person.full_name, letter.pk))

"""Courses that people have completed: a class of them attended on all of its days."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from datetime import date

from django.utils.text import get_text_list
from django.utils.translation import gettext as _

from training.models import Attendance, ClassSession, Course, Enrolment, SessionDay


def attended_whole(enrolments: Iterable[Enrolment]) -> list[tuple[Enrolment, date, date]]:
    """Those of some enrolments whose every day was attended, each with its first and last day."""
    rows = {enrolment.pk: enrolment for enrolment in enrolments}
    held: dict[int, set[date]] = defaultdict(set)
    for session, day in SessionDay.objects.filter(
        session__in={enrolment.session_id for enrolment in rows.values()}
    ).values_list("session", "day"):
        held[session].add(day)
    there: dict[int, set[date]] = defaultdict(set)
    for pk, day in Attendance.objects.filter(enrolment__in=rows, present=True).values_list(
        "enrolment", "day"
    ):
        there[pk].add(day)
    return [
        (enrolment, min(days), max(days))
        for pk, enrolment in rows.items()
        if (days := held[enrolment.session_id]) and days <= there[pk]
    ]


def lacking(
    sessions: Collection[ClassSession], person_ids: Collection[int]
) -> Mapping[int, Mapping[int, list[str]]]:
    """What people lack of the courses that come before classes, in the same three queries.

    A course counts that was completed, in whatever revision, before the first day of the class.

    Returns
    -------
    mapping of int to mapping of int to list of str
        By class and person, both by their keys, the codes of the courses that are missing; only
        where some are.
    """
    asked = {
        session.pk: (session.starts_on, session.course_revision.after_courses)
        for session in sessions
        if session.course_revision.after_courses
    }
    if not asked or not person_ids:
        return {}
    codes = {code for _day, before in asked.values() for code in before}
    enrolments = Enrolment.objects.filter(
        person__in=person_ids,
        session__cancelled_at__isnull=True,
        session__course_revision__course__code__in=codes,
    ).select_related("session__course_revision__course")
    first: dict[tuple[int, str], date] = {}
    for enrolment, _first_day, last_day in attended_whole(enrolments):
        key = (enrolment.person_id, enrolment.session.course_revision.course.code)
        first[key] = min(last_day, first.get(key, last_day))
    found: dict[int, dict[int, list[str]]] = defaultdict(dict)
    for pk, (starts_on, before) in asked.items():
        for person in person_ids:
            missing = [code for code in before if first.get((person, code), date.max) >= starts_on]
            if missing:
                found[pk][person] = missing
    return found


def titles_of(codes: Collection[str]) -> dict[str, str]:
    """What courses are called, by their codes."""
    return dict(Course.objects.filter(code__in=codes).values_list("code", "title"))


def named(codes: Collection[str], titles: Mapping[str, str]) -> str:
    """Courses in a sentence."""
    return get_text_list([titles.get(code, code) for code in codes], _("and"))

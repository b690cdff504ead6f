"""What somebody did in training, for their page."""

from typing import Any

from people.models import Person
from training import ports

PRACTICE_SHOWN = 8


def person_record(person: Person, *, every_practice: bool) -> dict[str, Any]:
    """What is written down about somebody, newest first."""
    tests = list(person.vision_tests.select_related("withdrawal"))
    valid_tests = [test for test in tests if not is_withdrawn(test)]
    titles = dict(ports.scopes())
    practice = person.practice.select_related("withdrawal", "confirmed_by__person").order_by(
        "-performed_on", "-recorded_at"
    )
    shown = list(practice if every_practice else practice[:PRACTICE_SHOWN])
    enrolments = (
        person.enrolments.select_related("session__course_revision__course", "session__site")
        .prefetch_related("attendances")
        .order_by("-session__starts_on")
    )
    return {
        "vision_tests": [(test, is_withdrawn(test)) for test in tests],
        "vision_now": valid_tests[0] if valid_tests else None,
        "practice": [
            (work, titles.get(work.scope_code, work.scope_code), is_withdrawn(work))
            for work in shown
        ],
        "practice_count": practice.count(),
        "classes": [
            (
                enrolment.session,
                sum(attendance.present for attendance in enrolment.attendances.all()),
                enrolment.attendances.all(),
            )
            for enrolment in enrolments
        ],
    }


def is_withdrawn(fact: Any) -> bool:
    return getattr(fact, "withdrawal", None) is not None

"""What somebody did in training, for their page."""

from typing import Any

from people.models import Person
from training import ports

PRACTICE_SHOWN = 8


def person_record(person: Person, *, every_practice: bool) -> dict[str, Any]:
    """What is written down about somebody, newest first."""
    tests = list(person.vision_tests.select_related("withdrawal"))
    standing = [test for test in tests if not is_withdrawn(test)]
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
        "vision_now": standing[0] if standing else None,
        "practice": [
            (one, titles.get(one.scope_code, one.scope_code), is_withdrawn(one)) for one in shown
        ],
        "practice_count": practice.count(),
        "classes": [
            (one.session, sum(day.present for day in one.attendances.all()), one.attendances.all())
            for one in enrolments
        ],
    }


def is_withdrawn(fact: Any) -> bool:
    return getattr(fact, "withdrawal", None) is not None

"""A class held while somebody decides on it, and what the trail says of it."""

from typing import Any

from training.models import ClassSession, Enrolment
from training.queries.classes import class_days


def lock_session(session: ClassSession) -> ClassSession:
    """The class, so that two people filling it do not overfill it."""
    return (
        ClassSession.objects.select_for_update(of=("self",), no_key=True)
        .select_related("site", "course_revision__course", "instructor")
        .get(pk=session.pk)
    )


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
        "other_instructors": sorted(
            session.other_instructors.values_list("instructor__person__employee_number", flat=True)
        ),
    }


def enrolment_payload(enrolment: Enrolment) -> dict[str, str]:
    return {
        "class": enrolment.session.number,
        "person": enrolment.person.employee_number,
    }

"""Who of those who teach a class is not certified to, in sentences."""

from django.utils.translation import gettext as _

from people.presenters.days import format_day
from training import ports
from training.models import ClassSession, Position
from training.queries.classes import class_days


def not_entitled_sentences(session: ClassSession) -> list[str]:
    """Say of each such instructor from which day of the class on; empty where all may."""
    joint_types = set(
        Position.objects.filter(exercise__lessons__course_revision=session.course_revision_id)
        .order_by()
        .values_list("joint_type", flat=True)
    )
    teachers = {one.person_id: one for one in session.teachers() if one.person_id is not None}
    missing = ports.not_entitled(set(teachers), joint_types, class_days(session))
    return [
        _("%(name)s is not certified as instructor for what is taught on %(day)s.")
        % {"name": teachers[person_id], "day": format_day(day)}
        for person_id, day in missing.items()
    ]

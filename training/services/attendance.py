"""Who was there on each day of a class."""

from collections.abc import Collection, Mapping
from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import User
from people.presenters.days import format_day_with_weekday
from records.services import trail
from training.exceptions import TrainingError
from training.models import Attendance, ClassSession
from training.queries.classes import class_days

from .class_lock import lock_session
from .outcomes import Outcome


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
    session = lock_session(session)
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

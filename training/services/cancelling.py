"""Cancelling a class, with a reason that everybody in it is told."""

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from people.models import User
from records.services import trail
from training.exceptions import TrainingError
from training.models import Attendance, ClassLetter, ClassSession

from .class_lock import refuse_cancelled
from .letters import write_letters
from .waiting import lock_with_waiting


@transaction.atomic
def cancel_class(*, session: ClassSession, reason: str, actor: User, at: datetime) -> ClassSession:
    """Cancel a class: nobody is in it or waits for it any more, and all are told why.

    Raises
    ------
    TrainingError
        If it is cancelled or over already, or attendance was taken.
    """
    session = lock_with_waiting(session)
    refuse_cancelled(session)
    if Attendance.objects.filter(enrolment__session=session).exists():
        raise TrainingError(
            _("Attendance was taken, so the class was held. Change its last day instead.")
        )
    if session.ends_on < session.site.today(at):
        raise TrainingError(_("The class is over."))
    enrolled = [one.person for one in session.enrolments.select_related("person__site")]
    waiting = [one.person for one in session.waiting_places.select_related("person__site")]
    cancellation = ClassLetter.Kind.CANCELLATION
    write_letters(session, enrolled, cancellation, at=at, reason=reason)
    write_letters(session, waiting, cancellation, at=at, reason=reason, waiting=True)
    session.enrolments.all().delete()
    session.waiting_places.all().delete()
    session.cancelled_at, session.why_cancelled = at, reason
    session.save(update_fields=["cancelled_at", "why_cancelled"])
    trail.record(
        actor=actor,
        act="class cancelled",
        about=session,
        payload={
            "class": session.number,
            "reason": reason,
            "enrolled": [person.employee_number for person in enrolled],
            "waiting": [person.employee_number for person in waiting],
        },
        at=at,
    )
    return session

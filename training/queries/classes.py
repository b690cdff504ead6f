"""Which days a class is held on."""

from datetime import date

from training.domain.class_days import days_held
from training.models import ClassSession


def class_days(session: ClassSession) -> list[date]:
    """The days of a class, in order; read again by nobody who has prefetched them."""
    return [held.day for held in session.days.all()]


def weekdays_chosen(session: ClassSession) -> list[int]:
    """The weekdays ticked for a class, as far as its days tell; none where they follow by default.

    So a class that is moved to other dates keeps to the working days there.
    """
    days = class_days(session)
    if days == days_held(session.starts_on, session.ends_on, session.site.working_days):
        return []
    return sorted({day.isoweekday() for day in days})

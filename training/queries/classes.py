"""Which days a class is held on."""

from datetime import date, timedelta

from training.models import ClassSession


def class_days(session: ClassSession) -> list[date]:
    """The working days of a class, or all its days where it is held on none of them."""
    length = (session.ends_on - session.starts_on).days + 1
    days = [session.starts_on + timedelta(days=n) for n in range(length)]
    return [day for day in days if session.site.is_working_day(day)] or days

"""The days of a class in words."""

from collections.abc import Sequence
from datetime import date

from django.utils.translation import gettext as _

from people.presenters.days import format_day_with_weekday

LISTED_AT_MOST = 5


def days_listed(days: Sequence[date]) -> str:
    """Every day where they are few, else how many there are from which to which."""
    if len(days) <= LISTED_AT_MOST:
        return ", ".join(format_day_with_weekday(day) for day in days)
    return _("%(count)d days from %(first)s to %(last)s") % {
        "count": len(days),
        "first": format_day_with_weekday(days[0]),
        "last": format_day_with_weekday(days[-1]),
    }

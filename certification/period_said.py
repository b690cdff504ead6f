"""From which day to which a certificate would run if it were issued now, in words."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from training.models import Person

from .models import SchemeRevision, Scope
from .services import standing
from .services.certificates import Period


@dataclass(frozen=True)
class PeriodSaid:
    """The new period's first and last day, and why it begins where it does."""

    runs_from: date
    runs_through: date
    why: str


def said(person: Person, scope: Scope, revision: SchemeRevision, period: Period) -> PeriodSaid:
    """Say what issuing on the period's day of issue would come to.

    Renewed within its window a certificate's new period runs on from the old end, so no day
    is lost; renewed earlier or later it runs from the day of issue.
    """
    day = period.issued_on
    courses = [
        one
        for one in standing.courses_of(person, scope).values()
        if one.certificate.issued_on <= day
    ]
    if period.renews is not None:
        end = next(
            one.period.valid_through
            for one in courses
            if one.certificate.number == period.renews.number
        )
        why = _("It renews %(number)s within its window, so the new period runs on from its end.")
        return PeriodSaid(end, period.valid_through, why % {"number": period.renews.number})
    if not courses:
        return PeriodSaid(day, period.valid_through, "")
    latest = max(courses, key=lambda one: (one.certificate.issued_on, one.certificate.number))
    end = latest.period.valid_through
    facts = {"number": latest.certificate.number, "end": _day(end), "day": _day(day)}
    if standing.is_revoked_on(latest, day):
        why = _("%(number)s was revoked, so the new period runs from the day of issue.")
    elif end < day:
        why = _(
            "%(number)s ended on %(end)s, so it is renewed late: the new period runs from the "
            "day of issue."
        )
    else:
        opens = end - timedelta(days=revision.renewal_window_days)
        facts["opens"] = _day(opens)
        why = _(
            "%(number)s is good through %(end)s. Before its window opens on %(opens)s the new "
            "period runs from the day of issue, and the days left are lost."
        )
    return PeriodSaid(day, period.valid_through, why % facts)


def _day(day: date) -> str:
    return date_format(day, "j M Y").replace(" ", "\u00a0")

"""From which day to which a certificate would run if it were issued now, in words."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.utils.translation import gettext as _

from certification.domain.periods import CertificateHistory
from certification.models import SchemeRevision, Scope
from certification.queries import standing_on_day
from certification.queries.standing_on_day import Read
from certification.services.certificates import ProspectivePeriod
from people.models import Person
from people.presenters.days import format_unbroken_day


@dataclass(frozen=True)
class PeriodSaid:
    """The new period's first and last day, and why it begins where it does."""

    runs_from: date
    runs_through: date
    why: str


def said(
    person: Person,
    scope: Scope,
    revision: SchemeRevision,
    period: ProspectivePeriod,
    read: Read | None = None,
) -> PeriodSaid:
    """Say what issuing on the period's day of issue would come to.

    Renewed within its window a certificate's new period runs on from the old end, so no day
    is lost; renewed earlier or later it runs from the day of issue.
    """
    day = period.issued_on
    facts = standing_on_day.facts_for(person, scope) if read is None else read.facts
    histories = standing_on_day.histories_in(facts)
    if period.renews is not None:
        end = histories[period.renews.number].period.valid_through
        why = _("It renews %(number)s within its window, so the new period runs on from its end.")
        return PeriodSaid(end, period.valid_through, why % {"number": period.renews.number})
    newest_first = sorted(
        (history for history in histories.values() if history.certificate.issued_on <= day),
        key=lambda history: (history.certificate.issued_on, history.certificate.number),
        reverse=True,
    )
    if not newest_first:
        return PeriodSaid(day, period.valid_through, "")
    return PeriodSaid(day, period.valid_through, _why_anew(newest_first, revision, day))


def _why_anew(
    newest_first: Sequence[CertificateHistory], revision: SchemeRevision, day: date
) -> str:
    """Why the new period runs from the day of issue, of certificates that had begun by then."""
    latest = newest_first[0]
    facts = {
        "number": latest.certificate.number,
        "end": format_unbroken_day(latest.last_day),
        "day": format_unbroken_day(day),
    }
    if standing_on_day.is_revoked_on(latest, day):
        return _("%(number)s was revoked, so the new period runs from the day of issue.") % facts
    if latest.last_day < day:
        return (
            _(
                "%(number)s ended on %(end)s, so it is renewed late: the new period runs from the "
                "day of issue."
            )
            % facts
        )
    closes = latest.period.valid_through
    if closes < day:
        facts["closed"] = format_unbroken_day(closes)
        return (
            _(
                "%(number)s is good through %(end)s by an extension, and the window for renewing "
                "closed on %(closed)s: the new period runs from the day of issue."
            )
            % facts
        )
    facts["opens"] = format_unbroken_day(closes - timedelta(days=revision.renewal_window_days))
    return (
        _(
            "%(number)s is good through %(end)s. Before its window opens on %(opens)s the new "
            "period runs from the day of issue, and the days left are lost."
        )
        % facts
    )

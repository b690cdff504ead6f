"""How long a certificate is good: its period, and what events make of it."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from .facts import (
    CertificateFact,
    EventFact,
    EventKind,
    ExpiryRule,
    SchemeFigures,
)
from .months import add_months, end_of_month


def valid_through(
    figures: SchemeFigures, issued_on: date, renewed_through: date | None = None
) -> date:
    """Work out the last day of a certificate's period.

    Parameters
    ----------
    figures : SchemeFigures
        Those of the certificate in question; its renewal window is the one that counts.
    issued_on : date
    renewed_through : date or None
        The last day of the period of the certificate it renews, before any extension or
        early end. None where it renews none, or one that does not count.

    Returns
    -------
    date
        The last good day. The period runs from ``renewed_through`` where the certificate
        is issued in the window before it, both ends included, else from ``issued_on``.

    Examples
    --------
    >>> figures = SchemeFigures(validity_months=24, renewal_window_days=90)
    >>> valid_through(figures, date(2024, 1, 20))
    datetime.date(2026, 1, 20)
    >>> valid_through(figures, date(2024, 1, 20), renewed_through=date(2024, 3, 15))
    datetime.date(2026, 3, 15)
    """
    runs_from = issued_on
    if renewed_through is not None and in_renewal_window(figures, issued_on, renewed_through):
        runs_from = renewed_through
    last_day = add_months(runs_from, figures.validity_months)
    if figures.expiry_rule == ExpiryRule.END_OF_MONTH:
        return end_of_month(last_day)
    return last_day


def in_renewal_window(figures: SchemeFigures, issued_on: date, renewed_through: date) -> bool:
    """Say whether a certificate issued on a day keeps the end date of the one it renews.

    Parameters
    ----------
    figures : SchemeFigures
        Those of the new certificate.
    issued_on, renewed_through : date
        When it is issued, and the last day of the earlier one's period.
    """
    return 0 <= (renewed_through - issued_on).days <= figures.renewal_window_days


@dataclass(frozen=True, slots=True)
class Period:
    """The days a certificate is issued for.

    Attributes
    ----------
    valid_through : date
        The last of them, before any extension or early end.
    runs_on_from : str
        The number of the earlier certificate from whose end the period runs; empty where
        it runs from the day of issue.
    """

    valid_through: date
    runs_on_from: str = ""


def periods(
    certificates: Iterable[CertificateFact], revoked_from: Mapping[str, date]
) -> dict[str, Period]:
    """Work out the periods of one person's certificates for one scope.

    A certificate counts as renewing another only if that one is among them, was issued on
    an earlier day, and is not revoked with effect on or before the day the new one is issued.

    Parameters
    ----------
    certificates : iterable of CertificateFact
        Those that are known and not withdrawn, in any order.
    revoked_from : mapping of str to date
        The first day on which a certificate is revoked, by number.

    Returns
    -------
    dict of str to Period
        By certificate number.
    """
    by_number: dict[str, CertificateFact] = {}
    periods_by_number: dict[str, Period] = {}
    certificates = list(certificates)
    if len(certificates) == 1:
        [only] = certificates
        return {only.number: Period(valid_through(only.figures, only.issued_on))}
    for certificate in sorted(certificates, key=lambda certificate: certificate.issued_on):
        earlier = by_number.get(certificate.renews)
        renewed_through = None
        if (
            earlier is not None
            and earlier.issued_on < certificate.issued_on
            and revoked_from.get(earlier.number, date.max) > certificate.issued_on
        ):
            renewed_through = periods_by_number[earlier.number].valid_through
        figures, issued_on = certificate.figures, certificate.issued_on
        runs_on = renewed_through is not None and in_renewal_window(
            figures, issued_on, renewed_through
        )
        periods_by_number[certificate.number] = Period(
            valid_through(figures, issued_on, renewed_through),
            certificate.renews if runs_on else "",
        )
        by_number[certificate.number] = certificate
    return periods_by_number


@dataclass(frozen=True, slots=True)
class Suspension:
    """One suspension of a certificate, or several that the same reinstatement ended."""

    first_day: date
    in_force_again_on: date | None
    events: tuple[EventFact, ...]

    def by(self, day: date) -> list[EventFact]:
        """The suspending events among those that had taken effect by a day of it."""
        return [event for event in self.events if event.effective_on <= day]


@dataclass(frozen=True, slots=True)
class Restriction:
    """What alone one event allows, from its day until the day another replaces or lifts it."""

    first_day: date
    until_before: date | None
    event: EventFact

    @property
    def last_day(self) -> date | None:
        return self.until_before - timedelta(days=1) if self.until_before else None

    def holds_on(self, day: date) -> bool:
        return self.first_day <= day and (self.until_before is None or day < self.until_before)


BOTH_HOLD = "; "
"""Stands between what a certificate itself allows and what an event allows of that."""


class CertificateHistory:
    """What the events of one certificate make of its period.

    All days are effective days and may lie before the certificate was issued: asked about
    its own days alone, it then answers from the first of them.

    Parameters
    ----------
    certificate : CertificateFact
    period : Period
    events : iterable of EventFact
        Those of the certificate that are known and not voided, in the order they act.

    Attributes
    ----------
    last_day : date
        The last good day after every ``ended`` and ``extended``.
    unextended_through : date
        The last day that is good without any extension: the earliest that ``last_day``
        was before the extensions that came after.
    moved_by : tuple of EventFact
        The events that moved the last day, in order.
    revoked_on : date or None
        From this day on the certificate is revoked.
    revoked_by : EventFact or None
    suspensions : tuple of Suspension
        In order of days; they do not overlap.
    restrictions : tuple of Restriction
        By events, in order of days; they do not overlap. They change what alone is allowed
        and nothing else.
    """

    __slots__ = (
        "_restricted_from",
        "_suspended_from",
        "certificate",
        "last_day",
        "moved_by",
        "period",
        "restrictions",
        "revoked_by",
        "revoked_on",
        "suspensions",
        "unextended_through",
    )

    def __init__(
        self, certificate: CertificateFact, period: Period, events: Iterable[EventFact]
    ) -> None:
        self.certificate = certificate
        self.period = period
        self.last_day = self.unextended_through = period.valid_through
        self.revoked_on: date | None = None
        self.revoked_by: EventFact | None = None
        self.moved_by: tuple[EventFact, ...] = ()
        self.suspensions: tuple[Suspension, ...] = ()
        self.restrictions: tuple[Restriction, ...] = ()
        self._suspended_from: list[date] = []
        self._restricted_from: list[date] = []
        if events:
            self._take(events)

    def _take(self, events: Iterable[EventFact]) -> None:
        """Go through the events in their order."""
        moved_by: list[EventFact] = []
        suspensions: list[Suspension] = []
        suspended_by: list[EventFact] = []
        restrictions: list[Restriction] = []
        restricted_by: EventFact | None = None
        for event in events:
            if event.kind == EventKind.SUSPENDED:
                suspended_by.append(event)
            elif event.kind == EventKind.REINSTATED:
                self._close(suspensions, suspended_by, event.effective_on)
                suspended_by = []
            elif event.kind == EventKind.REVOKED:
                if self.revoked_by is None:
                    self.revoked_by, self.revoked_on = event, event.effective_on
            elif event.kind in (EventKind.RESTRICTED, EventKind.UNRESTRICTED):
                self._replace(restrictions, restricted_by, event.effective_on)
                restricted_by = event if event.kind == EventKind.RESTRICTED else None
            elif (last_day := self._moved_to(event)) is not None:
                self.last_day = last_day
                self.unextended_through = min(self.unextended_through, last_day)
                moved_by.append(event)
        self._close(suspensions, suspended_by, None)
        self._replace(restrictions, restricted_by, None)
        self.moved_by = tuple(moved_by)
        self.suspensions = tuple(suspensions)
        self._suspended_from = [suspension.first_day for suspension in suspensions]
        self.restrictions = tuple(restrictions)
        self._restricted_from = [restriction.first_day for restriction in restrictions]

    @staticmethod
    def _close(
        suspensions: list[Suspension], events: list[EventFact], again_on: date | None
    ) -> None:
        """Add the suspension that some events made, unless it was over the day it began."""
        if events and (again_on is None or events[0].effective_on < again_on):
            suspensions.append(Suspension(events[0].effective_on, again_on, tuple(events)))

    @staticmethod
    def _replace(
        restrictions: list[Restriction], event: EventFact | None, following_on: date | None
    ) -> None:
        """Add the restriction by an event, unless it was replaced or lifted on its own day."""
        if event is not None and (following_on is None or event.effective_on < following_on):
            restrictions.append(Restriction(event.effective_on, following_on, event))

    def _moved_to(self, event: EventFact) -> date | None:
        """The last day that an event moves the current one to, or None if it does not."""
        if event.kind == EventKind.ENDED and event.effective_on < self.last_day:
            return event.effective_on
        if (
            event.kind == EventKind.EXTENDED
            and event.until is not None
            and event.until > self.last_day >= event.effective_on
        ):
            return event.until
        return None

    def suspension_on(self, day: date) -> Suspension | None:
        """The suspension that holds on a day."""
        index = bisect_right(self._suspended_from, day) - 1
        if index < 0:
            return None
        suspension = self.suspensions[index]
        if suspension.in_force_again_on is None or day < suspension.in_force_again_on:
            return suspension
        return None

    def restricted_by(self, day: date) -> EventFact | None:
        """The event that restricts the certificate on a day."""
        index = bisect_right(self._restricted_from, day) - 1
        if index < 0:
            return None
        restriction = self.restrictions[index]
        return restriction.event if restriction.holds_on(day) else None

    def restriction_on(self, day: date) -> str:
        """What alone the certificate allows on a day: what it says itself, and an event of that.

        Empty where nothing restricts it; a text that both have is said once.
        """
        event = self.restricted_by(day)
        texts = (self.certificate.restriction, event.restriction if event else "")
        return BOTH_HOLD.join(dict.fromkeys(text for text in texts if text))

    @property
    def good_through(self) -> date | None:
        """The last day that may count, or None where it was revoked before any could."""
        if self.revoked_on is None or self.revoked_on > self.last_day:
            return self.last_day
        if self.revoked_on <= self.certificate.issued_on:
            return None
        return self.revoked_on - timedelta(days=1)

    def days_of_change(self) -> list[date]:
        """The days on which events or the last day may change the answer."""
        days = [day_after(self.last_day), self.revoked_on]
        if self.unextended_through != self.last_day:
            days.append(day_after(self.unextended_through))
        for suspension in self.suspensions:
            days += [suspension.first_day, suspension.in_force_again_on]
        for restriction in self.restrictions:
            days += [restriction.first_day, restriction.until_before]
        return [day for day in days if day is not None]


def certificate_histories(
    certificates: Iterable[CertificateFact], events: Sequence[EventFact]
) -> list[CertificateHistory]:
    """Work out what periods and events make of one person's certificates for one scope.

    Parameters
    ----------
    certificates, events : iterable
        Those that are known, not withdrawn and not voided, in any order. Events of other
        certificates are ignored.

    Returns
    -------
    list of CertificateHistory
        In the order of the certificates.
    """
    certificates = list(certificates)
    if not events:  # Most certificates come to nothing but their end.
        period_of = periods(certificates, {})
        return [
            CertificateHistory(certificate, period_of[certificate.number], ())
            for certificate in certificates
        ]
    by_number: dict[str, list[EventFact]] = defaultdict(list)
    for event in sorted(
        events, key=lambda event: (event.effective_on, event.recorded_at, event.event_id)
    ):
        by_number[event.certificate_number].append(event)
    revoked_from: dict[str, date] = {}
    for number, own in by_number.items():
        for event in own:
            if event.kind == EventKind.REVOKED:
                revoked_from.setdefault(number, event.effective_on)
    period_of = periods(certificates, revoked_from)
    return [
        CertificateHistory(
            certificate, period_of[certificate.number], by_number.get(certificate.number, ())
        )
        for certificate in certificates
    ]


def day_after(day: date) -> date | None:
    """The next day, or None after the last that a calendar holds."""
    return day + timedelta(days=1) if day < date.max else None

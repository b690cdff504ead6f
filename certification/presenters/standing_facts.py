"""Everything recorded about one person and scope, in both times, as the lines of a table.

A line tells the day a fact holds from and the instant it was recorded, and what became of it:
entered late, withdrawn, removed, or not known yet at the instant that is asked about. None is
ever left out.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from certification.models import Certificate, CertificateEvent, Scope
from people.models import Person, Site
from people.presenters.days import format_unbroken_day
from training.models import PracticeRecord, VisionTest

Kind = CertificateEvent.Kind


@dataclass(frozen=True)
class FactLine:
    """One fact. ``key`` is how the engine names it among the facts used.

    ``is_gone`` and ``is_unknown`` are as at the instant asked about.
    """

    key: str
    what: Any
    detail: str
    holds_from: date
    recorded_at: datetime
    by: str
    url: str
    error_url: str = ""
    notes: tuple[str, ...] = ()
    is_gone: bool = False
    is_unknown: bool = False
    is_used: bool = False


@dataclass(frozen=True)
class FactsWanted:
    """Whose facts, as known when, resting on which, and what the reader may take back."""

    person: Person
    scope: Scope
    known_at: datetime | None
    used: frozenset[str]
    may_decide: bool = False
    may_withdraw: bool = False

    @property
    def site(self) -> Site:
        return self.person.site


@dataclass(frozen=True)
class Rows:
    """The rows behind the facts, each lot fetched in one query."""

    certificates: list[Certificate] = field(default_factory=list)
    events: list[CertificateEvent] = field(default_factory=list)
    tests: list[VisionTest] = field(default_factory=list)
    practice: list[PracticeRecord] = field(default_factory=list)

    @classmethod
    def of(cls, person: Person, scope: Scope) -> "Rows":
        return cls(
            list(
                Certificate.objects.filter(person=person, scope=scope)
                .select_related("withdrawal", "renews", "person__site", "scope")
                .order_by("issued_on", "number")
            ),
            list(
                CertificateEvent.objects.filter(
                    certificate__person=person, certificate__scope=scope
                )
                .select_related("certificate", "voids", "signature__certificate")
                .order_by("effective_on", "recorded_at", "event_id")
            ),
            list(
                person.vision_tests.select_related(
                    "withdrawal__withdrawn_by__person", "recorded_by__person"
                )
            ),
            list(
                person.practice.filter(scope_code=scope.code).select_related(
                    "withdrawal__withdrawn_by__person", "confirmed_by__person"
                )
            ),
        )


def lines_of(rows: Rows, wanted: FactsWanted) -> list[FactLine]:
    """Certificates, events and vision tests, the newest first."""
    lines = [
        *_certificates(rows.certificates, wanted),
        *_events(rows, wanted),
        *_tests(rows.tests, wanted),
    ]
    return sorted(lines, key=lambda line: (line.holds_from, line.recorded_at), reverse=True)


def practice_of(rows: Rows, wanted: FactsWanted) -> list[FactLine]:
    """The days on which such work was done, the newest first."""
    return [
        _line(
            wanted,
            key=f"practice:{practice.performed_on}",
            what=_("work done"),
            detail=practice.reference,
            holds_from=practice.performed_on,
            recorded_at=practice.recorded_at,
            by=str(practice.confirmed_by or ""),
            url=_person_url(wanted),
            error_url=reverse(
                "training:practice_withdraw", args=[wanted.person.employee_number, practice.pk]
            )
            if wanted.may_withdraw
            else "",
            gone=_withdrawn(practice),
        )
        for practice in rows.practice
    ]


def removals(events: Iterable[CertificateEvent]) -> dict[int, CertificateEvent]:
    """The event that removed another, by the other's key; the earliest where there are two."""
    by_removed: dict[int, CertificateEvent] = {}
    for event in sorted(events, key=lambda event: event.recorded_at):
        if (
            event.kind == Kind.VOIDED
            and event.voids is not None
            and event.voids.kind != Kind.VOIDED
            and event.voids.certificate_id == event.certificate_id
        ):
            by_removed.setdefault(event.voids.pk, event)
    return by_removed


@dataclass(frozen=True)
class _Gone:
    """When a fact was taken back, and how that reads."""

    at: datetime
    said: str
    reason: str


def _certificates(certificates: Iterable[Certificate], wanted: FactsWanted) -> Iterable[FactLine]:
    for certificate in certificates:
        detail = _("good through %(day)s as issued") % {
            "day": format_unbroken_day(certificate.valid_through)
        }
        if certificate.renews is not None:
            detail += ", " + _("renews %(number)s") % {"number": certificate.renews.number}
        if certificate.restriction:
            detail += ", " + _("only: %(restriction)s") % {"restriction": certificate.restriction}
        yield _line(
            wanted,
            key=f"certificate:{certificate.number}",
            what=_("certificate %(number)s") % {"number": certificate.number},
            detail=detail,
            holds_from=certificate.issued_on,
            recorded_at=certificate.recorded_at,
            by=certificate.issued_by,
            url=_certificate_url(certificate),
            error_url=reverse(
                "certification:certificate_act", args=[certificate.number, "withdraw"]
            )
            if wanted.may_decide
            else "",
            gone=_withdrawn(certificate),
        )


def _events(rows: Rows, wanted: FactsWanted) -> Iterable[FactLine]:
    """Events; neither a withdrawn certificate's nor a part of one is taken back alone."""
    removed = removals(rows.events)
    withdrawn = {
        certificate.pk for certificate in rows.certificates if hasattr(certificate, "withdrawal")
    }
    for event in rows.events:
        word = event.get_kind_display()
        if event.kind == Kind.EXTENDED and event.until is not None:
            word = _("extended until %(day)s, granted by %(authority)s") % {
                "day": format_unbroken_day(event.until),
                "authority": event.authority,
            }
        elif event.kind == Kind.RESTRICTED:
            word = _("restricted, only: %(restriction)s") % {"restriction": event.restriction}
        elif event.kind == Kind.VOIDED and event.voids is not None:
            word = _("removes %(event)s as entered in error") % {"event": event.voids.event_id}
        by = removed.get(event.pk)
        yield _line(
            wanted,
            key=f"event:{event.event_id}",
            what=word,
            detail=_("%(number)s: %(reason)s")
            % {"number": event.certificate.number, "reason": event.reason or "–"},
            holds_from=event.effective_on,
            recorded_at=event.recorded_at,
            by=event.signature.printed_name if event.signature else "",
            url=_certificate_url(event.certificate),
            error_url=reverse(
                "certification:event_remove", args=[event.certificate.number, event.pk]
            )
            if wanted.may_decide
            and event.kind != Kind.VOIDED
            and event.certificate_id not in withdrawn
            and event.part_of is None
            else "",
            gone=_Gone(
                by.recorded_at, _("removed by %(event)s") % {"event": by.event_id}, by.reason
            )
            if by
            else None,
        )


def _tests(tests: Iterable[VisionTest], wanted: FactsWanted) -> Iterable[FactLine]:
    """Pass or fail, and no more: how and by whom is the examiner's."""
    for vision_test in tests:
        yield _line(
            wanted,
            key=f"vision:{vision_test.test_id}",
            what=_("vision test passed") if vision_test.passed else _("vision test not passed"),
            detail=vision_test.test_id,
            holds_from=vision_test.tested_on,
            recorded_at=vision_test.recorded_at,
            by=str(vision_test.recorded_by or ""),
            url=_person_url(wanted),
            error_url=reverse(
                "training:vision_test_withdraw",
                args=[wanted.person.employee_number, vision_test.test_id],
            )
            if wanted.may_withdraw
            else "",
            gone=_withdrawn(vision_test),
        )


def _line(wanted: FactsWanted, *, gone: _Gone | None, **fields: Any) -> FactLine:
    """Say what became of a fact, as at the instant asked about."""
    known_at, zone = wanted.known_at, wanted.site.zone
    recorded_at: datetime = fields["recorded_at"]
    notes = []
    late = (recorded_at.astimezone(zone).date() - fields["holds_from"]).days
    if late > 0:
        notes.append(
            ngettext("recorded %(n)d day later", "recorded %(n)d days later", late) % {"n": late}
        )
    is_unknown = known_at is not None and recorded_at > known_at
    if is_unknown:
        notes.append(_("not known then"))
    is_gone = gone is not None and (known_at is None or gone.at <= known_at)
    if gone is not None:
        facts = {"gone": gone.said, "day": format_unbroken_day(gone.at.astimezone(zone).date())}
        phrase = _("%(gone)s, %(day)s") if is_gone else _("later %(gone)s, %(day)s")
        notes.append((phrase % facts) + (f": {gone.reason}" if gone.reason else ""))
    is_used = fields["key"] in wanted.used and not is_gone and not is_unknown
    return FactLine(
        **fields | {"error_url": "" if gone else fields["error_url"]},
        notes=tuple(notes),
        is_gone=is_gone,
        is_unknown=is_unknown,
        is_used=is_used,
    )


def _withdrawn(row: Certificate | VisionTest | PracticeRecord) -> _Gone | None:
    withdrawal = getattr(row, "withdrawal", None)
    if withdrawal is None:
        return None
    return _Gone(withdrawal.withdrawn_at, _("withdrawn"), withdrawal.reason)


def _certificate_url(certificate: Certificate) -> str:
    return reverse("certification:certificate_detail", args=[certificate.number])


def _person_url(wanted: FactsWanted) -> str:
    return reverse("people:person_detail", args=[wanted.person.employee_number])

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
class Asked:
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


def lines_of(rows: Rows, asked: Asked) -> list[FactLine]:
    """Certificates, events and vision tests, the newest first."""
    found = [
        *_certificates(rows.certificates, asked),
        *_events(rows, asked),
        *_tests(rows.tests, asked),
    ]
    return sorted(found, key=lambda one: (one.holds_from, one.recorded_at), reverse=True)


def practice_of(rows: Rows, asked: Asked) -> list[FactLine]:
    """The days on which such work was done, the newest first."""
    return [
        _line(
            asked,
            key=f"practice:{one.performed_on}",
            what=_("work done"),
            detail=one.reference,
            holds_from=one.performed_on,
            recorded_at=one.recorded_at,
            by=str(one.confirmed_by or ""),
            url=_person_url(asked),
            error_url=reverse(
                "training:practice_withdraw", args=[asked.person.employee_number, one.pk]
            )
            if asked.may_withdraw
            else "",
            gone=_withdrawn(one),
        )
        for one in rows.practice
    ]


def removals(events: Iterable[CertificateEvent]) -> dict[int, CertificateEvent]:
    """The event that removed another, by the other's key; the earliest where there are two."""
    found: dict[int, CertificateEvent] = {}
    for one in sorted(events, key=lambda event: event.recorded_at):
        if (
            one.kind == Kind.VOIDED
            and one.voids is not None
            and one.voids.kind != Kind.VOIDED
            and one.voids.certificate_id == one.certificate_id
        ):
            found.setdefault(one.voids.pk, one)
    return found


@dataclass(frozen=True)
class _Gone:
    """When a fact was taken back, and how that reads."""

    at: datetime
    said: str
    reason: str


def _certificates(certificates: Iterable[Certificate], asked: Asked) -> Iterable[FactLine]:
    for one in certificates:
        detail = _("good through %(day)s as issued") % {
            "day": format_unbroken_day(one.valid_through)
        }
        if one.renews is not None:
            detail += ", " + _("renews %(number)s") % {"number": one.renews.number}
        if one.restriction:
            detail += ", " + _("only: %(restriction)s") % {"restriction": one.restriction}
        yield _line(
            asked,
            key=f"certificate:{one.number}",
            what=_("certificate %(number)s") % {"number": one.number},
            detail=detail,
            holds_from=one.issued_on,
            recorded_at=one.recorded_at,
            by=one.issued_by,
            url=_certificate_url(one),
            error_url=reverse("certification:certificate_act", args=[one.number, "withdraw"])
            if asked.may_decide
            else "",
            gone=_withdrawn(one),
        )


def _events(rows: Rows, asked: Asked) -> Iterable[FactLine]:
    """Events; neither a withdrawn certificate's nor a part of one is taken back alone."""
    removed = removals(rows.events)
    withdrawn = {one.pk for one in rows.certificates if hasattr(one, "withdrawal")}
    for one in rows.events:
        said = one.get_kind_display()
        if one.kind == Kind.EXTENDED and one.until is not None:
            said = _("extended until %(day)s, granted by %(authority)s") % {
                "day": format_unbroken_day(one.until),
                "authority": one.authority,
            }
        elif one.kind == Kind.VOIDED and one.voids is not None:
            said = _("removes %(event)s as entered in error") % {"event": one.voids.event_id}
        by = removed.get(one.pk)
        yield _line(
            asked,
            key=f"event:{one.event_id}",
            what=said,
            detail=_("%(number)s: %(reason)s")
            % {"number": one.certificate.number, "reason": one.reason or "–"},
            holds_from=one.effective_on,
            recorded_at=one.recorded_at,
            by=one.signature.printed_name if one.signature else "",
            url=_certificate_url(one.certificate),
            error_url=reverse("certification:event_remove", args=[one.certificate.number, one.pk])
            if asked.may_decide
            and one.kind != Kind.VOIDED
            and one.certificate_id not in withdrawn
            and one.part_of is None
            else "",
            gone=_Gone(
                by.recorded_at, _("removed by %(event)s") % {"event": by.event_id}, by.reason
            )
            if by
            else None,
        )


def _tests(tests: Iterable[VisionTest], asked: Asked) -> Iterable[FactLine]:
    """Pass or fail, and no more: how and by whom is the examiner's."""
    for one in tests:
        yield _line(
            asked,
            key=f"vision:{one.test_id}",
            what=_("vision test passed") if one.passed else _("vision test not passed"),
            detail=one.test_id,
            holds_from=one.tested_on,
            recorded_at=one.recorded_at,
            by=str(one.recorded_by or ""),
            url=_person_url(asked),
            error_url=reverse(
                "training:vision_test_withdraw", args=[asked.person.employee_number, one.test_id]
            )
            if asked.may_withdraw
            else "",
            gone=_withdrawn(one),
        )


def _line(asked: Asked, *, gone: _Gone | None, **fields: Any) -> FactLine:
    """Say what became of a fact, as at the instant asked about."""
    known_at, zone = asked.known_at, asked.site.zone
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
        said = _("%(gone)s, %(day)s") if is_gone else _("later %(gone)s, %(day)s")
        notes.append((said % facts) + (f": {gone.reason}" if gone.reason else ""))
    is_used = fields["key"] in asked.used and not is_gone and not is_unknown
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


def _person_url(asked: Asked) -> str:
    return reverse("people:person_detail", args=[asked.person.employee_number])

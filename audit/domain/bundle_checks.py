"""What the rows of a register bundle must fit: one another, and what is known already.

Plain computation over typed rows. A bundle that is held up alone is checked against an
empty `KnownRegister`; an import fills it from the database.
"""

from collections import defaultdict
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from people.domain.employee_numbers import number_key

from .bundle import Bundle
from .bundle_rows import CertificateRow, EventRow, StampRow


@dataclass(frozen=True, slots=True)
class KnownCertificate:
    """What a renewal or an event needs to know of a certificate."""

    employee_number: str
    scope: str
    issued_on: date
    withdrawn: bool = False


@dataclass(frozen=True, slots=True)
class KnownEvent:
    certificate_number: str
    event: str
    effective_on: date
    voids: str = ""


@dataclass(frozen=True, slots=True)
class StampHolding:
    """A stamp in somebody's hands, both days included; None is still."""

    employee_number: str
    issued_on: date
    returned_on: date | None

    def overlaps(self, other: "StampHolding") -> bool:
        last, other_last = self.returned_on or date.max, other.returned_on or date.max
        return self.issued_on <= other_last and other.issued_on <= last


@dataclass
class KnownRegister:
    """What there is beside the bundle. ``sites`` None asks nothing of the column.

    ``emails`` says whose an address is, in small letters; ``other_sign_ins`` are the names of
    kiosks and what badges say: nobody has one as a number.
    """

    people: set[str] = field(default_factory=set)
    emails: dict[str, str] = field(default_factory=dict)
    former_numbers: set[str] = field(default_factory=set)
    other_sign_ins: set[str] = field(default_factory=set)
    sites: Mapping[str, Any] | None = None
    site_names: str = ""
    default_site: Any = None
    schemes: set[str] = field(default_factory=set)
    draft_schemes: set[str] = field(default_factory=set)
    certificates: dict[str, KnownCertificate] = field(default_factory=dict)
    events: dict[str, KnownEvent] = field(default_factory=dict)
    stamps: dict[str, list[StampHolding]] = field(default_factory=dict)


def check(bundle: Bundle, known: KnownRegister | None = None) -> None:
    """Add to the bundle's problems and remarks what does not fit."""
    known = known or KnownRegister()
    _check_people(bundle, known)
    _refuse_repeats(bundle, "schemes", "scheme", lambda row: row.scheme)
    _check_certificates(bundle, known)
    _check_events(bundle, known)
    _check_vision_tests(bundle, known)
    _check_practice(bundle, known)
    _check_stamps(bundle, known)
    _refuse_repeats(bundle, "operations", "operation", lambda row: row.operation)


def _refuse_repeats(
    bundle: Bundle, part: str, column: str, key: Callable[[Any], Hashable]
) -> dict[Any, Any]:
    """Refuse the second row with the same key; return the first ones by key."""
    first: dict[Any, Any] = {}
    for row in bundle.rows(part):
        earlier = first.setdefault(key(row), row)
        if earlier is not row:
            bundle.refuse(part, row.line, column, f"The same one stands in line {earlier.line}.")
    return first


def _people(bundle: Bundle, known: KnownRegister) -> set[str]:
    read = {row.employee_number for row in bundle.people}
    return known.people | bundle.unread["people"] | read


def _refuse_unknown_people(bundle: Bundle, known: KnownRegister, part: str) -> None:
    if "people" in bundle.unread_parts:
        return
    people = _people(bundle, known)
    written = {number_key(number): number for number in people}
    for row in bundle.rows(part):
        number = row.employee_number
        if number not in people:
            as_written = written.get(number_key(number))
            reason = (
                f"Nobody has the employee number {number}: write it as {as_written}."
                if as_written
                else f"Nobody has the employee number {number}: add them to "
                f"{bundle.file_of('people')}."
            )
            bundle.refuse(part, row.line, "employee_number", reason)


def _check_people(bundle: Bundle, known: KnownRegister) -> None:
    people = _people(bundle, known)
    _refuse_repeats(bundle, "people", "employee_number", lambda row: row.employee_number)
    _refuse_capitals(bundle, known)
    _remark_on_emails(bundle, known)
    former = {number_key(number) for number in known.former_numbers}
    former -= {number_key(number) for number in known.people}  # one's own, capitalised anew
    others = {number_key(name) for name in known.other_sign_ins}
    for row in bundle.people:
        if number_key(row.employee_number) in others:
            reason = f"{row.employee_number} is how a kiosk or somebody else signs in."
            bundle.refuse("people", row.line, "employee_number", reason)
        if number_key(row.employee_number) in former:
            reason = f"{row.employee_number} was somebody's number before and is not given again."
            bundle.refuse("people", row.line, "employee_number", reason)
        if row.line_lead == row.employee_number:
            bundle.refuse("people", row.line, "line_lead", "Nobody is their own line lead.")
        elif row.line_lead and row.line_lead not in people and "people" not in bundle.unread_parts:
            reason = f"Nobody has the employee number {row.line_lead}."
            bundle.refuse("people", row.line, "line_lead", reason)
        if row.started_on and row.left_on and row.left_on < row.started_on:
            bundle.refuse("people", row.line, "left_on", "They leave before they start.")
        if known.sites is None:
            continue
        if not row.site and known.default_site is None:
            reason = "The cell is empty: name the site, or give one for all with --site."
            bundle.refuse("people", row.line, "site", reason)
        elif row.site and row.site.casefold() not in known.sites:
            reason = f"There is no site {row.site}. There is: {known.site_names or 'none yet'}."
            bundle.refuse("people", row.line, "site", reason)


def _refuse_capitals(bundle: Bundle, known: KnownRegister) -> None:
    """Refuse numbers that differ from another in capitals alone: they would be taken for it."""
    written = {number_key(number): (number, 0) for number in known.people}
    for row in bundle.people:
        number = row.employee_number
        other, line = written.setdefault(number_key(number), (number, row.line))
        if other != number:
            where = f"stands in line {line}" if line else "is in the register"
            reason = f"{other} {where}: numbers that differ in capitals alone are one number."
            bundle.refuse("people", row.line, "employee_number", reason)


def _remark_on_emails(bundle: Bundle, known: KnownRegister) -> None:
    """Point out addresses that several people have: what goes there, all of them read."""
    numbers: dict[str, str] = dict(known.emails)
    for row in bundle.people:
        if not row.email:
            continue
        other = numbers.setdefault(row.email.lower(), row.employee_number)
        if other != row.employee_number:
            text = (
                f"{row.email} is the e-mail address of {other} as well: both read what goes there."
            )
            bundle.remark("people", row.line, text)


def _check_times(bundle: Bundle, part: str) -> None:
    for row in bundle.rows(part):
        withdrawn_at: datetime | None = row.withdrawn_at
        if withdrawn_at is not None and withdrawn_at < row.recorded_at:
            bundle.refuse(part, row.line, "withdrawn_at", "It is withdrawn before it is recorded.")


def _check_certificates(bundle: Bundle, known: KnownRegister) -> None:
    _refuse_repeats(
        bundle, "certificates", "certificate_number", lambda row: row.certificate_number
    )
    _check_times(bundle, "certificates")
    _refuse_unknown_people(bundle, known, "certificates")
    schemes = known.schemes | bundle.unread["schemes"] | {row.scheme for row in bundle.schemes}
    unread = bundle.unread["certificates"]
    all_certificates = certificates_of(bundle, known)
    revoked = revocations(events_of(bundle, known))
    for row in bundle.certificates:
        if row.scheme in known.draft_schemes:
            reason = f"Scheme {row.scheme} is a draft here: publish it first."
            bundle.refuse("certificates", row.line, "scheme", reason)
        elif row.scheme not in schemes and "schemes" not in bundle.unread_parts:
            reason = f"There is no scheme {row.scheme}: add it to {bundle.file_of('schemes')}."
            bundle.refuse("certificates", row.line, "scheme", reason)
        if row.renews in unread or (
            "certificates" in bundle.unread_parts and row.renews not in all_certificates
        ):
            continue
        if row.renews and (why := why_not_renewable(row, all_certificates, revoked)):
            bundle.refuse("certificates", row.line, "renews", why)


def why_not_renewable(
    row: CertificateRow,
    certificates: Mapping[str, KnownCertificate],
    revoked: Mapping[str, list[date]],
) -> str:
    """Say why a certificate cannot renew the one it names; empty where it can."""
    earlier = certificates.get(row.renews)
    if earlier is None:
        return f"There is no certificate {row.renews}."
    if earlier.employee_number != row.employee_number:
        return f"Certificate {row.renews} is another person's."
    if earlier.scope != row.scope:
        return f"Certificate {row.renews} is for another scope, {earlier.scope}."
    if earlier.issued_on >= row.issued_on:
        return f"Certificate {row.renews} was not issued earlier: it is of {earlier.issued_on}."
    if earlier.withdrawn:
        return f"Certificate {row.renews} was withdrawn."
    if any(day <= row.issued_on for day in revoked.get(row.renews, ())):
        return f"Certificate {row.renews} had been revoked."
    return ""


def certificates_of(bundle: Bundle, known: KnownRegister) -> dict[str, KnownCertificate]:
    return known.certificates | {
        row.certificate_number: KnownCertificate(
            row.employee_number, row.scope, row.issued_on, row.withdrawn_at is not None
        )
        for row in bundle.certificates
    }


def events_of(bundle: Bundle, known: KnownRegister) -> dict[str, KnownEvent]:
    return known.events | {
        row.event_id: KnownEvent(row.certificate_number, row.event, row.effective_on, row.voids)
        for row in bundle.events
    }


def revocations(events: Mapping[str, KnownEvent]) -> dict[str, list[date]]:
    """The days from which certificates are revoked, voided revocations left out."""
    voided = {
        event.voids
        for event in events.values()
        if event.event == "voided" and _why_not_voidable(event, events) == ""
    }
    days: dict[str, list[date]] = defaultdict(list)
    for event_id, event in events.items():
        if event.event == "revoked" and event_id not in voided:
            days[event.certificate_number].append(event.effective_on)
    return days


def _why_not_voidable(event: KnownEvent | EventRow, events: Mapping[str, KnownEvent]) -> str:
    target = events.get(event.voids)
    if target is None:
        return f"There is no event {event.voids}."
    if target.certificate_number != event.certificate_number:
        return f"Event {event.voids} is of another certificate, {target.certificate_number}."
    if target.event == "voided":
        return VOIDED_EVENT_CANNOT_BE_VOIDED
    return ""


def _voids_itself(event_id: str, events: Mapping[str, KnownEvent]) -> bool:
    """Whether what an event removes, and what that removes, leads back to it."""
    seen: set[str] = set()
    following = event_id
    while following in events and following not in seen:
        seen.add(following)
        following = events[following].voids
    return following in seen


VOIDED_EVENT_CANNOT_BE_VOIDED = "A voided event cannot be voided, so this one changes nothing."


def _check_events(bundle: Bundle, known: KnownRegister) -> None:
    _refuse_repeats(bundle, "events", "event_id", lambda row: row.event_id)
    events = events_of(bundle, known)
    certificates = certificates_of(bundle, known).keys() | bundle.unread["certificates"]
    for row in bundle.events:
        if row.certificate_number not in certificates and "certificates" not in bundle.unread_parts:
            reason = f"There is no certificate {row.certificate_number}."
            bundle.refuse("events", row.line, "certificate_number", reason)
        if row.event == "voided":
            if not row.voids:
                reason = "A voided event names the event that it removes."
                bundle.refuse("events", row.line, "voids", reason)
            elif row.voids in bundle.unread["events"] or (
                "events" in bundle.unread_parts and row.voids not in events
            ):
                continue
            elif why := _why_not_voidable(row, events):
                if _voids_itself(row.event_id, events):
                    reason = "The event removes itself: say which other one it removes."
                    bundle.refuse("events", row.line, "voids", reason)
                elif why == VOIDED_EVENT_CANNOT_BE_VOIDED:
                    bundle.remark("events", row.line, why)
                else:
                    bundle.refuse("events", row.line, "voids", why)
        elif row.voids:
            reason = f"Only a voided event names another; this one is {row.event}."
            bundle.refuse("events", row.line, "voids", reason)
        if row.event == "extended":
            if row.until is None:
                reason = "An extended event says until when."
                bundle.refuse("events", row.line, "until", reason)
            if not row.authority:
                reason = "An extended event names the authority that granted it."
                bundle.refuse("events", row.line, "authority", reason)
        if row.event == "restricted" and not row.restriction:
            reason = "A restricted event says what alone is allowed from its day on."
            bundle.refuse("events", row.line, "restriction", reason)
        elif row.event != "restricted" and row.restriction:
            reason = f"Only a restricted event has a restriction; this one is {row.event}."
            bundle.refuse("events", row.line, "restriction", reason)


def _check_vision_tests(bundle: Bundle, known: KnownRegister) -> None:
    _refuse_repeats(bundle, "vision_tests", "test_id", lambda row: row.test_id)
    _check_times(bundle, "vision_tests")
    _refuse_unknown_people(bundle, known, "vision_tests")


def _check_practice(bundle: Bundle, known: KnownRegister) -> None:
    _check_times(bundle, "practice")
    _refuse_unknown_people(bundle, known, "practice")


def _check_stamps(bundle: Bundle, known: KnownRegister) -> None:
    _refuse_unknown_people(bundle, known, "stamps")
    holdings: dict[str, list[tuple[int, StampHolding]]] = defaultdict(list)
    keys_of_stamp: dict[str, set[tuple[str, date]]] = defaultdict(set)
    for row in bundle.stamps:
        keys_of_stamp[row.stamp].add(_person_and_day(row))
    for row in bundle.stamps:
        # What the register holds already may have been returned since: the bundle says.
        keys_in_bundle = keys_of_stamp[row.stamp]
        holding = StampHolding(row.employee_number, row.issued_on, row.returned_on)
        if row.returned_on and row.returned_on < row.issued_on:
            reason = "The stamp is returned before it is issued."
            bundle.refuse("stamps", row.line, "returned_on", reason)
            continue
        stored = [
            (0, other)
            for other in known.stamps.get(row.stamp, ())
            if _person_and_day(other) not in keys_in_bundle
        ]
        for line, other in [*holdings[row.stamp], *stored]:
            if holding.overlaps(other):
                reason = (
                    f"Stamp {row.stamp} is with {other.employee_number} from {other.issued_on} "
                    f"through {other.returned_on or 'today'}{f', line {line}' if line else ''}: "
                    "nobody else can hold it on the same day."
                )
                bundle.refuse("stamps", row.line, "issued_on", reason)
                break
        holdings[row.stamp].append((row.line, holding))


def _person_and_day(holding: StampHolding | StampRow) -> tuple[str, date]:
    return holding.employee_number, holding.issued_on

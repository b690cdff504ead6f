"""What the register holds of the things that a bundle speaks of."""

from collections import defaultdict
from dataclasses import dataclass, field
from typing import Any

from django.db.models import F

from audit.domain.bundle import PARTS, Bundle
from audit.domain.bundle_checks import KnownCertificate, KnownEvent, KnownRegister, StampHolding
from certification.models import (
    Certificate,
    CertificateEvent,
    Operation,
    SchemeRevision,
    Scope,
)
from people.models import BadgePin, FormerEmployeeNumber, Person, Site, Stamp, User
from training.models import PracticeRecord, VisionTest

FIGURES = (
    "validity_months",
    "expiry_rule",
    "renewal_window_days",
    "vision_months",
    "max_absence_months",
)


@dataclass(frozen=True, slots=True)
class StoredRow:
    """A row of the register as a bundle would say it, and its primary key."""

    pk: int
    values: dict[str, Any]


@dataclass
class Stored:
    """The register beside a bundle: for the checks, for comparing, and for foreign keys."""

    known: KnownRegister = field(default_factory=KnownRegister)
    rows: dict[str, dict[Any, StoredRow]] = field(
        default_factory=lambda: {part: {} for part in PARTS}
    )
    people: dict[str, int] = field(default_factory=dict)
    scopes: dict[str, int] = field(default_factory=dict)
    revisions: dict[str, SchemeRevision] = field(default_factory=dict)

    def site(self, text: str) -> Site | None:
        """The site that a cell names by prefix or name; the default one where it is empty."""
        sites = self.known.sites or {}
        site: Site | None = sites.get(text.casefold()) if text else self.known.default_site
        return site

    def value_of(self, row: Any, column: str) -> Any:
        """What a row says in a column, as a `StoredRow` would."""
        value = getattr(row, column)
        if column == "site":
            site = self.site(value)
            return site.name if site else value
        return value


def read_stored(bundle: Bundle, default_site: Site | None) -> Stored:
    """Read what a bundle can name, and nothing else of the large tables."""
    stored = Stored()
    _read_people(stored, default_site)
    stored.scopes = dict(Scope.objects.values_list("code", "pk"))
    _read_schemes(stored)
    numbers = {row.employee_number for part in PARTS for row in bundle.rows(part) if _of_one(part)}
    people = {stored.people[number] for number in numbers if number in stored.people}
    _read_certificates(stored)
    _read_events(stored)
    if bundle.vision_tests:
        _read_vision_tests(stored, {row.test_id for row in bundle.vision_tests})
    if bundle.practice:
        _read_practice(stored, people)
    if bundle.stamps:
        _read_stamps(stored)
    for pk, code, scope in Operation.objects.values_list("pk", "code", "scope__code"):
        stored.rows["operations"][code] = StoredRow(pk, {"scope": scope})
    return stored


def people_named(bundle: Bundle) -> set[int]:
    """Keys of those in the register about whom a bundle says anything."""
    numbers = {row.employee_number for part in PARTS for row in bundle.rows(part) if _of_one(part)}
    certificates = {row.certificate_number for row in bundle.events}
    people = Person.objects.order_by().values_list("pk", "employee_number")
    held = Certificate.objects.order_by().values_list("person", "number")
    return {pk for pk, number in people.iterator() if number in numbers} | {
        pk for pk, number in held.iterator() if number in certificates
    }


def _of_one(part: str) -> bool:
    return any(column.name == "employee_number" for column in PARTS[part].columns)


def _read_people(stored: Stored, default_site: Site | None) -> None:
    known = stored.known
    sites = list(Site.objects.all())
    known.sites = {word.casefold(): site for site in sites for word in (site.prefix, site.name)}
    known.site_names = ", ".join(f"{site.name} ({site.prefix})" for site in sites)
    known.default_site = default_site
    known.former_numbers = set(
        FormerEmployeeNumber.objects.values_list("employee_number", flat=True)
    )
    known.other_sign_ins = set(
        User.objects.filter(person=None).values_list("employee_number", flat=True)
    ) | set(
        BadgePin.objects.exclude(badge="")
        .exclude(badge__iexact=F("user__employee_number"))
        .values_list("badge", flat=True)
    )
    by_pk = {site.pk: site for site in sites}
    people = Person.objects.values_list(
        "pk",
        "employee_number",
        "full_name",
        "email",
        "site_id",
        "line_lead__employee_number",
        "started_on",
        "left_on",
    )
    for pk, number, full_name, email, site_id, line_lead, started_on, left_on in people.iterator():
        stored.people[number] = pk
        stored.rows["people"][number] = StoredRow(
            pk,
            {
                "full_name": full_name,
                "email": email,
                "site": by_pk[site_id].name,
                "line_lead": line_lead or "",
                "started_on": started_on,
                "left_on": left_on,
            },
        )
    known.people = set(stored.people)
    known.emails = {
        row.values["email"].lower(): number
        for number, row in stored.rows["people"].items()
        if row.values["email"]
    }


def _read_schemes(stored: Stored) -> None:
    for revision in SchemeRevision.objects.all():
        stored.revisions[revision.name] = revision
        stored.rows["schemes"][revision.name] = StoredRow(
            revision.pk, {name: getattr(revision, name) for name in FIGURES}
        )
    for name, revision in stored.revisions.items():
        is_draft = revision.published_at is None
        (stored.known.draft_schemes if is_draft else stored.known.schemes).add(name)


def _read_certificates(stored: Stored) -> None:
    certificates = Certificate.objects.values_list(
        "pk",
        "number",
        "person__employee_number",
        "scheme_revision__name",
        "scope__code",
        "issued_on",
        "renews__number",
        "recorded_at",
        "withdrawal__withdrawn_at",
        "restriction",
        "issued_by",
    )
    columns = [column.name for column in PARTS["certificates"].columns]
    for pk, number, *values in certificates.iterator():
        row: dict[str, Any] = dict(zip(columns[1:], values, strict=True))
        row["renews"] = row["renews"] or ""
        stored.rows["certificates"][number] = StoredRow(pk, row)
        stored.known.certificates[number] = KnownCertificate(
            row["employee_number"],
            row["scope"],
            row["issued_on"],
            row["withdrawn_at"] is not None,
        )


def _read_events(stored: Stored) -> None:
    events = CertificateEvent.objects.values_list(
        "pk",
        "event_id",
        "certificate__number",
        "kind",
        "effective_on",
        "recorded_at",
        "voids__event_id",
        "reason",
        "until",
        "authority",
    )
    columns = [column.name for column in PARTS["events"].columns]
    for pk, event_id, *values in events.iterator():
        row: dict[str, Any] = dict(zip(columns[1:], values, strict=True))
        row["voids"] = row["voids"] or ""
        stored.rows["events"][event_id] = StoredRow(pk, row)
        stored.known.events[event_id] = KnownEvent(
            row["certificate_number"], row["event"], row["effective_on"], row["voids"]
        )


def _read_vision_tests(stored: Stored, test_ids: set[str]) -> None:
    tests = VisionTest.objects.values_list(
        "pk",
        "test_id",
        "person__employee_number",
        "tested_on",
        "passed",
        "recorded_at",
        "withdrawal__withdrawn_at",
    )
    for pk, test_id, number, tested_on, passed, recorded_at, withdrawn_at in tests.iterator():
        if test_id in test_ids:
            stored.rows["vision_tests"][test_id] = StoredRow(
                pk,
                {
                    "employee_number": number,
                    "tested_on": tested_on,
                    "result": "pass" if passed else "fail",
                    "recorded_at": recorded_at,
                    "withdrawn_at": withdrawn_at,
                },
            )


def _read_practice(stored: Stored, people: set[int]) -> None:
    records = PracticeRecord.objects.values_list(
        "pk",
        "person_id",
        "person__employee_number",
        "scope_code",
        "performed_on",
        "recorded_at",
        "withdrawal__withdrawn_at",
    )
    for pk, person_id, number, scope, performed_on, recorded_at, withdrawn_at in records.iterator():
        if person_id in people:
            stored.rows["practice"][number, scope, performed_on, recorded_at] = StoredRow(
                pk, {"withdrawn_at": withdrawn_at}
            )


def _read_stamps(stored: Stored) -> None:
    holdings: dict[str, list[StampHolding]] = defaultdict(list)
    stamps = Stamp.objects.values_list(
        "pk", "mark", "person__employee_number", "issued_on", "returned_on"
    )
    for pk, mark, number, issued_on, returned_on in stamps.iterator():
        stored.rows["stamps"][mark, issued_on] = StoredRow(
            pk, {"employee_number": number, "returned_on": returned_on}
        )
        holdings[mark].append(StampHolding(number, issued_on, returned_on))
    stored.known.stamps = holdings

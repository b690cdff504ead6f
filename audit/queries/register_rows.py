"""What the register holds of the things that a bundle speaks of."""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Any

from django.db import models
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
from certification.queries.standing_on_day import FIGURES
from people.models import BadgePin, FormerEmployeeNumber, Person, Site, Stamp, User
from training.models import PracticeRecord, VisionTest

MOST_IN_A_QUERY = 5_000


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
    """Read what a bundle can name, and nothing else of the large tables.

    Where it names more than a query can, all of a table is read.
    """
    stored = Stored()
    numbers = _numbers_named(bundle)
    _read_people(stored, default_site, numbers)
    stored.scopes = dict(Scope.objects.values_list("code", "pk"))
    _read_schemes(stored)
    people = {stored.people[number] for number in numbers if number in stored.people}
    certificates = _certificates_named(bundle)
    _read_certificates(stored, certificates)
    _read_events(stored, certificates)
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
    numbers = _numbers_named(bundle)
    certificates = {row.certificate_number for row in bundle.events}
    people = _among(Person.objects.order_by(), "employee_number", numbers)
    held = _among(Certificate.objects.order_by(), "number", certificates)
    return {
        pk
        for pk, number in people.values_list("pk", "employee_number").iterator()
        if number in numbers
    } | {
        pk
        for pk, number in held.values_list("person", "number").iterator()
        if number in certificates
    }


def _numbers_named(bundle: Bundle) -> set[str]:
    return {row.employee_number for part in PARTS for row in bundle.rows(part) if _of_one(part)}


def _certificates_named(bundle: Bundle) -> set[str]:
    """Every certificate that a row is, renews or speaks of, also by the event that it voids."""
    events = {row.event_id for row in bundle.events} | {row.voids for row in bundle.events}
    spoken_of = _among(CertificateEvent.objects.order_by(), "event_id", events)
    return (
        {row.certificate_number for row in bundle.certificates}
        | {row.renews for row in bundle.certificates}
        | {row.certificate_number for row in bundle.events}
        | set(spoken_of.values_list("certificate__number", flat=True))
    )


def _among(rows: models.QuerySet[Any], field: str, values: Collection[Any]) -> models.QuerySet[Any]:
    """Of these rows those with one of the values, and all where they are too many for a query."""
    return rows.filter(**{f"{field}__in": values}) if len(values) <= MOST_IN_A_QUERY else rows


def _of_one(part: str) -> bool:
    return any(column.name == "employee_number" for column in PARTS[part].columns)


def _read_people(stored: Stored, default_site: Site | None, numbers: set[str]) -> None:
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
    stored.people = dict(Person.objects.order_by().values_list("employee_number", "pk"))
    known.people = set(stored.people)
    known.emails = {
        email.lower(): number
        for email, number in Person.objects.order_by()
        .exclude(email="")
        .values_list("email", "employee_number")
    }
    people = _among(Person.objects.order_by(), "employee_number", numbers).values_list(
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


def _read_schemes(stored: Stored) -> None:
    for revision in SchemeRevision.objects.all():
        stored.revisions[revision.name] = revision
        stored.rows["schemes"][revision.name] = StoredRow(
            revision.pk, {name: getattr(revision, name) for name in FIGURES}
        )
    for name, revision in stored.revisions.items():
        is_draft = revision.published_at is None
        (stored.known.draft_schemes if is_draft else stored.known.schemes).add(name)


def _read_certificates(stored: Stored, named: set[str]) -> None:
    certificates = _among(Certificate.objects.order_by(), "number", named).values_list(
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


def _read_events(stored: Stored, certificates: set[str]) -> None:
    rows = _among(CertificateEvent.objects.order_by("pk"), "certificate__number", certificates)
    events = rows.values_list(
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
        "restriction",
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
    tests = _among(VisionTest.objects.order_by(), "test_id", test_ids).values_list(
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
    records = _among(PracticeRecord.objects.order_by(), "person", people).values_list(
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

"""Writing the rows of a checked bundle, many at a time and in the order they name each other."""

import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.db.models import QuerySet

from audit.domain.bundle import Bundle
from audit.domain.bundle_rows import CertificateRow, EventRow, SchemeRow
from audit.queries.register_rows import Stored, StoredRow
from certification.domain.standing import valid_through
from certification.models import (
    Certificate,
    CertificateEvent,
    CertificateWithdrawal,
    Operation,
    Scheme,
    SchemeRevision,
    Scope,
)
from certification.queries import schemes_written_down
from certification.queries import written_down as certificates_written
from certification.queries.standing_on_day import FIGURES, figures_of
from people.models import Person, Stamp, User
from records.services import numbers, trail
from training.models import (
    PracticeRecord,
    PracticeWithdrawal,
    VisionTest,
    VisionTestWithdrawal,
)
from training.queries import written_down as facts_written

BATCH = 1000
WITHDRAWN_BEFORE = "Withdrawn in the register that was brought over."
IN_OUR_FORM = re.compile(r"([A-Z]{1,4})-([CEV])-(\d{1,12})")


def key_of(part: str, row: Any) -> Any:
    """What tells one row of a part from another."""
    match part:
        case "people":
            return row.employee_number
        case "schemes":
            return row.scheme
        case "certificates":
            return row.certificate_number
        case "events":
            return row.event_id
        case "vision_tests":
            return row.test_id
        case "practice":
            return row.employee_number, row.scope, row.performed_on, row.recorded_at
        case "stamps":
            return row.stamp, row.issued_on
        case _:
            return row.operation


def scopes_to_create(bundle: Bundle, stored: Stored) -> list[str]:
    """Scopes that certificates and operations name and nobody has described yet."""
    named = {row.scope for row in bundle.certificates} | {row.scope for row in bundle.operations}
    return sorted(named - stored.scopes.keys())


def in_order_of_reference(
    rows: Iterable[Any], key: Callable[[Any], str], needs: Callable[[Any], str]
) -> Iterator[list[Any]]:
    """Group rows so that what a row names stands in an earlier group, or is no row at all."""
    remaining = list(rows)
    left = {key(row) for row in remaining}
    while remaining:
        ready = [row for row in remaining if needs(row) not in left]
        if not ready:
            raise ValueError("Rows that name each other in a circle have to be refused before.")
        yield ready
        left -= {key(row) for row in ready}
        remaining = [row for row in remaining if key(row) in left]


@dataclass(frozen=True)
class ToRecord:
    """Rows that an entry of the trail each is still to be written about."""

    act: str
    rows: QuerySet[Any]
    pks: Sequence[int]
    about: Callable[[Any], tuple[str, str]]
    content_of: Callable[[Any], Mapping[str, Any]]


@dataclass(frozen=True)
class WithdrawalKind:
    """How the withdrawals of one part are written, and written down."""

    model: type[Any]
    of: str
    comes_with: tuple[str, ...]
    act: str
    about: Callable[[Any], tuple[str, str]]
    content_of: Callable[[Any], Mapping[str, Any]]


WITHDRAWALS = {
    "certificates": WithdrawalKind(
        CertificateWithdrawal,
        "certificate",
        (),
        certificates_written.WITHDRAWAL_IMPORTED,
        lambda row: ("certificate", row.certificate.number),
        certificates_written.withdrawal_content,
    ),
    "vision_tests": WithdrawalKind(
        VisionTestWithdrawal,
        "vision_test",
        ("vision_test__person",),
        "vision test withdrawal imported",
        lambda row: ("vision-test", str(row.vision_test_id)),
        facts_written.test_withdrawal_content,
    ),
    "practice": WithdrawalKind(
        PracticeWithdrawal,
        "practice",
        ("practice__person",),
        "practice withdrawal imported",
        lambda row: ("practice", str(row.practice_id)),
        facts_written.practice_withdrawal_content,
    ),
}


@dataclass
class Writer:
    """Writes new rows; ``touched`` are the people whose standing may have changed."""

    bundle: Bundle
    stored: Stored
    at: datetime
    actor: User | str | None
    touched: set[int] = field(default_factory=set)
    _valid_through: dict[str, date] = field(default_factory=dict)
    _trail_entries: list[ToRecord] = field(default_factory=list)

    def write(
        self,
        rows: dict[str, list[Any]],
        withdrawn: list[tuple[str, Any]],
        returned: list[Any],
    ) -> None:
        self._write_people(rows["people"])
        self._write_scopes()
        self._write_schemes(rows["schemes"])
        self._write_operations(rows["operations"])
        self._write_certificates(rows["certificates"])
        self._write_events(rows["events"])
        self._write_vision_tests(rows["vision_tests"])
        self._write_practice(rows["practice"])
        self._write_stamps(rows["stamps"], returned)
        self._write_withdrawals(
            [
                *((part, row) for part in rows for row in rows[part] if _is_withdrawn(row)),
                *withdrawn,
            ]
        )
        self._advance_numbers(rows)

    def _write_people(self, rows: list[Any]) -> None:
        people = [
            Person(
                employee_number=row.employee_number,
                full_name=row.full_name,
                email=row.email,
                site=self.stored.site(row.site),
                started_on=row.started_on,
                left_on=row.left_on,
                recorded_at=self.at,
            )
            for row in rows
        ]
        for person in Person.objects.bulk_create(people, batch_size=BATCH):
            self.stored.people[person.employee_number] = person.pk
        led = []
        for row, person in zip(rows, people, strict=True):
            if row.line_lead:
                person.line_lead_id = self.stored.people[row.line_lead]
                led.append(person)
        Person.objects.bulk_update(led, ["line_lead"], batch_size=BATCH)

    def _write_scopes(self) -> None:
        scopes = [
            Scope(code=code, title=code) for code in scopes_to_create(self.bundle, self.stored)
        ]
        made = Scope.objects.bulk_create(scopes)
        for scope in made:
            self.stored.scopes[scope.code] = scope.pk
        self._add_to_trail(
            schemes_written_down.SCOPE_CREATED,
            Scope.objects.all(),
            [scope.pk for scope in made],
            lambda scope: ("scope", str(scope.pk)),
            schemes_written_down.scope_content,
        )

    def _write_schemes(self, rows: list[SchemeRow]) -> None:
        """Each becomes the one revision of a scheme, published as it came.

        It names no boards, so nothing new is issued under it here.
        """
        scopes: dict[str, set[str]] = defaultdict(set)
        for certificate in self.bundle.certificates:
            scopes[certificate.scheme].add(certificate.scope)
        for row in rows:
            scheme, _made = Scheme.objects.get_or_create(
                code=row.scheme, defaults={"title": row.scheme}
            )
            last = scheme.revisions.order_by("-revision").first()
            revision = SchemeRevision.objects.create(
                scheme=scheme,
                revision=last.revision + 1 if last else 1,
                name=row.scheme,
                grader_needs_standing=False,
                recorded_at=self.at,
                **{name: getattr(row, name) for name in FIGURES},
            )
            revision.scopes.set([self.stored.scopes[code] for code in scopes[row.scheme]])
            revision.published_at = self.at
            revision.save(update_fields=["published_at"])
            self.stored.revisions[row.scheme] = revision
        self._add_to_trail(
            "scheme imported",
            SchemeRevision.objects.select_related("scheme"),
            [self.stored.revisions[row.scheme].pk for row in rows],
            lambda revision: ("scheme-revision", str(revision.pk)),
            schemes_written_down.published_content,
        )

    def _write_operations(self, rows: list[Any]) -> None:
        made = Operation.objects.bulk_create(
            Operation(code=row.operation, scope_id=self.stored.scopes[row.scope]) for row in rows
        )
        self._add_to_trail(
            schemes_written_down.OPERATION_ADDED,
            Operation.objects.select_related("scope"),
            [operation.pk for operation in made],
            lambda operation: ("operation", str(operation.pk)),
            schemes_written_down.operation_content,
        )

    def _write_certificates(self, rows: list[CertificateRow]) -> None:
        names = {row.employee_number: row.full_name for row in self.bundle.people}
        names |= {
            number: stored_row.values["full_name"]
            for number, stored_row in self.stored.rows["people"].items()
        }
        ids = {
            number: stored_row.pk for number, stored_row in self.stored.rows["certificates"].items()
        }
        earlier = {row.renews for row in rows if row.renews in ids}
        self._valid_through = dict(
            Certificate.objects.filter(number__in=earlier).values_list("number", "valid_through")
        )
        for wave in in_order_of_reference(
            rows, lambda row: row.certificate_number, lambda row: row.renews
        ):
            certificates = [
                self._certificate(row, ids.get(row.renews), names[row.employee_number])
                for row in wave
            ]
            for made in Certificate.objects.bulk_create(certificates, batch_size=BATCH):
                ids[made.number] = made.pk
                self.touched.add(made.person_id)
        for row in rows:
            self.stored.rows["certificates"][row.certificate_number] = StoredRow(
                ids[row.certificate_number], {"employee_number": row.employee_number}
            )
        self._add_to_trail(
            certificates_written.IMPORTED,
            Certificate.objects.select_related("person", "scope", "renews", "document"),
            [ids[row.certificate_number] for row in rows],
            lambda certificate: ("certificate", certificate.number),
            certificates_written.certificate_content,
        )

    def _certificate(
        self, row: CertificateRow, renews_id: int | None, holder_name: str
    ) -> Certificate:
        revision = self.stored.revisions[row.scheme]
        figures = figures_of(revision)
        last_day = valid_through(figures, row.issued_on, self._valid_through.get(row.renews))
        self._valid_through[row.certificate_number] = last_day
        return Certificate(
            number=row.certificate_number,
            person_id=self.stored.people[row.employee_number],
            scope_id=self.stored.scopes[row.scope],
            scheme_revision=revision,
            issued_on=row.issued_on,
            renews_id=renews_id,
            valid_through=last_day,
            restriction=row.restriction,
            origin=Certificate.Origin.IMPORTED,
            holder_name=holder_name,
            figures={"name": revision.name, **{name: getattr(revision, name) for name in FIGURES}},
            evidence={"imported": {"file": self.bundle.file_of("certificates"), "line": row.line}},
            issued_by=row.issued_by,
            recorded_at=row.recorded_at,
        )

    def _write_events(self, rows: list[EventRow]) -> None:
        ids = {
            event_id: stored_row.pk for event_id, stored_row in self.stored.rows["events"].items()
        }
        certificates = self.stored.rows["certificates"]
        for wave in in_order_of_reference(rows, lambda row: row.event_id, lambda row: row.voids):
            events = [
                CertificateEvent(
                    event_id=row.event_id,
                    certificate_id=certificates[row.certificate_number].pk,
                    kind=row.event,
                    effective_on=row.effective_on,
                    voids_id=ids[row.voids] if row.voids else None,
                    until=row.until,
                    authority=row.authority,
                    restriction=row.restriction,
                    reason=row.reason,
                    recorded_at=row.recorded_at,
                )
                for row in wave
            ]
            for made in CertificateEvent.objects.bulk_create(events, batch_size=BATCH):
                ids[made.event_id] = made.pk
        for row in rows:
            number = certificates[row.certificate_number].values["employee_number"]
            self.touched.add(self.stored.people[number])
        self._add_to_trail(
            certificates_written.EVENT_IMPORTED,
            CertificateEvent.objects.select_related("certificate", "voids"),
            [ids[row.event_id] for row in rows],
            lambda event: ("certificate-event", event.event_id),
            certificates_written.event_content,
        )

    def _write_vision_tests(self, rows: list[Any]) -> None:
        tests = [
            VisionTest(
                test_id=row.test_id,
                person_id=self.stored.people[row.employee_number],
                tested_on=row.tested_on,
                passed=row.result == "pass",
                recorded_at=row.recorded_at,
            )
            for row in rows
        ]
        made = VisionTest.objects.bulk_create(tests, batch_size=BATCH)
        self._keep_ids("vision_tests", rows, [test.pk for test in made])
        self._add_to_trail(
            "vision test imported",
            VisionTest.objects.select_related("person"),
            [test.pk for test in made],
            lambda test: ("vision-test", str(test.pk)),
            facts_written.vision_test_content,
        )
        self.touched.update(test.person_id for test in made)

    def _write_practice(self, rows: list[Any]) -> None:
        records_to_make = [
            PracticeRecord(
                person_id=self.stored.people[row.employee_number],
                scope_code=row.scope,
                performed_on=row.performed_on,
                recorded_at=row.recorded_at,
            )
            for row in rows
        ]
        made = PracticeRecord.objects.bulk_create(records_to_make, batch_size=BATCH)
        self._keep_ids("practice", rows, [practice.pk for practice in made])
        self._add_to_trail(
            "practice imported",
            PracticeRecord.objects.select_related("person"),
            [practice.pk for practice in made],
            lambda practice: ("practice", str(practice.pk)),
            facts_written.practice_content,
        )
        self.touched.update(practice.person_id for practice in made)

    def _keep_ids(self, part: str, rows: list[Any], pks: list[int]) -> None:
        for row, pk in zip(rows, pks, strict=True):
            self.stored.rows[part][key_of(part, row)] = StoredRow(pk, {})

    def _write_stamps(self, rows: list[Any], returned: list[Any]) -> None:
        for row in returned:
            pk = self.stored.rows["stamps"][row.stamp, row.issued_on].pk
            Stamp.objects.filter(pk=pk).update(returned_on=row.returned_on)
        stamps = [
            Stamp(
                mark=row.stamp,
                person_id=self.stored.people[row.employee_number],
                issued_on=row.issued_on,
                returned_on=row.returned_on,
                recorded_at=self.at,
            )
            for row in rows
        ]
        Stamp.objects.bulk_create(stamps, batch_size=BATCH)

    def _write_withdrawals(self, withdrawn: list[tuple[str, Any]]) -> None:
        made: dict[str, list[Any]] = defaultdict(list)
        for part, row in withdrawn:
            kind = WITHDRAWALS[part]
            pk = self.stored.rows[part][key_of(part, row)].pk
            made[part].append(
                kind.model(
                    **{f"{kind.of}_id": pk}, withdrawn_at=row.withdrawn_at, reason=WITHDRAWN_BEFORE
                )
            )
            self.touched.add(self.stored.people[row.employee_number])
        for part, withdrawals in made.items():
            kind = WITHDRAWALS[part]
            rows = kind.model.objects.bulk_create(withdrawals, batch_size=BATCH)
            self._add_to_trail(
                kind.act,
                kind.model.objects.select_related(kind.of, *kind.comes_with),
                [row.pk for row in rows],
                kind.about,
                kind.content_of,
            )

    def _add_to_trail(
        self,
        act: str,
        rows: QuerySet[Any],
        pks: Sequence[int],
        about: Callable[[Any], tuple[str, str]],
        content_of: Callable[[Any], Mapping[str, Any]],
    ) -> None:
        self._trail_entries.append(ToRecord(act, rows, pks, about, content_of))

    def write_trail(self) -> None:
        """Write the trail: late, since nobody else can from the rebuilding of spans on.

        Rows are read once more, as the verification will read them, and not all at once.
        """
        for entries in self._trail_entries:
            for start in range(0, len(entries.pks), BATCH):
                pks = entries.pks[start : start + BATCH]
                by_pk = entries.rows.in_bulk(pks)
                trail.record_many(
                    actor=self.actor,
                    act=entries.act,
                    items=[(entries.about(by_pk[pk]), entries.content_of(by_pk[pk])) for pk in pks],
                    at=self.at,
                )

    def _advance_numbers(self, rows: dict[str, list[Any]]) -> None:
        """Never give a number again that came in looking like one of ours."""
        last: dict[tuple[str, str], int] = {}
        for part in ("certificates", "events", "vision_tests"):
            for row in rows[part]:
                match = IN_OUR_FORM.fullmatch(key_of(part, row))
                if match:
                    series = match[1], match[2]
                    last[series] = max(last.get(series, 0), int(match[3]))
        for (prefix, kind), number in sorted(last.items()):
            numbers.continue_series_after(prefix, kind, number)


def _is_withdrawn(row: Any) -> bool:
    return getattr(row, "withdrawn_at", None) is not None

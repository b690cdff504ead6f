"""Standing on a day, from the rows: facts for the engine, and its answers."""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import date, datetime

from certification.domain import standing as engine
from certification.domain.facts import known
from certification.domain.periods import Course, courses
from certification.models import (
    Certificate,
    CertificateEvent,
    SchemeRevision,
    Scope,
)
from people.models import Person
from training.models import PracticeRecord, VisionTest


def figures_of(revision: SchemeRevision) -> engine.SchemeFigures:
    return engine.SchemeFigures(
        validity_months=revision.validity_months,
        expiry_rule=engine.ExpiryRule(revision.expiry_rule),
        renewal_window_days=revision.renewal_window_days,
        vision_months=revision.vision_months,
        max_absence_months=revision.max_absence_months,
    )


@dataclass
class _Rows:
    """Facts of some people while they are being gathered."""

    certificates: dict[tuple[int, int], list[engine.CertificateFact]] = field(
        default_factory=lambda: defaultdict(list)
    )
    events: dict[tuple[int, int], list[engine.EventFact]] = field(
        default_factory=lambda: defaultdict(list)
    )
    vision: dict[int, list[engine.VisionFact]] = field(default_factory=lambda: defaultdict(list))
    practice: dict[tuple[int, str], list[engine.PracticeFact]] = field(
        default_factory=lambda: defaultdict(list)
    )
    pks: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class FactsOf:
    """The facts of many people and scopes; ``pks`` are certificates' primary keys by number."""

    by_person_and_scope: dict[tuple[int, int], engine.Facts]
    pks: dict[str, int]


def facts_for_many(person_ids: Collection[int], scope_id: int | None = None) -> FactsOf:
    """Gather everything recorded of some people, for each scope they hold a certificate in.

    Takes the same five queries for one person as for a thousand; give no more than some
    hundred people at a time.
    """
    rows = _Rows()
    _gather_certificates(rows, person_ids, scope_id)
    _gather_events(rows, person_ids, scope_id)
    codes = dict(Scope.objects.values_list("pk", "code"))
    _gather_upkeep(rows, person_ids, None if scope_id is None else codes[scope_id])
    return FactsOf(
        {
            (person_id, scope): engine.Facts(
                found,
                rows.events[person_id, scope],
                rows.vision[person_id],
                rows.practice[person_id, codes[scope]],
            )
            for (person_id, scope), found in rows.certificates.items()
        },
        rows.pks,
    )


def _gather_certificates(rows: _Rows, person_ids: Collection[int], scope_id: int | None) -> None:
    found = Certificate.objects.filter(person__in=person_ids)
    if scope_id is not None:
        found = found.filter(scope=scope_id)
    figures: dict[int, engine.SchemeFigures] = {}
    for one in found.select_related("scheme_revision", "withdrawal", "renews").order_by():
        if one.scheme_revision_id not in figures:
            figures[one.scheme_revision_id] = figures_of(one.scheme_revision)
        withdrawal = getattr(one, "withdrawal", None)
        rows.pks[one.number] = one.pk
        rows.certificates[one.person_id, one.scope_id].append(
            engine.CertificateFact(
                number=one.number,
                figures=figures[one.scheme_revision_id],
                issued_on=one.issued_on,
                renews=one.renews.number if one.renews else "",
                recorded_at=one.recorded_at,
                withdrawn_at=withdrawal.withdrawn_at if withdrawal else None,
                restriction=one.restriction,
            )
        )


def _gather_events(rows: _Rows, person_ids: Collection[int], scope_id: int | None) -> None:
    found = CertificateEvent.objects.filter(certificate__person__in=person_ids)
    if scope_id is not None:
        found = found.filter(certificate__scope=scope_id)
    for one in found.select_related("certificate", "voids").order_by():
        rows.events[one.certificate.person_id, one.certificate.scope_id].append(
            engine.EventFact(
                event_id=one.event_id,
                certificate_number=one.certificate.number,
                kind=engine.EventKind(one.kind),
                effective_on=one.effective_on,
                recorded_at=one.recorded_at,
                voids=one.voids.event_id if one.voids else "",
                until=one.until,
                authority=one.authority,
                reason=one.reason,
            )
        )


def _gather_upkeep(rows: _Rows, person_ids: Collection[int], scope_code: str | None) -> None:
    tests = VisionTest.objects.filter(person__in=person_ids).order_by()
    for person_id, test_id, tested_on, passed, recorded_at, withdrawn_at in tests.values_list(
        "person_id", "test_id", "tested_on", "passed", "recorded_at", "withdrawal__withdrawn_at"
    ):
        rows.vision[person_id].append(
            engine.VisionFact(test_id, tested_on, passed, recorded_at, withdrawn_at)
        )
    practice = PracticeRecord.objects.filter(person__in=person_ids).order_by()
    if scope_code is not None:
        practice = practice.filter(scope_code=scope_code)
    for person_id, code, performed_on, recorded_at, withdrawn_at in practice.values_list(
        "person_id", "scope_code", "performed_on", "recorded_at", "withdrawal__withdrawn_at"
    ):
        rows.practice[person_id, code].append(
            engine.PracticeFact(performed_on, recorded_at, withdrawn_at)
        )


def facts_for(person: Person, scope: Scope) -> engine.Facts:
    """Everything recorded that bears on one person and scope."""
    found = facts_for_many([person.pk], scope.pk).by_person_and_scope
    return found.get((person.pk, scope.pk), engine.Facts())


def answer(
    person: Person, scope: Scope, day: date, known_at: datetime | None = None
) -> engine.Answer:
    """What the register says of one person, scope and day, from the facts themselves."""
    return answer_from(facts_for(person, scope), day, known_at)


def answer_from(facts: engine.Facts, day: date, known_at: datetime | None = None) -> engine.Answer:
    """The same, from facts that were gathered already."""
    return engine.timeline(facts, known_at).on(day)


def courses_of(person: Person, scope: Scope) -> dict[str, Course]:
    """What events have made of each certificate that stands, by number."""
    return courses_in(facts_for(person, scope))


def courses_in(facts: engine.Facts) -> dict[str, Course]:
    """What events have made of each certificate that stands among some facts, by number."""
    facts = known(facts)
    return {one.certificate.number: one for one in courses(facts.certificates, facts.events)}


def is_revoked_on(course: Course, day: date) -> bool:
    return course.revoked_on is not None and course.revoked_on <= day

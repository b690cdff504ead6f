"""Standing on a day, from the rows: facts for the engine, and its answers."""

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from certification.domain import standing as engine
from certification.domain.facts import known
from certification.domain.periods import CertificateHistory, certificate_histories
from certification.models import (
    Certificate,
    CertificateEvent,
    SchemeRevision,
    Scope,
)
from people.models import Person
from training.models import PracticeRecord, VisionTest

PEOPLE_AT_A_TIME = 200
"""People whose facts are gathered at a time by whoever reads many."""


FIGURES = (
    "validity_months",
    "expiry_rule",
    "renewal_window_days",
    "vision_months",
    "max_absence_months",
)
"""What the engine reads of a revision, in the order of `SchemeFigures`."""


def figures_of(revision: SchemeRevision) -> engine.SchemeFigures:
    return _figures(*(getattr(revision, name) for name in FIGURES))


def _figures(
    validity_months: int, expiry_rule: str, renewal_window: int, vision_months: int, absence: int
) -> engine.SchemeFigures:
    return engine.SchemeFigures(
        validity_months=validity_months,
        expiry_rule=engine.ExpiryRule(expiry_rule),
        renewal_window_days=renewal_window,
        vision_months=vision_months,
        max_absence_months=absence,
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
                certificates,
                rows.events[person_id, scope],
                rows.vision[person_id],
                rows.practice[person_id, codes[scope]],
            )
            for (person_id, scope), certificates in rows.certificates.items()
        },
        rows.pks,
    )


def _gather_certificates(rows: _Rows, person_ids: Collection[int], scope_id: int | None) -> None:
    certificates = Certificate.objects.filter(person__in=person_ids)
    if scope_id is not None:
        certificates = certificates.filter(scope=scope_id)
    figures: dict[int, engine.SchemeFigures] = {}
    for (
        pk,
        person_id,
        scope_id_of,
        number,
        issued_on,
        renews,
        recorded_at,
        withdrawn_at,
        restriction,
        revision_id,
        *figures_read,
    ) in certificates.order_by().values_list(
        "pk",
        "person_id",
        "scope_id",
        "number",
        "issued_on",
        "renews__number",
        "recorded_at",
        "withdrawal__withdrawn_at",
        "restriction",
        "scheme_revision_id",
        *(f"scheme_revision__{name}" for name in FIGURES),
    ):
        if revision_id not in figures:
            figures[revision_id] = _figures(*figures_read)
        rows.pks[number] = pk
        rows.certificates[person_id, scope_id_of].append(
            engine.CertificateFact(
                number=number,
                figures=figures[revision_id],
                issued_on=issued_on,
                renews=renews or "",
                recorded_at=recorded_at,
                withdrawn_at=withdrawn_at,
                restriction=restriction,
            )
        )


def _gather_events(rows: _Rows, person_ids: Collection[int], scope_id: int | None) -> None:
    events = CertificateEvent.objects.filter(certificate__person__in=person_ids)
    if scope_id is not None:
        events = events.filter(certificate__scope=scope_id)
    for (
        person_id,
        scope_id_of,
        event_id,
        number,
        kind,
        effective_on,
        recorded_at,
        voids,
        until,
        authority,
        reason,
        restriction,
    ) in events.order_by().values_list(
        "certificate__person_id",
        "certificate__scope_id",
        "event_id",
        "certificate__number",
        "kind",
        "effective_on",
        "recorded_at",
        "voids__event_id",
        "until",
        "authority",
        "reason",
        "restriction",
    ):
        rows.events[person_id, scope_id_of].append(
            engine.EventFact(
                event_id=event_id,
                certificate_number=number,
                kind=engine.EventKind(kind),
                effective_on=effective_on,
                recorded_at=recorded_at,
                voids=voids or "",
                until=until,
                authority=authority,
                reason=reason,
                restriction=restriction,
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


@dataclass(frozen=True)
class Upkeep:
    """Vision tests of people, and their practice by person and code of the scope."""

    vision: Mapping[int, list[engine.VisionFact]]
    practice: Mapping[tuple[int, str], list[engine.PracticeFact]]


def upkeep_for_many(person_ids: Collection[int]) -> Upkeep:
    """What keeps certificates alive, also of people who hold none yet, in two queries."""
    rows = _Rows()
    _gather_upkeep(rows, person_ids, None)
    return Upkeep(rows.vision, rows.practice)


@dataclass(frozen=True)
class Read:
    """What a list has read of one person in one scope, for whatever is asked of it next.

    ``certificates`` are all that the person holds, by number.
    """

    facts: engine.Facts
    certificates: Mapping[str, Certificate]


def read_for_many(pairs: Collection[tuple[int, int]]) -> dict[tuple[int, int], Read]:
    """Read of each pair of a person and a scope, in the same six queries for one as for many."""
    person_ids = {person_id for person_id, _scope_id in pairs}
    facts = facts_for_many(person_ids).by_person_and_scope
    held: dict[int, dict[str, Certificate]] = defaultdict(dict)
    for certificate in Certificate.objects.filter(person__in=person_ids).only("number", "person"):
        held[certificate.person_id][certificate.number] = certificate
    return {pair: Read(facts.get(pair, engine.Facts()), held.get(pair[0], {})) for pair in pairs}


def read_for(person: Person, scope: Scope) -> Read:
    """The same of one person and scope."""
    pair = (person.pk, scope.pk)
    return read_for_many([pair])[pair]


def facts_for(person: Person, scope: Scope) -> engine.Facts:
    """Everything recorded that bears on one person and scope."""
    found = facts_for_many([person.pk], scope.pk).by_person_and_scope
    return found.get((person.pk, scope.pk), engine.Facts())


def every_fact(person: Person, scope: Scope) -> engine.Facts:
    """The same, and what is recorded of somebody who holds no certificate for the scope yet."""
    rows, person_ids, pair = _Rows(), [person.pk], (person.pk, scope.pk)
    _gather_certificates(rows, person_ids, scope.pk)
    _gather_events(rows, person_ids, scope.pk)
    _gather_upkeep(rows, person_ids, scope.code)
    return engine.Facts(
        rows.certificates[pair],
        rows.events[pair],
        rows.vision[person.pk],
        rows.practice[person.pk, scope.code],
    )


def answer(
    person: Person, scope: Scope, day: date, known_at: datetime | None = None
) -> engine.Answer:
    """What the register says of one person, scope and day, from the facts themselves."""
    return answer_from(facts_for(person, scope), day, known_at)


def answer_from(facts: engine.Facts, day: date, known_at: datetime | None = None) -> engine.Answer:
    """The same, from facts that were gathered already."""
    return engine.timeline(facts, known_at).on(day)


def histories_of(person: Person, scope: Scope) -> dict[str, CertificateHistory]:
    """What events have made of each certificate that stands, by number."""
    return histories_in(facts_for(person, scope))


def histories_in(facts: engine.Facts) -> dict[str, CertificateHistory]:
    """What events have made of each certificate that stands among some facts, by number."""
    facts = known(facts)
    return {
        history.certificate.number: history
        for history in certificate_histories(facts.certificates, facts.events)
    }


def is_revoked_on(history: CertificateHistory, day: date) -> bool:
    return history.revoked_on is not None and history.revoked_on <= day

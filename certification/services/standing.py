"""Standing from the rows: facts for the engine, answers, and the spans that lists read.

The rules are in `certification.domain.standing`. Spans are written anew, for one person and
scope as a whole, in the transaction that writes a fact.
"""

from collections.abc import Callable, Collection, Iterable

from django.db import transaction

from certification.domain import standing as engine
from certification.models import (
    Certificate,
    Scope,
    StandingEnd,
    StandingSpan,
)
from certification.queries.standing_on_day import facts_for_many
from people.models import Person
from records.services import trail

from . import standing_changes

BATCH_OF_PEOPLE = 200
BATCH_OF_ROWS = 1000


# Spans


def rebuild_spans(person: Person, scope: Scope) -> None:
    """Write the spans of one person and scope anew."""
    _rebuild([person.pk], scope.pk)


def rebuild_person(person: Person) -> None:
    """Write the spans of one person anew, for every scope."""
    _rebuild([person.pk])


def facts_changed(person: Person, scope_code: str | None) -> None:
    """Answer to news of a fact about somebody, in the transaction that wrote it."""
    if scope_code is None:
        rebuild_person(person)
        return
    scope = Scope.objects.filter(code=scope_code).first()
    if scope is not None:
        rebuild_spans(person, scope)


def rebuild_people(
    person_ids: Iterable[int], progress: Callable[[int], None] | None = None
) -> None:
    """Write the spans of many people anew, some hundred at a time, each lot in a transaction."""
    waiting = sorted(person_ids)
    for start in range(0, len(waiting), BATCH_OF_PEOPLE):
        lot = waiting[start : start + BATCH_OF_PEOPLE]
        _rebuild(lot)
        if progress is not None:
            progress(start + len(lot))


def rebuild_all(progress: Callable[[int, int], None] | None = None) -> int:
    """Write every span anew; return of how many people."""
    people = set(Certificate.objects.order_by().values_list("person_id", flat=True).distinct())
    StandingSpan.objects.exclude(person__in=Certificate.objects.values("person")).delete()
    total = len(people)
    rebuild_people(people, None if progress is None else lambda done: progress(done, total))
    return total


@transaction.atomic
def _rebuild(person_ids: Collection[int], scope_id: int | None = None) -> None:
    # Two changes at once would each miss what the other is writing, and the later would stand.
    trail.lock_trail()
    facts = facts_for_many(person_ids, scope_id)
    spans: list[StandingSpan] = []
    ends: list[StandingEnd] = []
    for (person_id, scope), facts_of_pair in facts.by_person_and_scope.items():
        line = engine.timeline(facts_of_pair)
        for span_of_days in line.spans:
            to_come = line.ends_after(span_of_days.first_day)
            span = StandingSpan(
                person_id=person_id,
                scope_id=scope,
                first_day=span_of_days.first_day,
                stands_since=span_of_days.stands_since,
                last_day=span_of_days.last_day,
                standing=span_of_days.standing.value,
                certificate_id=facts.pks.get(span_of_days.certificate_number),
                restriction=span_of_days.restriction,
                rule=span_of_days.rule.value,
                ends_on=to_come[0].last_day if to_come else None,
                good_through=line.good_through(span_of_days.first_day),
            )
            spans.append(span)
            ends += [
                StandingEnd(
                    span=span, kind=end.kind.value, last_day=end.last_day, source=end.source
                )
                for end in to_come
            ]
    old = StandingSpan.objects.filter(person__in=person_ids)
    if scope_id is not None:
        old = old.filter(scope=scope_id)
    before = standing_changes.spans_said(old)
    old.delete()
    StandingSpan.objects.bulk_create(spans, batch_size=BATCH_OF_ROWS)
    StandingEnd.objects.bulk_create(ends, batch_size=BATCH_OF_ROWS)
    standing_changes.note(person_ids, before, standing_changes.spans_said(spans))

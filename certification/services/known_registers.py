"""The whole register of a day as it was known at an instant, worked out some people at a time.

A worker claims the row, writes one lot of people and how far it got in each transaction, and
lets go after some lots, so that nothing else waits for long. Whoever takes the row up next
goes on from there.
"""

from collections.abc import Callable
from datetime import date, datetime

from django.db import transaction
from django.db.models import F

from certification.domain import standing as engine
from certification.models import Certificate, KnownEnd, KnownRegister, KnownSpan
from certification.models.known_registers import KEPT_FOR
from certification.queries import standing_on_day
from people.models import User

from . import standing

LOT_OF_PEOPLE = 100
LOTS_A_ROUND = 20


class _ClaimLost(Exception):
    """Somebody else has taken the row up."""


@transaction.atomic
def ask(*, day: date, known_at: datetime, actor: User, at: datetime) -> KnownRegister:
    """Have the register of a day worked out as known at an instant that is past.

    What is being worked out goes on; what is finished or given up is begun anew, since records
    that are brought over from elsewhere keep their own, earlier instants.
    """
    defaults = {"asked_by": actor, "recorded_at": at}
    known, is_new = KnownRegister.objects.get_or_create(
        day=day, known_at=known_at, defaults=defaults
    )
    if is_new or not (known.is_finished or known.is_given_up):
        return known
    # Of two who ask at once the second waits here, and finds what the first one began.
    if KnownRegister.objects.select_for_update().filter(pk=known.pk).first() is not None:
        _throw_away(known)
    known, _is_new = KnownRegister.objects.get_or_create(
        day=day, known_at=known_at, defaults=defaults
    )
    return known


def work_out_next(*, clock: Callable[[], datetime]) -> bool:
    """Work one round on the one that has waited longest; return whether anything is left."""
    due = KnownRegister.objects.due(clock()).order_by("recorded_at", "pk")
    known = due.first()
    if known is not None:
        work_out(known, clock=clock)
    return KnownRegister.objects.due(clock()).exists()


def work_out(
    known: KnownRegister, *, clock: Callable[[], datetime], lots: int = LOTS_A_ROUND
) -> None:
    """Work some lots, if nobody else does; what was not finished is free again afterwards."""
    token = KnownRegister.objects.claim(known.pk, clock())
    if not token:
        return
    mine = KnownRegister.objects.filter(pk=known.pk, claim=token)
    if not known.people:
        holders = Certificate.objects.order_by().values("person").distinct().count()
        mine.update(people=holders)
    last = mine.values_list("last_person_id", flat=True).first()
    for _lot in range(lots):
        if last is None:
            return
        people = list(
            Certificate.objects.filter(person__gt=last)
            .order_by("person_id")
            .values_list("person_id", flat=True)
            .distinct()[:LOT_OF_PEOPLE]
        )
        if not people:
            mine.update(finished_at=clock(), people_done=F("people"), claimed_at=None)
            return
        try:
            _write_lot(known, mine, people, clock())
        except _ClaimLost:
            return
        last = people[-1]
    mine.update(claimed_at=None)


def throw_away_old(*, now: datetime) -> int:
    """Delete what was asked for long ago; return how many."""
    old = KnownRegister.objects.filter(recorded_at__lt=now - KEPT_FOR)
    number = 0
    for known_register in old:
        with transaction.atomic():
            _throw_away(known_register)
        number += 1
    return number


def _throw_away(known: KnownRegister) -> None:
    KnownEnd.objects.filter(span__known=known).delete()
    KnownSpan.objects.filter(known=known).delete()
    known.delete()


def _write_lot(known: KnownRegister, mine, people: list[int], now: datetime) -> None:
    spans, ends = _stood(known, people)
    with transaction.atomic():
        gone_on = mine.update(
            last_person_id=people[-1],
            people_done=F("people_done") + len(people),
            claimed_at=now,
            attempts=0,
        )
        if not gone_on:
            raise _ClaimLost
        KnownSpan.objects.bulk_create(spans, batch_size=standing.BATCH_OF_ROWS)
        KnownEnd.objects.bulk_create(ends, batch_size=standing.BATCH_OF_ROWS)


def _stood(known: KnownRegister, people: list[int]) -> tuple[list[KnownSpan], list[KnownEnd]]:
    facts = standing_on_day.facts_for_many(people)
    spans: list[KnownSpan] = []
    ends: list[KnownEnd] = []
    for (person_id, scope_id), of_one in sorted(facts.by_person_and_scope.items()):
        line = engine.timeline(of_one, known.known_at)
        stood = line.span_on(known.day)
        if stood.standing == engine.Standing.NEVER_CERTIFIED:
            continue
        to_come = line.ends_after(known.day)
        span = KnownSpan(
            known=known,
            person_id=person_id,
            scope_id=scope_id,
            first_day=stood.first_day,
            stands_since=stood.stands_since,
            last_day=stood.last_day,
            standing=stood.standing.value,
            certificate_id=facts.pks.get(stood.certificate_number),
            restriction=stood.restriction,
            rule=stood.rule.value,
            ends_on=to_come[0].last_day if to_come else None,
            good_through=line.good_through(known.day),
            changes_on=line.on(known.day).changes_on,
        )
        spans.append(span)
        ends += [
            KnownEnd(span=span, kind=end.kind.value, last_day=end.last_day, source=end.source)
            for end in to_come
        ]
    return spans, ends

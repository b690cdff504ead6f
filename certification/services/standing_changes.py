"""What has changed since an instant: for programs that poll instead of asking about everybody.

The answer of the bench check about one person and scope changes in three ways. Something is
written down and the spans come out differently; the days pass and a span begins; or the
person comes to a site or leaves it. The first and the last are kept in `StandingChange`, by
the clock of the moment at which the spans were rebuilt, since what an import brings was
recorded long ago. The second is read from the spans.
"""

from collections.abc import Collection, Iterable
from datetime import date, datetime
from typing import Any

from django.db.models import Q, QuerySet
from django.utils import timezone

from certification.models import StandingChange, StandingSpan
from people.models import Person

Pair = tuple[int, int]
Spans = dict[Pair, set[tuple[Any, ...]]]

SAID = ("first_day", "standing", "certificate_id", "restriction")
BATCH_OF_ROWS = 1000


def spans_said(spans: Iterable[StandingSpan]) -> Spans:
    """What answers rest on in some spans, by person and scope."""
    by_pair: Spans = {}
    for span in spans:
        values = tuple(getattr(span, name) for name in SAID)
        by_pair.setdefault((span.person_id, span.scope_id), set()).add(values)
    return by_pair


def note(person_ids: Collection[int], before: Spans, after: Spans) -> None:
    """Keep that some pairs have changed now, and pairs never kept before.

    Called in the transaction that rebuilt their spans.
    """
    sites = dict(Person.objects.filter(pk__in=person_ids).values_list("pk", "site_id"))
    kept = set(
        StandingChange.objects.filter(person__in=person_ids).values_list(
            "person_id", "scope_id", "site_id"
        )
    )
    pairs = before.keys() | after.keys()
    changed = [
        (person, scope)
        for person, scope in pairs
        if before.get((person, scope)) != after.get((person, scope))
        or (person, scope, sites[person]) not in kept
    ]
    _keep((person, scope, sites[person]) for person, scope in sorted(changed))


def note_person(person: Person) -> None:
    """Keep that somebody came, left or goes by another number, at every site that knew them."""
    scopes = StandingSpan.objects.filter(person=person).order_by()
    kept = StandingChange.objects.filter(person=person)
    places = {(scope, person.site_id) for scope in scopes.values_list("scope", flat=True)}
    places |= set(kept.values_list("scope_id", "site_id"))
    _keep((person.pk, scope, site) for scope, site in sorted(places))


def _keep(rows: Iterable[tuple[int, int, int]]) -> None:
    now = timezone.now()
    StandingChange.objects.bulk_create(
        [
            StandingChange(person_id=person, scope_id=scope, site_id=site, changed_at=now)
            for person, scope, site in rows
        ],
        batch_size=BATCH_OF_ROWS,
        update_conflicts=True,
        unique_fields=["person", "scope", "site"],
        update_fields=["changed_at"],
    )


def changed_pairs(
    *, site_id: int, since: datetime, day_then: date, today: date, after: Pair, limit: int
) -> list[Pair]:
    """Ids of people and scopes whose answer at a site may differ from the one at an instant.

    Parameters
    ----------
    since : datetime
        The instant.
    day_then, today : date
        The site's day at the instant and now.
    after : (int, int)
        Only pairs beyond this one, in the order of person and scope.
    limit : int
        At most so many.
    """
    came_or_went = Person.objects.filter(
        Q(started_on__gt=day_then, started_on__lte=today)
        | Q(left_on__gte=day_then, left_on__lt=today),
        site=site_id,
    )
    at_site = StandingSpan.objects.filter(person__site=site_id)
    parts = [
        _beyond(after, StandingChange.objects.since(since).filter(site=site_id)),
        _beyond(after, at_site.filter(first_day__gt=day_then, first_day__lte=today)),
        _beyond(after, at_site.filter(person__in=came_or_went)),
    ]
    pairs = parts[0].union(*parts[1:]).order_by("person_id", "scope_id")[:limit]
    return [(person, scope) for person, scope in pairs]


def _beyond(after: Pair, rows: QuerySet[Any]) -> QuerySet[Any, Any]:
    person, scope = after
    return (
        rows.filter(Q(person__gt=person) | Q(person=person, scope__gt=scope))
        .order_by()
        .values_list("person_id", "scope_id")
    )

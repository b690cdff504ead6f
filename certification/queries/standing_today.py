"""How many people stand on a day, read off the spans for lists of other apps."""

from collections.abc import Collection
from datetime import date

from django.db.models import OuterRef, Q, Subquery

from certification.domain.answers import Standing
from certification.models import StandingEnd, StandingSpan
from people.models.people import PersonQuerySet
from people.queries.site_days import Days


def with_vision_ends(people: PersonQuerySet, days: Days) -> PersonQuerySet:
    """People with ``vision_ends_on`` and ``vision_over_since``, the soonest of any scope."""
    spans = StandingSpan.objects.on_days(days).filter(person=OuterRef("pk"))
    over = spans.filter(standing=Standing.VISION_NOT_CURRENT).order_by("stands_since")
    ends = StandingEnd.objects.filter(
        days.each(_ends_on, "span__person__site"),
        span__person=OuterRef("pk"),
        kind=StandingEnd.Kind.VISION,
    ).order_by("last_day")
    return people.annotate(
        vision_ends_on=Subquery(ends.values("last_day")[:1]),
        vision_over_since=Subquery(over.values("stands_since")[:1]),
    )


def practice_ends(person_ids: Collection[int], scope_code: str, days: Days) -> dict[int, date]:
    """The last good day of those certified in a scope, if they do no more work in it."""
    ends = StandingEnd.objects.filter(
        days.each(_ends_on, "span__person__site"),
        span__person__in=person_ids,
        span__scope__code=scope_code,
        span__standing=Standing.CERTIFIED,
        kind=StandingEnd.Kind.PRACTICE,
    )
    return dict(ends.values_list("span__person", "last_day"))


def _ends_on(day: date) -> Q:
    """Ends of spans in which a day lies."""
    return Q(Q(span__last_day__isnull=True) | Q(span__last_day__gte=day), span__first_day__lte=day)


def certified(person_ids: Collection[int], days: Days) -> set[tuple[int, str]]:
    """Pairs of person and scope code that are certified on the day at their site."""
    spans = StandingSpan.objects.on_days(days).filter(
        person__in=person_ids, standing=Standing.CERTIFIED
    )
    return set(spans.values_list("person_id", "scope__code"))

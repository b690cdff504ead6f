"""Whether instructors are certified for what they are to teach, on each day of a class."""

from collections.abc import Collection, Sequence
from datetime import date

from django.db.models import Q

from certification.domain.answers import Standing
from certification.models import Scope, StandingSpan


def not_entitled(
    person_ids: Collection[int], joint_types: Collection[str], days: Sequence[date]
) -> dict[int, date]:
    """Who is not certified as instructor for all of these, each with the first such day.

    A joint type is asked for where a scheme in force certifies instructors for it. Days to come
    are read as the register stands, so a certificate that ends before the class counts as ended.
    """
    asked = set(joint_types) & _taught_by_certified()
    if not asked or not days or not person_ids:
        return {}
    spans = list(
        StandingSpan.objects.filter(
            Q(last_day__isnull=True) | Q(last_day__gte=min(days)),
            first_day__lte=max(days),
            person__in=person_ids,
            scope__level=Scope.Level.INSTRUCTOR,
            standing=Standing.CERTIFIED,
        ).select_related("scope")
    )
    missing = {}
    for person_id in sorted(person_ids):
        own = [span for span in spans if span.person_id == person_id]
        for day in sorted(days):
            held = {
                joint_type
                for span in own
                if span.first_day <= day and (span.last_day is None or day <= span.last_day)
                for joint_type in span.scope.joint_types
            }
            if not asked <= held:
                missing[person_id] = day
                break
    return missing


def _taught_by_certified() -> set[str]:
    """Joint types for which a scheme in force certifies instructors."""
    scopes = Scope.objects.filter(
        level=Scope.Level.INSTRUCTOR,
        retired_at__isnull=True,
        scheme_revisions__published_at__isnull=False,
        scheme_revisions__retired_at__isnull=True,
    )
    return {name for types in scopes.values_list("joint_types", flat=True) for name in types}

"""Stamps as they are now: each mark once, with whoever holds it or held it last."""

from django.db.models import Exists, OuterRef, Q, QuerySet

from people.models import Stamp
from people.models.people import PersonQuerySet


def latest_stamps(people: PersonQuerySet) -> QuerySet[Stamp]:
    """The latest issue of each mark, where it was to one of these people; by their marks.

    A mark that somebody else holds by now is theirs.
    """
    later = Stamp.objects.filter(
        Q(issued_on__gt=OuterRef("issued_on"))
        | Q(issued_on=OuterRef("issued_on"), pk__gt=OuterRef("pk")),
        mark=OuterRef("mark"),
    )
    return (
        Stamp.objects.filter(~Exists(later), person__in=people)
        .select_related("person__site")
        .order_by("mark")
    )

"""Whose name was erased: they are known by their number alone."""

from django.db.models import CharField, Exists, OuterRef, Q
from django.db.models.functions import Cast

from people.models import Person
from records.domain.kinds import kind_of
from records.models import Removal
from records.queries.removals import What, is_removed

PERSON = kind_of(Person.__name__)


def erased() -> Q:
    """Of a person: that their name was erased."""
    removals = Removal.objects.filter(
        about_type=PERSON, what=What.NAME, about_id=Cast(OuterRef("pk"), CharField())
    )
    return Q(Exists(removals))


def is_erased(person: Person) -> bool:
    return is_removed(PERSON, person.pk, What.NAME)

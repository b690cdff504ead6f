"""Whose name was erased: they are known by their number alone, until they are named again."""

from django.db.models import CharField, Exists, F, OuterRef, Q
from django.db.models.functions import Cast

from people.models import Person
from records.domain.kinds import kind_of
from records.models import Removal
from records.queries.removals import What, is_removed

PERSON = kind_of(Person.__name__)


def erased() -> Q:
    """Of a person: that their name was erased, and none was entered since."""
    removals = Removal.objects.filter(
        about_type=PERSON, what=What.NAME, about_id=Cast(OuterRef("pk"), CharField())
    )
    return Q(Exists(removals), full_name=F("employee_number"))


def is_erased(person: Person) -> bool:
    """The same of one person; of nobody who bears a name does it ask the database."""
    return person.full_name == person.employee_number and is_removed(PERSON, person.pk, What.NAME)

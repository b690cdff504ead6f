"""What the find field finds: people, boards and certificates by name or number."""

from dataclasses import dataclass
from typing import TypeVar

from django.db import models
from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet

from assessments.access import boards_readable_by
from assessments.models import Board
from certification.access import certificates_readable_by
from certification.models import Certificate
from people.access import people_listed_for
from people.models import FormerEmployeeNumber, Person, Stamp, User

MOST_FOUND = 20
Row = TypeVar("Row", bound=models.Model)


@dataclass(frozen=True, slots=True)
class Found:
    """No more than so many of each kind; `more` says that some were left out."""

    people: list[Person]
    boards: list[Board]
    certificates: list[Certificate]
    more: bool

    @property
    def only(self) -> Person | Board | Certificate | None:
        """The one thing found, if it is one."""
        everything: list[Person | Board | Certificate] = [
            *self.people,
            *self.boards,
            *self.certificates,
        ]
        return everything[0] if len(everything) == 1 else None


def find(user: User, text: str) -> Found:
    """Look among what the user may read; an empty text finds nothing."""
    if not text:
        return Found([], [], [], more=False)
    people, more_people = _first(_people(user, text))
    boards, more_boards = _first(
        boards_readable_by(user)
        .filter(Q(number__icontains=text) | Q(unit__iexact=text) | Q(work_order__iexact=text))
        .with_list_columns()
        .order_by("-number")
    )
    certificates, more_certificates = _first(
        certificates_readable_by(user)
        .filter(Q(number__icontains=text) | Q(outside_number__iexact=text))
        .select_related("person", "scope")
    )
    more = more_people or more_boards or more_certificates
    return Found(people, boards, certificates, more)


def _people(user: User, text: str) -> QuerySet[Person]:
    """By every word of the name, by a number held now or before, by a stamp held at any time."""
    stamps = Stamp.objects.filter(mark__iexact=text)
    named = Q()
    for word in text.split():
        named &= Q(full_name__icontains=word)
    former = FormerEmployeeNumber.objects.filter(employee_number__iexact=text)
    return (
        people_listed_for(user)
        .filter(
            named
            | Q(employee_number__istartswith=text)
            | Exists(former.filter(person=OuterRef("pk")))
            | Exists(stamps.filter(person=OuterRef("pk")))
        )
        .select_related("site")
        .prefetch_related(Prefetch("stamps", stamps.order_by("-issued_on"), to_attr="stamps_found"))
    )


def _first(matches: QuerySet[Row]) -> tuple[list[Row], bool]:
    rows = list(matches[: MOST_FOUND + 1])
    return rows[:MOST_FOUND], len(rows) > MOST_FOUND

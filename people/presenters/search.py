"""One search over every kind of thing, each found by the app that it belongs to.

An app registers its kinds when it starts, as it does its pages. A finder looks among what its
reader may see, by its own app's access, and in one bounded query.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery, When
from django.db.models.expressions import Value
from django.urls import reverse
from django.utils.translation import gettext as _

from people.access import people_listed_for, today_for
from people.models import FormerEmployeeNumber, NameChange, Person, Stamp, User
from people.presenters.days import format_day
from people.queries.finding import (
    BEGINS,
    EXACT,
    PART,
    Sought,
    name_match,
    number_matches,
    number_rank,
    rank,
)

MOST_AS_TYPED, MOST_ON_PAGE = 5, 20


@dataclass(frozen=True, slots=True)
class Hit:
    """One thing found: its number, what it is called, and what tells it from others."""

    number: str
    label: str
    detail: str
    url: str
    rank: int


@dataclass(frozen=True, slots=True)
class Group:
    """What was found of one kind, best first; ``more`` says that some were left out."""

    key: str
    heading: Any
    hits: list[Hit]
    more: bool


@dataclass(frozen=True, slots=True)
class Found:
    """Everything found, the kind with the best answer first."""

    groups: list[Group] = field(default_factory=list)

    @property
    def hits(self) -> list[Hit]:
        return [hit for group in self.groups for hit in group.hits]

    @property
    def more(self) -> bool:
        return any(group.more for group in self.groups)

    @property
    def only(self) -> Hit | None:
        """The one place that all that was found leads to, if it is one."""
        hits = self.hits
        return hits[0] if len({hit.url for hit in hits}) == 1 else None


Finder = Callable[[User, Sought, int], list[Hit]]
"""Takes a reader, what was typed and how many are shown; gives at most one more than that."""


@dataclass(frozen=True, slots=True)
class Kind:
    heading: Any
    finder: Finder
    order: int


_kinds: dict[str, Kind] = {}


def register(key: str, heading: Any, finder: Finder, *, order: int) -> None:
    """Have one kind of thing found; registering a key again replaces it. Lower order goes first."""
    _kinds[key] = Kind(heading, finder, order)


def find(user: User, typed: str, most: int = MOST_ON_PAGE) -> Found:
    """Look among what the user may read; an empty text finds nothing."""
    sought = Sought.of(typed)
    if not sought.text:
        return Found()
    groups = []
    for key, kind in _kinds.items():
        hits = kind.finder(user, sought, most)
        if hits:
            groups.append(Group(key, kind.heading, hits[:most], len(hits) > most))
    groups.sort(key=lambda group: (group.hits[0].rank, _kinds[group.key].order))
    return Found(groups)


def join(parts: Iterable[Any]) -> str:
    """Details one after the other, without those that are empty."""
    return ", ".join(str(part) for part in parts if part)


# People and their stamps


def people(user: User, sought: Sought, most: int) -> list[Hit]:
    """By every word of the name, or by a number, held now or before."""
    name = name_match(sought, "full_name")
    former = FormerEmployeeNumber.objects.filter(
        person=OuterRef("pk"), employee_number__iexact=sought.text
    )
    named = name_match(sought, "before")
    changes = NameChange.objects.alias(**named.alias).filter(named.matches, person=OuterRef("pk"))
    today = today_for(user)
    found = (
        people_listed_for(user)
        .alias(**name.alias)
        .annotate(
            had_number=Exists(former),
            had_name=Subquery(changes.order_by("-from_day", "-pk").values("before")[:1]),
        )
        .filter(
            name.matches
            | number_matches(sought, "employee_number")
            | Q(had_number=True)
            | Q(had_name__isnull=False)
        )
        .annotate(
            rank=rank(
                When(Q(employee_number__iexact=sought.text) | name.exact, then=Value(EXACT)),
                When(had_number=True, then=Value(EXACT)),
                When(Q(employee_number__istartswith=sought.text) | name.begins, then=Value(BEGINS)),
                default=PART,
            ),
            gone=rank(When(left_on__lt=today, then=Value(1)), default=0),
        )
        .select_related("site")
        .order_by("rank", "gone", "full_name", "employee_number")
    )
    return [
        Hit(
            person.employee_number,
            person.full_name,
            join(
                (
                    person.site.name,
                    person.gone and _("left %(day)s") % {"day": _day(person.left_on)},
                    person.had_name and _("was called %(name)s") % {"name": person.had_name},
                    person.had_number and _("had number %(number)s") % {"number": sought.text},
                )
            ),
            reverse("people:person_detail", args=[person.employee_number]),
            person.rank,
        )
        for person in found[: most + 1]
    ]


def _day(day: Any) -> str:
    return format_day(day) if day else ""


def stamps(user: User, sought: Sought, most: int) -> list[Hit]:
    """By the mark; whoever holds it now comes before who held it."""
    readable: QuerySet[Person] = people_listed_for(user)
    found = (
        Stamp.objects.filter(number_matches(sought, "mark"), person__in=readable)
        .annotate(
            rank=number_rank(sought, "mark"),
            is_returned=rank(When(returned_on__isnull=False, then=Value(1)), default=0),
        )
        .select_related("person")
        .order_by("rank", "is_returned", "mark", "-issued_on")
    )
    return [
        Hit(
            stamp.mark,
            stamp.person.full_name,
            _holding(stamp),
            reverse("people:person_detail", args=[stamp.person.employee_number]),
            stamp.rank,
        )
        for stamp in found[: most + 1]
    ]


def _holding(stamp: Stamp) -> str:
    first = format_day(stamp.issued_on)
    if stamp.returned_on is None:
        return _("holds stamp %(mark)s since %(first)s") % {"mark": stamp.mark, "first": first}
    return _("held stamp %(mark)s from %(first)s through %(last)s") % {
        "mark": stamp.mark,
        "first": first,
        "last": format_day(stamp.returned_on),
    }

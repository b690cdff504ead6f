"""By which employee numbers somebody may stand in what was written down of them."""

from collections import defaultdict
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Any

from people.models import FormerEmployeeNumber
from people.models.people import PersonQuerySet
from records.queries.rebuilding import Content, Written


def keys_by_number(people: PersonQuerySet, numbers: Collection[str]) -> dict[str, int]:
    """Some people's keys by the numbers that they have, or had before."""
    former = FormerEmployeeNumber.objects.filter(
        person__in=people.order_by().values("pk"), employee_number__in=numbers
    )
    now = people.filter(employee_number__in=numbers)
    return dict(former.values_list("employee_number", "person")) | dict(
        now.values_list("employee_number", "pk")
    )


def rebuilt_with_person(
    written: Sequence[Written],
    rows: Mapping[int, Any],
    content_of: Callable[[Any], dict[str, Any]],
    person_id_of: Callable[[Any], int] = lambda row: row.person_id,
) -> dict[int, Content]:
    """Rebuild content whose ``person`` is an employee number, which may have changed since.

    Where it was written with a number that is a former one of the same person, it fits.
    """
    former: dict[int, set[str]] = defaultdict(set)
    people = {person_id_of(row) for row in rows.values()}
    numbers = FormerEmployeeNumber.objects.filter(person__in=people)
    for person_id, number in numbers.values_list("person", "employee_number"):
        former[person_id].add(number)
    rebuilt: dict[int, Content] = {}
    for entry in written:
        if (row := rows.get(entry.number)) is not None:
            content = content_of(row)
            if entry.says("person") in former[person_id_of(row)]:
                content["person"] = entry.says("person")
            rebuilt[entry.number] = content
    return rebuilt

"""What the modules here share: how rows are rebuilt and registered, and how a joint is called."""

from collections.abc import Callable, Sequence
from typing import Any

from django.db.models import Model

from assessments.models import Joint
from people.queries.employee_numbers import rebuilt_with_person
from records.queries import rebuilding
from records.queries.rebuilding import Content, KeptTable, Written

ContentOf = Callable[[Any], dict[str, Any]]
Rebuild = Callable[[Sequence[Written]], dict[int, Content]]


def register_rows(
    model: type[Model], about: str, act: str, content_of: ContentOf, rows: Any = None
) -> None:
    """Have each row of a table compared with the one entry that wrote it down.

    Parameters
    ----------
    about : str
        The kind of thing that the entry calls the row.
    rows : QuerySet, optional
        How the rows are read, with what their content is made of.
    """
    rebuild = by_number(model._base_manager.all() if rows is None else rows, content_of)
    rebuilding.register_entries([act], model._meta.db_table, rebuild)
    rebuilding.register_table(KeptTable(model, about, acts=(act,), content_of=content_of))


def of_people(rows: Any, content_of: ContentOf) -> Rebuild:
    """Rebuild rows that name a person, whatever number that person has by now."""
    return lambda written: rebuilt_with_person(
        written, rebuilding.rows_by_number(rows, written), content_of
    )


def by_number(rows: Any, content_of: ContentOf) -> Rebuild:
    """Rebuild rows that entries name by their numbers."""
    return lambda written: {
        number: content_of(row) for number, row in rebuilding.rows_by_number(rows, written).items()
    }


def joint_written(joint: Joint | None) -> str:
    """A joint as it was ever written down, whatever pages come to call it; empty for the board."""
    if joint is None:
        return ""
    name = joint.position.name
    return name if joint.make == 1 else f"{name}, make {joint.make}"

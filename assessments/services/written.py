"""Queries that are put into SQL once and then asked again and again with other values.

Django writes the SQL of a query anew whenever it is asked. For a query of many parts that takes
several times as long as asking it, which matters where somebody waits at the keyboard.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import connection
from django.db.models import QuerySet, UUIDField


class Blanks:
    """Stand-ins to write a query with, each known again in its parameters by its value."""

    def __init__(self) -> None:
        self._named: dict[Any, str] = {}

    def text(self, name: str) -> str:
        return self._add(f"the blank called {name}", name)

    def number(self, name: str) -> int:
        return self._add(2_000_000_000 + len(self._named), name)

    def uuid(self, name: str) -> UUID:
        # As the database is handed it: as it is, or in hexadecimal.
        made = UUID(int=(1 << 127) + len(self._named))
        self._add(_as_parameter(made), name)
        return made

    def _add(self, value: Any, name: str) -> Any:
        self._named[value] = name
        return value

    @property
    def names(self) -> set[str]:
        return set(self._named.values())

    def name_of(self, parameter: Any) -> str | None:
        is_known = isinstance(parameter, (str, int, UUID)) and parameter in self._named
        return self._named[parameter] if is_known else None


@dataclass(frozen=True, slots=True)
class Written:
    """The SQL of one query, with the blanks among its parameters."""

    sql: str
    parameters: tuple[tuple[str | None, Any], ...]
    columns: tuple[str, ...]
    converters: Mapping[int, tuple[list, Any]]

    @classmethod
    def of(cls, rows: QuerySet[Any, dict[str, Any]], blanks: Blanks) -> "Written":
        """Write down a query that was made with blanks.

        What a value is made of decides the shape of some queries (None, an empty list): such a
        value is no blank.

        Parameters
        ----------
        rows
            Ends in `values(...)` with names, so that the columns have an order.
        """
        compiler = rows.query.get_compiler(connection=connection)
        sql, given = compiler.as_sql()
        parameters = tuple((blanks.name_of(one), one) for one in given)
        missing = blanks.names - {name for name, _value in parameters}
        if missing:
            raise ValueError(f"The query does not ask for {sorted(missing)}.")
        selected = [column for column, _sql, _alias in compiler.select]
        names = tuple(rows.query.selected or ())
        return cls(sql, parameters, names, compiler.get_converters(selected))

    def ask(self, **values: Any) -> Iterator[dict[str, Any]]:
        """Ask the query with these values; give each row by the names of its columns."""
        parameters = [
            value if name is None else _as_parameter(values[name])
            for name, value in self.parameters
        ]
        with connection.cursor() as cursor:
            cursor.execute(self.sql, parameters)
            found = cursor.fetchall()
        for row in map(list, found):
            for at, (converters, column) in self.converters.items():
                for convert in converters:
                    row[at] = convert(row[at], column, connection)
            yield dict(zip(self.columns, row, strict=True))


def _as_parameter(value: Any) -> Any:
    return UUIDField().get_db_prep_value(value, connection) if isinstance(value, UUID) else value

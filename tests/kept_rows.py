"""What many tests begin from: made once in a process, and put back as rows for each after it.

`made_once` does so on SQLite, `Kept` on PostgreSQL.
"""

import sqlite3
from collections.abc import Callable, Hashable, Iterator
from contextlib import closing, contextmanager
from typing import Any, TypeVar

from django.contrib.auth.models import Permission
from django.contrib.contenttypes.models import ContentType
from django.core.cache import cache
from django.db import connection, transaction
from django.db.models import Model

from records.models import append_only
from tests.conftest import triggers_off

# What `migrate` fills stays between tests.
STAYS = {model._meta.db_table for model in (ContentType, Permission)}
Made = TypeVar("Made", bound=Model)
Rows = dict[str, list[tuple[Any, ...]]]
_kept: dict[Hashable, tuple[Rows, list[tuple[Any, Any]]]] = {}


def made_once(what: Hashable, make: Callable[[], list[Made]]) -> list[Made]:
    """The rows that `make` returns, with all else that it wrote.

    For tests that commit. The keys are those of the first time, so caches, which know people by
    theirs, are emptied; keys of what is made afterwards go on. It is made anew on PostgreSQL, and
    where something is there before it.
    """
    if connection.vendor != "sqlite" or _rows():
        return make()
    if what not in _kept:
        made = make()
        _kept[what] = _rows(), [(type(each), each.pk) for each in made]
        return made
    tables, keys = _kept[what]
    cache.clear()
    # Rows are added to what is closed by now, and in any order.
    with append_only.lifted(connection), connection.cursor() as cursor:
        for table, rows in tables.items():
            places = ", ".join(["%s"] * len(rows[0]))
            name = connection.ops.quote_name(table)
            cursor.executemany(f"INSERT INTO {name} VALUES ({places})", rows)
    return [model._default_manager.get(pk=key) for model, key in keys]


@contextmanager
def taken_back_after(django_db_blocker: Any) -> Iterator[None]:
    """Have what is written within this stay for the tests of one module, and for no other.

    For tests that do not commit: the transaction of each, within this one, takes back what it
    alters itself. Objects are not taken back, so whoever alters one reads or copies it first. A
    fixture that does so is `autouse`: every test of the module finds the same, in any order.
    """
    with django_db_blocker.unblock(), transaction.atomic():
        yield
        transaction.set_rollback(True)


def _rows() -> Rows:
    """Every row as the file has it; Django's own connection would make dates and figures of it."""
    tables = set(connection.introspection.django_table_names(include_views=False)) - STAYS
    with closing(sqlite3.connect(connection.settings_dict["NAME"])) as file:
        read = {
            table: file.execute(f"SELECT * FROM {connection.ops.quote_name(table)}").fetchall()
            for table in sorted(tables)
        }
    return {table: rows for table, rows in read.items() if rows}


class Kept:
    """Every row that PostgreSQL holds, put back as it was by `put_back` as often as wanted.

    For tests that commit one thing after another to what takes long to make. Keys of what is made
    afterwards go on, and caches are emptied.
    """

    def __init__(self) -> None:
        assert connection.vendor == "postgresql", "SQLite's are kept by `made_once`."
        tables = set(connection.introspection.django_table_names(include_views=False)) - STAYS
        self._quoted = {name: connection.ops.quote_name(name) for name in sorted(tables)}
        # A row's xmin is the transaction that wrote it, and transactions are counted upwards.
        self._ask = " UNION ALL ".join(
            f"SELECT '{name}', count(*), coalesce(sum(xmin::text::bigint), 0) FROM {table}"
            for name, table in self._quoted.items()
        )
        self._marks = self._marks_now()
        self._rows: dict[str, bytes] = {}
        with connection.cursor() as cursor:
            for table in self._quoted.values():
                with cursor.copy(f"COPY {table} TO STDOUT") as rows:
                    self._rows[table] = b"".join(rows)

    def put_back(self) -> None:
        """Have no other rows than those that were kept; only where others were written since."""
        cache.clear()
        with transaction.atomic(), connection.cursor() as cursor:
            changed = [self._quoted[name] for name, *_ in self._marks_now() - self._marks]
            with triggers_off(connection, cursor, changed):
                for table in changed:
                    cursor.execute(f"DELETE FROM {table}")
                    if self._rows[table]:
                        with cursor.copy(f"COPY {table} FROM STDIN") as rows:
                            rows.write(self._rows[table])
        self._marks = self._marks_now()

    def _marks_now(self) -> set[tuple[str, int, int]]:
        """Of each table: how many rows it has and which transactions wrote them, as one sum."""
        with connection.cursor() as cursor:
            cursor.execute(self._ask)
            return set(cursor.fetchall())

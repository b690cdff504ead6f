"""What many tests begin from: made once in a process, and put back as rows for each after it."""

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

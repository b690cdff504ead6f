"""The rows of a database as one instant shows them, in a form that either kind of database takes.

Rows, and no copy in a database's own format: one form is written, read and tried, whichever of
the two kinds it came from and goes to, and no program of a server's version has to be there. A
transaction that only reads sees one instant to its end, on PostgreSQL as REPEATABLE READ and on
SQLite beside its write-ahead log, while others write. On PostgreSQL no table is rewritten or
emptied meanwhile, since a snapshot from before would find it empty: every one is locked against
that, as ``pg_dump`` does, and against nothing else.
"""

import base64
import gzip
import json
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import IO, Any
from uuid import UUID

from django.apps import apps as installed_apps
from django.apps.registry import Apps
from django.db import connections, models
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.db.migrations.state import StateApps
from django.utils.dateparse import parse_duration
from django.utils.duration import duration_iso_string

from operations.backends.archive import LONGEST_LINE, packed_lines

BATCH = 2000
PART_BYTES = 4 * 1024 * 1024
LONGEST_ROW = LONGEST_LINE // 4
"""In characters, of which UTF-8 makes four bytes at most."""
LEFT_OUT = frozenset(
    {
        "django_session",
        "people_tabletuse",
        "operations_heartbeat",
        "operations_backup",
        "operations_movedphoto",
        "operations_sharedmark",
    }
)
"""Tables that tell of one running site: who is signed in, which processes live, where its back-ups
and its old photographs lie, what its machines share. A restored one begins without."""

Model = type[models.Model]
Node = tuple[str, str]


class RowTooLong(Exception):
    """A row is longer than what would be read again."""

    def __init__(self, characters: int) -> None:
        super().__init__(characters)
        self.characters = characters


@contextmanager
def snapshot() -> Iterator[BaseDatabaseWrapper]:
    """A connection of its own to the site's database, on which time stands still."""
    connection = connections["default"].copy()
    try:
        if connection.vendor == "postgresql":
            tables = [connection.ops.quote_name(name) for name in tables_of(connection)]
            connection.set_autocommit(False)
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
                # Of a table that is emptied or rewritten (TRUNCATE, some kinds of ALTER TABLE)
                # between the instant and its turn, not one row would be seen: PostgreSQL 15, 13.6
                # "Caveats". Locking fixes no instant, so it comes first.
                cursor.execute(f"LOCK TABLE {', '.join(tables)} IN ACCESS SHARE MODE")
                cursor.execute("SELECT 1")  # With which the instant is fixed.
        else:
            with connection.cursor() as cursor:
                # By hand: Django would begin as for writing, and keep all others from it.
                cursor.execute("BEGIN DEFERRED")
                cursor.execute("SELECT count(*) FROM sqlite_master")
        yield connection
    finally:
        if connection.connection is not None:
            connection.connection.rollback()
        connection.close()


def tables_of(connection: BaseDatabaseWrapper) -> list[str]:
    """Every table of a database, sorted."""
    with connection.cursor() as cursor:
        found = connection.introspection.get_table_list(cursor)
    return sorted(info.name for info in found if info.type in ("t", "p"))


def tables_of_others(connection: BaseDatabaseWrapper, found: Collection[str]) -> list[str]:
    """Tables that are none of this program's, and in no back-up: what a server may hold besides."""
    own = {*found, *LEFT_OUT, MigrationRecorder.Migration._meta.db_table}
    return [table for table in tables_of(connection) if table not in own]


def fields_of(model: Model) -> list[Any]:
    """The fields whose columns hold what was put into them, and not what a database works out."""
    return [field for field in model._meta.local_concrete_fields if not field.generated]


def applied_migrations(connection: BaseDatabaseWrapper) -> list[Node]:
    """Every migration that a database has been through, sorted, of the apps that there are."""
    loader = MigrationLoader(connection)
    installed = {config.label for config in installed_apps.get_app_configs()}
    return sorted(node for node in loader.applied_migrations if node[0] in installed)


def known_migrations() -> set[Node]:
    """Every migration that this version brings."""
    return set(MigrationLoader(None).disk_migrations)


def last_of_each_line(nodes: Iterable[Node]) -> list[Node]:
    """Those migrations after which no other of the same app among them comes."""
    nodes, graph = set(nodes), MigrationLoader(None).graph
    return sorted(
        node
        for node in nodes
        if not any(
            child.key[0] == node[0] and child.key in nodes
            for child in graph.node_map[node].children
        )
    )


def models_after(nodes: Iterable[Node]) -> dict[str, Model]:
    """The models that fit a database which has been through these migrations, by their table."""
    registry: Apps | StateApps = installed_apps
    if set(nodes) != known_migrations():
        state = MigrationLoader(None).project_state(last_of_each_line(nodes))
        registry = state.apps
    connection = connections["default"]
    return {
        model._meta.db_table: model
        for model in registry.get_models(include_auto_created=True)
        if model._meta.can_migrate(connection) and model._meta.db_table not in LEFT_OUT
    }


def read_rows(
    connection: BaseDatabaseWrapper, model: Model, on_file: Callable[[str], None]
) -> Iterator[list[Any]]:
    """Every row of a table, as values that JSON holds, in the order of its keys.

    ``on_file`` is given the name of each file of the site that a row names.
    """
    fields = fields_of(model)
    quote = connection.ops.quote_name
    columns = ", ".join(quote(field.column) for field in fields)
    table, key = quote(model._meta.db_table), quote(str(model._meta.pk.column))
    changed = [
        (n, change)
        for n, field in enumerate(fields)
        if (change := _change(field, connection)) is not None
    ]
    holding_files = [n for n, field in enumerate(fields) if isinstance(field, models.FileField)]
    with connection.chunked_cursor() as cursor:
        cursor.execute(f"SELECT {columns} FROM {table} ORDER BY {key}")  # noqa: S608 - quoted names
        while batch := list(cursor.fetchmany(BATCH)):
            for values in batch:
                row = list(values)
                for n, change in changed:
                    if row[n] is not None:
                        row[n] = change(row[n])
                for n in holding_files:
                    if name := row[n]:
                        on_file(str(name))
                yield row


def parts(rows: Iterable[list[Any]]) -> Iterator[tuple[int, bytes]]:
    """Rows as packed pieces of some megabytes, a row a line, and how many each holds.

    Raises
    ------
    RowTooLong
        If one is longer than what will be read again.
    """
    as_line = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode
    lines: list[str] = []
    length = 0
    for row in rows:
        lines.append(as_line(row))
        if len(lines[-1]) > LONGEST_ROW:
            raise RowTooLong(len(lines[-1]))
        length += len(lines[-1])
        if length >= PART_BYTES:
            yield len(lines), _packed(lines)
            lines, length = [], 0
    if lines:
        yield len(lines), _packed(lines)


def rows_of_part(stream: IO[bytes]) -> Iterator[list[Any]]:
    """The rows of one such piece, one after another.

    Raises
    ------
    ArchiveDamaged, ValueError
        If it is none.
    """
    for line in packed_lines(stream):
        if line:
            yield json.loads(line)


def _packed(lines: Sequence[str]) -> bytes:
    return gzip.compress("\n".join(lines).encode(), compresslevel=3, mtime=0)


def _change(field: Any, connection: BaseDatabaseWrapper) -> Callable[[Any], Any] | None:
    """What makes what a database gives of a column what JSON holds; None where it is that."""
    column = field.get_col(field.model._meta.db_table)
    # What makes it the field's own, as Django's own queries do.
    found = [
        *connection.ops.get_db_converters(column),
        *field.get_db_converters(connection),
    ]
    target = field
    while target.remote_field:
        target = target.target_field
    if not found and isinstance(target, models.IntegerField | models.CharField | models.TextField):
        return None
    write = _writer(field)

    def change(value: Any) -> Any:
        for converter in found:
            value = converter(value, column, connection)
        return None if value is None else write(value)

    return change


def _writer(field: Any) -> Callable[[Any], Any]:
    if isinstance(field, models.JSONField):
        return lambda value: value
    return _as_json


def _as_json(value: Any) -> Any:
    match value:
        case bool() | int() | float():
            return value
        case str():
            return value
        case datetime() | date() | time():
            return value.isoformat()
        case timedelta():
            return duration_iso_string(value)
        case Decimal() | UUID():
            return str(value)
        case bytes() | memoryview() | bytearray():
            return base64.b64encode(bytes(value)).decode()
    raise TypeError(f"A back-up cannot hold a {type(value).__name__}.")


def reader_of(field: Any) -> Callable[[Any], Any]:
    """What makes the field's value of what `read_rows` made of it."""
    target = field
    while target.remote_field:
        target = target.target_field
    match target:
        case models.BinaryField():
            return lambda value: base64.b64decode(value)
        case models.DurationField():
            return parse_duration
        case models.JSONField():
            return lambda value: value
    return lambda value: target.to_python(value)


def sequences(connection: BaseDatabaseWrapper, found: Mapping[str, Model]) -> dict[str, int]:
    """The last number that each table gave to a row, gone ones with it: none is given twice."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT name, seq FROM sqlite_sequence")
            return {name: int(last) for name, last in cursor.fetchall() if name in found}
        last_numbers = {}
        for table, model in found.items():
            name = sequence_name(cursor, model)
            if name:
                cursor.execute(f"SELECT last_value, is_called FROM {name}")  # noqa: S608
                last, is_called = cursor.fetchone()
                if is_called:
                    last_numbers[table] = int(last)
    return last_numbers


def sequence_name(cursor: Any, model: Model) -> str | None:
    """What PostgreSQL calls the sequence of a table's keys, quoted; None where it has none."""
    key = model._meta.pk
    if not isinstance(key, models.AutoField | models.BigAutoField | models.SmallAutoField):
        return None
    cursor.execute(
        "SELECT pg_get_serial_sequence(%s, %s)", [f'"{model._meta.db_table}"', key.column]
    )
    return str(cursor.fetchone()[0] or "") or None

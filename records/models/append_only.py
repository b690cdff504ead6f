"""Tables that the database itself refuses to change, whoever asks.

An app names its tables with `protect` when it starts. After every ``migrate`` a handler
gives each of them triggers, on SQLite and on PostgreSQL, so that an UPDATE or DELETE is
refused even by hand; on PostgreSQL also a TRUNCATE, on SQLite also a REPLACE. The refusal
is an ``IntegrityError`` that names the table.

Before migrations are applied another handler takes the triggers away. Django changes most
things about a SQLite table by building a new one, dropping the old and renaming: the
table's own triggers are lost with the old one, and SQLite refuses the renaming while a
trigger of any other table mentions it. A migration that fills a new column of a protected
table, too, has to be able to. On PostgreSQL they stay where nothing is filled: a version that
serves meanwhile goes on under them, and no table is locked for their sake. If a migration
fails, the triggers are back after the next ``migrate`` that succeeds; until then `missing`
lists them, and ``manage.py verify_trail`` says so. ``manage.py prepare`` puts them back as they
were (`definitions`, `put_back`). Who runs migrations without the ``migrate`` command (by
``MigrationExecutor``, in a test) calls `remove` before and `install` after.
"""

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.core.exceptions import ImproperlyConfigured
from django.db import connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.operations import RunPython, RunSQL
from django.db.models import Model

ALWAYS = "TRUE"
NEVER = "FALSE"
NAME_PREFIX = "keep_"
MAX_NAME_LENGTH = 63  # of an identifier on PostgreSQL

Condition = str | Mapping[str, str]


@dataclass(frozen=True)
class Trigger:
    """The statements that make a trigger, and what the database then holds of it."""

    table: str
    statements: list[str]
    held: str


@dataclass(frozen=True)
class Rule:
    """What one table refuses, and the sentence it refuses with."""

    model_label: str
    name: str
    when_update: Condition
    when_delete: Condition
    insert_when: Condition
    refusal: str
    insert_refusal: str
    removable: tuple[str, str] | None = None


_rules: dict[tuple[str, str], Rule] = {}


def protect(
    model_label: str,
    *,
    when_update: Condition | None = None,
    when_delete: Condition | None = None,
    insert_when: Condition | None = None,
    name: str = "append_only",
    refusal: str = "is append-only: correct it with a new record",
    insert_refusal: str = "does not take this row: what it belongs to is closed",
    removable: tuple[str, str] | None = None,
) -> None:
    """Name a table that the database is to keep as it is; called when an app starts.

    Parameters
    ----------
    model_label : str
        The model, as in ``"records.TrailEntry"``.
    when_update, when_delete : str or mapping, optional
        SQL that is true for a row which must not be updated (deleted), with ``OLD.`` and
        ``NEW.`` before column names; it may ask other tables with ``EXISTS (SELECT ...)``.
        Every row by default; `NEVER` leaves the operation alone. A mapping gives the SQL
        by vendor (``"sqlite"``, ``"postgresql"``). SQL that comes out NULL refuses, so a
        forgotten null shuts rather than opens.
    insert_when : str or mapping, optional
        Likewise for a row that must not be inserted, with ``NEW.``; none by default.
    name : str, optional
        Tells two rules on one table apart.
    refusal, insert_refusal : str, optional
        The rest of the sentence that begins with the table's name.
    removable : (str, str), optional
        Kind of thing, and the column with its number: a row may be deleted once a `Removal` says
        that this thing is gone, as ``("grading", "grading_id")`` for a judgement.
    """
    rule = Rule(
        model_label=model_label,
        name=name,
        when_update=ALWAYS if when_update is None else when_update,
        when_delete=ALWAYS if when_delete is None else when_delete,
        insert_when=NEVER if insert_when is None else insert_when,
        refusal=refusal,
        insert_refusal=insert_refusal,
        removable=removable,
    )
    key = (model_label.lower(), name)
    if _rules.setdefault(key, rule) != rule:
        raise ImproperlyConfigured(
            f"{model_label} already has another rule named {name!r}: give this one its own name."
        )


def install(connection: BaseDatabaseWrapper) -> None:
    """Give every protected table that exists its triggers; does nothing where all is well.

    On PostgreSQL each table in a transaction of its own, so that whoever serves meanwhile waits
    for one table at most and is never waited for in turn. What a rule of before had made goes
    last: no instant is without either.
    """
    expected = _expected_triggers(connection)
    existing = _existing_triggers(connection)
    wrong = unlike_expected(connection)
    if not wrong and expected.keys() == existing.keys():
        return
    by_table: dict[str, list[str]] = {}
    for name in wrong:
        by_table.setdefault(expected[name].table, []).append(name)
    whole = connection.vendor == "sqlite"
    with transaction.atomic(using=connection.alias) if whole else nullcontext():
        for names in by_table.values():
            with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
                _drop_triggers(connection, {*names} & {*existing})
                for name in names:
                    for statement in expected[name].statements:
                        cursor.execute(statement)
        _drop_triggers(connection, sorted({*existing} - {*expected}))


def remove(connection: BaseDatabaseWrapper) -> None:
    """Take every trigger of ours away."""
    _drop_triggers(connection, _existing_triggers(connection))


def definitions(connection: BaseDatabaseWrapper) -> dict[str, list[str]]:
    """The statements that make each of our triggers as the database has it now, by its name."""
    if connection.vendor == "sqlite":
        return {name: [held] for name, held in _existing_triggers(connection).items()}
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT tgname, pg_get_functiondef(tgfoid), pg_get_triggerdef(t.oid) "
            "FROM pg_trigger t JOIN pg_class c ON c.oid = tgrelid "
            "WHERE NOT tgisinternal AND tgenabled <> 'D' AND pg_table_is_visible(tgrelid)"
        )
        return {
            name: [function, trigger]
            for name, function, trigger in cursor.fetchall()
            if name.startswith(NAME_PREFIX)
        }


def put_back(connection: BaseDatabaseWrapper, made_by: Mapping[str, list[str]]) -> None:
    """Make those of our triggers again that were there and are gone.

    For migrations that broke off: what they were made by fits the version that still serves,
    whose rules these are, and not this one's.
    """
    existing = _existing_triggers(connection)
    for name, statements in made_by.items():
        if name not in existing:
            with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
                for statement in statements:
                    cursor.execute(statement)


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """Names of the triggers that should be there and are not, or do something else."""
    return sorted(unlike_expected(connection))


def unlike_expected(connection: BaseDatabaseWrapper) -> dict[str, bool]:
    """The triggers that should be there and do not do what they should, and whether they are there.

    Compared is what the database holds of each: on SQLite the whole statement, on PostgreSQL
    the trigger's definition, the body and language of its function, and whether it is
    switched on. A trigger whose rule has changed since it was made is not there: its name
    carries a hash of what it does.
    """
    expected = _expected_triggers(connection)
    existing = _existing_triggers(connection)
    return {
        name: name in existing
        for name, trigger in sorted(expected.items())
        if existing.get(name) != trigger.held
    }


@contextmanager
def lifted(connection: BaseDatabaseWrapper) -> Iterator[None]:
    """Let protected tables be changed inside the block.

    For what must be able to rewrite history knowingly: emptying a test's database, or
    restoring a back-up. The block is one transaction. Nobody outside it sees a table
    without its triggers, and if it fails they are back with the rest.
    """
    with transaction.atomic(using=connection.alias):
        _check_deferred_constraints(connection)
        remove(connection)
        yield
        _check_deferred_constraints(connection)
        install(connection)


def install_after_migrating(using: str, **kwargs: Any) -> None:
    install(connections[using])


def remove_before_migrating(using: str, plan: list[Any] | None = None, **kwargs: Any) -> None:
    """Lift the triggers if a migration needs it: the module's docstring says which do."""
    connection = connections[using]
    if plan is None or (plan and (connection.vendor == "sqlite" or _fills_rows(plan))):
        remove(connection)


def _fills_rows(plan: Iterable[Any]) -> bool:
    """Whether any migration of a plan, of pairs with it first, writes rows or SQL of its own."""
    return any(
        isinstance(operation, RunPython | RunSQL)
        for migration, _backwards in plan
        for outer in migration.operations
        for operation in (outer, *getattr(outer, "database_operations", ()))
    )


def make_replace_fire_triggers(connection: BaseDatabaseWrapper, **kwargs: Any) -> None:
    """Have SQLite treat the rows that a REPLACE pushes out as deleted; by default it does not."""
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA recursive_triggers = ON")


def _check_deferred_constraints(connection: BaseDatabaseWrapper) -> None:
    """Check deferred foreign keys now: PostgreSQL alters no table that still has some to check."""
    if connection.vendor == "postgresql":
        connection.check_constraints()


def _expected_triggers(connection: BaseDatabaseWrapper) -> dict[str, Trigger]:
    """What each trigger should be, by its name."""
    tables = set(connection.introspection.table_names())
    triggers = {}
    for rule in _rules.values():
        model = apps.get_model(rule.model_label)
        if model._meta.db_table in tables:
            for refusal in _triggers_of(rule, model, connection.vendor):
                name, trigger = _trigger(connection, model._meta.db_table, *refusal)
                triggers[name] = trigger
    return triggers


def _triggers_of(
    rule: Rule, model: type[Model], vendor: str
) -> Iterator[tuple[str, str, str, str]]:
    """Title, event, condition and sentence of each trigger that a rule needs."""
    table = model._meta.db_table
    change_sentence, insert_sentence = f"{table} {rule.refusal}", f"{table} {rule.insert_refusal}"
    when_delete = _for_vendor(rule.when_delete, vendor)
    kept_always = when_delete == ALWAYS
    if rule.removable is not None:
        when_delete = f"({when_delete}) AND NOT {removed(*rule.removable)}"
    for event, condition, sentence in (
        ("update", _for_vendor(rule.when_update, vendor), change_sentence),
        ("delete", when_delete, change_sentence),
        ("insert", _for_vendor(rule.insert_when, vendor), insert_sentence),
    ):
        if condition != NEVER:
            yield f"{rule.name}_{event}", event.upper(), condition, sentence
    if when_delete != NEVER and vendor == "postgresql":
        yield f"{rule.name}_truncate", "TRUNCATE", ALWAYS, change_sentence
    if kept_always and vendor == "sqlite":
        # For a program that opens the file without recursive triggers. Where the database
        # chooses the key, NEW holds -1 here, which no row has.
        column = model._meta.pk.column
        same_key = f'SELECT 1 FROM "{table}" WHERE "{column}" = NEW."{column}"'  # noqa: S608
        yield f"{rule.name}_replace", "INSERT", f"EXISTS ({same_key})", change_sentence


def removed(kind: str, column: str, what: str = "row") -> str:
    """SQL that is true where a `Removal` says that the thing a row belongs to is gone."""
    return (
        "EXISTS (SELECT 1 FROM records_removal gone "  # noqa: S608 - of our own words alone
        f"WHERE gone.about_type = '{kind}' AND gone.what = '{what}' "
        f"AND gone.about_id = CAST(OLD.{column} AS TEXT))"
    )


def _for_vendor(condition: Condition, vendor: str) -> str:
    return condition if isinstance(condition, str) else condition[vendor]


def _trigger(
    connection: BaseDatabaseWrapper,
    table: str,
    title: str,
    event: str,
    condition: str,
    sentence: str,
) -> tuple[str, Trigger]:
    """Name one trigger and give what makes it."""
    make_trigger = {"sqlite": _sqlite_trigger, "postgresql": _postgresql_trigger}.get(
        connection.vendor
    )
    if make_trigger is None:
        raise ImproperlyConfigured(
            f"Append-only tables need SQLite or PostgreSQL, not {connection.vendor}."
        )
    sentence = sentence.replace("'", "''")
    refuses = f"COALESCE(({condition}), TRUE)"
    # Hashed without its name, which the hash then becomes part of.
    digest = hashlib.sha256(
        "\n".join(make_trigger("", table, event, refuses, sentence).statements).encode()
    )
    suffix = f"_{digest.hexdigest()[:8]}"
    name = f"{NAME_PREFIX}{table}_{title}"[: MAX_NAME_LENGTH - len(suffix)] + suffix
    return name, make_trigger(name, table, event, refuses, sentence)


def _sqlite_trigger(name: str, table: str, event: str, refuses: str, sentence: str) -> Trigger:
    statement = (
        f'CREATE TRIGGER "{name}" BEFORE {event} ON "{table}" FOR EACH ROW WHEN {refuses} '
        f"BEGIN SELECT RAISE(ABORT, '{sentence}'); END"
    )
    return Trigger(table, [statement], statement)


def _postgresql_trigger(name: str, table: str, event: str, refuses: str, sentence: str) -> Trigger:
    # The condition stands in the function, since a trigger's WHEN may not ask other tables.
    each = "STATEMENT" if event == "TRUNCATE" else "ROW"
    returned = {"TRUNCATE": "NULL", "DELETE": "OLD"}.get(event, "NEW")
    body = (
        f" BEGIN IF {refuses} THEN RAISE EXCEPTION USING MESSAGE = '{sentence}', "
        f"ERRCODE = 'integrity_constraint_violation'; END IF; RETURN {returned}; END "
    )
    function = (
        f'CREATE OR REPLACE FUNCTION "{name}"() RETURNS trigger LANGUAGE plpgsql '
        f"AS $keep${body}$keep$"
    )
    trigger = (
        f'TRIGGER "{name}" BEFORE {event} ON "{table}" FOR EACH {each} EXECUTE FUNCTION "{name}"()'
    )
    held = "\n".join(["O", "CREATE " + trigger.replace('"', ""), "plpgsql", body])
    return Trigger(table, [function, f"CREATE OR REPLACE {trigger}"], held)


def _existing_triggers(connection: BaseDatabaseWrapper) -> dict[str, str]:
    """What the database holds of our triggers that are there and switched on, by name."""
    if connection.vendor == "sqlite":
        query = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
    else:
        query = (
            "SELECT tgname, concat_ws(chr(10), tgenabled, pg_get_triggerdef(t.oid, true), "
            "lanname, prosrc) FROM pg_trigger t JOIN pg_class c ON c.oid = tgrelid "
            "JOIN pg_proc p ON p.oid = tgfoid JOIN pg_language l ON l.oid = prolang "
            "WHERE NOT tgisinternal AND tgenabled <> 'D' AND pg_table_is_visible(tgrelid)"
        )
    with connection.cursor() as cursor:
        cursor.execute(query)
        return {name: held for name, held in cursor.fetchall() if name.startswith(NAME_PREFIX)}


def _drop_triggers(connection: BaseDatabaseWrapper, names: Iterable[str]) -> None:
    with connection.cursor() as cursor:
        for name in names:
            if connection.vendor == "sqlite":
                cursor.execute(f'DROP TRIGGER IF EXISTS "{name}"')
            else:
                cursor.execute(f'DROP FUNCTION IF EXISTS "{name}"() CASCADE')

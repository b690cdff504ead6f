"""Whether a database is empty, as a restore wants it, or what a restore that broke off has left."""

from django.apps import apps
from django.db.backends.base.base import BaseDatabaseWrapper

from operations.exceptions import RestoreRefused

from .database_rows import LEFT_OUT

MARK = "restore_under_way"
"""A table that is there from before a restore changes anything until all of it is in its place."""
WRITTEN_BY_MIGRATE = frozenset({"django_content_type", "auth_permission", "django_migrations"})


def is_marked(connection: BaseDatabaseWrapper) -> bool:
    return MARK in connection.introspection.table_names()


def refuse_marked_database(connection: BaseDatabaseWrapper) -> None:
    """Raise RestoreRefused for a database that a restore has not filled to its end."""
    if is_marked(connection):
        raise RestoreRefused(
            "A restore was broken off, so this database does not hold everything: run "
            "`manage.py restore` with the back-up again; it begins anew."
        )


def refuse_used_database(connection: BaseDatabaseWrapper) -> None:
    """Raise RestoreRefused for a database that holds rows of the site, or tables of another."""
    ours = {
        model._meta.db_table for model in apps.get_models(include_auto_created=True)
    } | WRITTEN_BY_MIGRATE
    name = connection.settings_dict["NAME"]
    for table in sorted(connection.introspection.table_names()):
        if table not in ours:
            raise RestoreRefused(
                f"The database {name} holds a table {table} that is not of this site: restore into "
                "an empty database."
            )
        if table in LEFT_OUT | WRITTEN_BY_MIGRATE:
            continue
        with connection.cursor() as cursor:
            quoted = connection.ops.quote_name(table)
            cursor.execute(f"SELECT EXISTS (SELECT 1 FROM {quoted})")  # noqa: S608 - quoted name
            if cursor.fetchone()[0]:
                raise RestoreRefused(
                    f"The database {name} is in use: {table} holds rows. A back-up is restored "
                    "into an empty site alone, so name another database and another DATA_DIR."
                )

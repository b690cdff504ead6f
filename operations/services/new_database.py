"""The tables of a database that has none yet, made from the models at once.

Going through every migration on the way takes ten times as long, and comes to the same:
`tests/operations/test_migrations_make_the_models.py` holds the two side by side.
"""

from django.apps import apps
from django.db import router
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder


def make_tables_if_empty(connection: BaseDatabaseWrapper) -> bool:
    """Make every table in an empty database, and note that its migrations are done.

    One transaction: a start that breaks off leaves the database empty. What ``migrate`` does
    besides, such as triggers and content types, is left to it; it finds nothing to migrate.

    Returns
    -------
    bool
        Whether the database was empty.
    """
    if connection.introspection.table_names():
        return False
    make_tables(connection)
    return True


def make_tables(connection: BaseDatabaseWrapper) -> None:
    """Make every table, none of which may be there, in one transaction."""
    done = MigrationRecorder(connection)
    with connection.schema_editor() as editor:
        editor.create_model(done.Migration)
        for model in apps.get_models():
            if model._meta.can_migrate(connection) and router.allow_migrate_model(
                connection.alias, model
            ):
                editor.create_model(model)
        for app, name in MigrationLoader(None).disk_migrations:
            done.migration_qs.create(app=app, name=name)

"""Migrations that a database has been through and this version does not know."""

from django.apps import apps
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.loader import MigrationLoader


def unknown_migrations(
    connection: BaseDatabaseWrapper, loader: MigrationLoader | None = None
) -> list[str]:
    """Migrations that the database has been through and this version does not know.

    Returns
    -------
    list of str
        As ``"training.0008_tablet_use"``, sorted; empty for an empty database and for one that
        this version, or one before it in the same line, has made.
    """
    loader = loader or MigrationLoader(connection)
    installed = {config.label for config in apps.get_app_configs()}
    return sorted(
        f"{app}.{name}"
        for app, name in loader.applied_migrations
        if app in installed and (app, name) not in loader.disk_migrations
    )

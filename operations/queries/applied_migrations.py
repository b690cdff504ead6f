"""Which migrations a database has been through, beside those that this version brings."""

from django.apps import apps
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.loader import MigrationLoader

from operations.exceptions import DatabaseOfAnotherVersion


def unknown_migrations(connection: BaseDatabaseWrapper) -> list[str]:
    """Migrations that the database has been through and this version does not know.

    Returns
    -------
    list of str
        As ``"training.0008_tablet_use"``, sorted; empty for an empty database and for one that
        this version, or one before it in the same line, has made.
    """
    return _unknown(MigrationLoader(connection))


def refuse_database_of_another_version(connection: BaseDatabaseWrapper) -> None:
    """Raise DatabaseOfAnotherVersion, in one sentence, for a database this version cannot use."""
    loader = MigrationLoader(connection)
    unknown = _unknown(loader)
    if not unknown:
        return
    name = connection.settings_dict["NAME"]
    if loader.disk_migrations.keys() <= loader.applied_migrations.keys():
        raise DatabaseOfAnotherVersion(
            f"The database {name} is newer than this program ({unknown[-1]} is not known here): "
            "start the version that prepared it last, or restore the back-up from before the "
            "upgrade into an empty site."
        )
    raise DatabaseOfAnotherVersion(
        f"The database {name} was made by another version of "
        f"this program ({unknown[-1]} is not known here): move it aside and start with an "
        "empty one, or go on with the version that made it."
    )


def _unknown(loader: MigrationLoader) -> list[str]:
    installed = {config.label for config in apps.get_app_configs()}
    return sorted(
        f"{app}.{name}"
        for app, name in loader.applied_migrations
        if app in installed and (app, name) not in loader.disk_migrations
    )

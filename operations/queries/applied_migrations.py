"""Which migrations a database has been through, beside those that this version brings."""

from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.loader import MigrationLoader

from operations.exceptions import DatabaseOfAnotherVersion
from records.queries.applied_migrations import unknown_migrations


def refuse_database_of_another_version(connection: BaseDatabaseWrapper) -> None:
    """Raise DatabaseOfAnotherVersion, in one sentence, for a database this version cannot use."""
    loader = MigrationLoader(connection)
    unknown = unknown_migrations(connection, loader)
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

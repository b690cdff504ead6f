"""Which files that are gone ought to be there."""

from collections.abc import Sequence

from django.apps import apps
from django.db import connection, models

from assessments.models import Photo
from assessments.queries.removed_files import removed_file

from . import database_rows

AT_ONCE = 500


def still_wanted(names: Sequence[str]) -> list[str]:
    """Of files that a back-up did not find, those that some row still names as being there.

    A photograph whose file a rule of the site removed keeps its row, and while a back-up is made
    files go in good order with their rows. Before an upgrade all of them are wanted: the tables
    are not those of this version.
    """
    migrations = database_rows.applied_migrations(connection) if names else []
    if set(migrations) != database_rows.known_migrations():
        return list(names)
    wanted: set[str] = set()
    for start in range(0, len(names), AT_ONCE):
        batch = names[start : start + AT_ONCE]
        for model in apps.get_models():
            rows = model._base_manager.all()
            if model is Photo:
                rows = rows.exclude(removed_file())
            for field in model._meta.local_concrete_fields:
                if isinstance(field, models.FileField):
                    found = rows.filter(**{f"{field.name}__in": batch})
                    wanted.update(found.values_list(field.name, flat=True))
    return [name for name in names if name in wanted]

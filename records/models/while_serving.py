"""Steps of migrations that a version of before can go on serving beside, on either database.

What the steps are for, and which of Django's own do as well, says docs/upgrading.md.
"""

from typing import Any

from django.db import models
from django.db.migrations.operations import AddConstraint, AddIndex, RemoveField
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState


class AddIndexWhileServing(AddIndex):
    """Add an index to a table that is in use; on PostgreSQL nobody waits for it.

    The migration that does so has ``atomic = False`` and nothing else in it. What a try before
    that was broken off has left, which PostgreSQL keeps up to date and does not use, is made anew.
    """

    atomic = False

    def database_forwards(
        self, app_label: str, schema_editor: Any, from_state: ProjectState, to_state: ProjectState
    ) -> None:
        if schema_editor.connection.vendor != "postgresql":
            super().database_forwards(app_label, schema_editor, from_state, to_state)
            return
        model = to_state.apps.get_model(app_label, self.model_name)
        with schema_editor.connection.cursor() as cursor:
            # It waits for whoever began before it, and nobody waits behind it meanwhile.
            cursor.execute("SHOW lock_timeout")
            before = cursor.fetchone()[0]
            cursor.execute("SET lock_timeout = 0")
            try:
                cursor.execute(
                    "SELECT indisvalid FROM pg_index WHERE indexrelid = to_regclass(%s)",
                    [schema_editor.quote_name(self.index.name)],
                )
                if (found := cursor.fetchone()) and found[0]:
                    return
                if found:
                    schema_editor.remove_index(model, self.index, concurrently=True)
                schema_editor.add_index(model, self.index, concurrently=True)
            finally:
                cursor.execute("SELECT set_config('lock_timeout', %s, false)", [before])


class AddCheckWhileServing(AddConstraint):
    """Add a check that every row keeps already; on PostgreSQL rows are read without a lock on them.

    The migration that does so has ``atomic = False`` and nothing else in it. New rows are held to
    it at once, so the version that serves has to keep it too.
    """

    atomic = False

    def __init__(self, model_name: str, constraint: models.CheckConstraint) -> None:
        if not isinstance(constraint, models.CheckConstraint):
            raise TypeError("AddCheckWhileServing takes a CheckConstraint.")
        super().__init__(model_name, constraint)

    def database_forwards(
        self, app_label: str, schema_editor: Any, from_state: ProjectState, to_state: ProjectState
    ) -> None:
        if schema_editor.connection.vendor != "postgresql":
            super().database_forwards(app_label, schema_editor, from_state, to_state)
            return
        model = from_state.apps.get_model(app_label, self.model_name)
        table, name = map(schema_editor.quote_name, (model._meta.db_table, self.constraint.name))
        # Where a try before came as far as this.
        schema_editor.execute(f"ALTER TABLE {table} DROP CONSTRAINT IF EXISTS {name}")
        adding = self.constraint.create_sql(model, schema_editor)
        schema_editor.execute(f"{adding} NOT VALID", params=None)
        schema_editor.execute(f"ALTER TABLE {table} VALIDATE CONSTRAINT {name}")


class LeaveColumn(RemoveField):
    """Have this version know a column no more, and leave it in the table for those that do.

    It has to take rows that do not name it, so it is nullable or has a ``db_default``.
    """

    def database_forwards(
        self, app_label: str, schema_editor: Any, from_state: ProjectState, to_state: ProjectState
    ) -> None:
        pass

    def database_backwards(
        self, app_label: str, schema_editor: Any, from_state: ProjectState, to_state: ProjectState
    ) -> None:
        pass

    def describe(self) -> str:
        return f"Leave column {self.name} of {self.model_name} to versions that know it"


class DropColumn(Operation):
    """Drop a column that `LeaveColumn` has left, once no version that serves knows it.

    Parameters
    ----------
    field : Field
        What it was, as the migration that added it says.
    """

    reduces_to_sql = True
    reversible = True

    def __init__(self, model_name: str, name: str, field: Any) -> None:
        self.model_name, self.name, self.field = model_name, name, field

    def deconstruct(self) -> Any:
        arguments = {"model_name": self.model_name, "name": self.name, "field": self.field}
        return self.__class__.__name__, [], arguments

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        pass

    def database_forwards(
        self, app_label: str, schema_editor: Any, from_state: ProjectState, to_state: ProjectState
    ) -> None:
        model = self._with_column(app_label, from_state)
        field = model._meta.get_field(self.name)
        connection = schema_editor.connection
        with connection.cursor() as cursor:
            columns = connection.introspection.get_table_description(cursor, model._meta.db_table)
        # SQLite makes whole tables anew, and then leaves out what no version here knows.
        if field.column in {column.name for column in columns}:
            schema_editor.remove_field(model, field)

    def database_backwards(
        self, app_label: str, schema_editor: Any, from_state: ProjectState, to_state: ProjectState
    ) -> None:
        model = self._with_column(app_label, to_state)
        schema_editor.add_field(
            to_state.apps.get_model(app_label, self.model_name), model._meta.get_field(self.name)
        )

    def describe(self) -> str:
        return f"Drop column {self.name} of {self.model_name}"

    def _with_column(self, app_label: str, state: ProjectState) -> Any:
        state = state.clone()
        state.add_field(app_label, self.model_name.lower(), self.name, self.field, True)
        return state.apps.get_model(app_label, self.model_name)

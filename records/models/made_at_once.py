"""A first migration, whose tables are made from one drawing of the models.

Django draws every model that is related to a new one anew, table by table, which takes ten times
as long as making the tables. Migrations of a release import this: it stays where it is.
"""

import copy
from itertools import takewhile
from typing import Any

from django.db import migrations
from django.db.migrations.operations import CreateModel
from django.db.migrations.state import ProjectState


class TablesAtOnce(migrations.Migration):
    """Draws the models that its first steps make once, before it makes their tables."""

    def apply(
        self, project_state: ProjectState, schema_editor: Any, collect_sql: bool = False
    ) -> ProjectState:
        if collect_sql:  # Step by step, with a heading for each.
            return super().apply(project_state, schema_editor, collect_sql)
        made = list(takewhile(lambda step: isinstance(step, CreateModel), self.operations))
        # Without it no step draws anything; it comes again when it is asked for.
        vars(project_state).pop("apps", None)
        for step in made:
            step.state_forwards(self.app_label, project_state)
        for step in made:
            step.database_forwards(self.app_label, schema_editor, project_state, project_state)
        others = copy.copy(self)
        vars(others)["operations"] = self.operations[len(made) :]
        return super(TablesAtOnce, others).apply(project_state, schema_editor)

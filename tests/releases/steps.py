"""Which migrations since the last release that one could not go on serving beside.

Read are the operations, not the SQL: what a release knows of a table, and so what may go, is in
its migrations, and the two databases write the same step differently. docs/upgrading.md has the
rules in words. Of the locks it is known which each operation of Django's takes on PostgreSQL 15
(its manual, section 13.3 and ALTER TABLE, CREATE INDEX), and that `prepare` waits two seconds
for one at most; how long a fill works is not.
"""

from collections.abc import Iterator
from typing import Any

from django.db import connection, models
from django.db.migrations import Migration, operations
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.state import ProjectState
from django.db.models.fields import NOT_PROVIDED

from operations.queries.database_rows import last_of_each_line
from records.models.while_serving import (
    AddCheckWhileServing,
    AddIndexWhileServing,
    DropColumn,
    LeaveColumn,
)
from tests.catalogue import APPS
from tests.releases.release import Release, order_of, releases

HARMLESS = (
    operations.CreateModel,
    operations.AlterModelOptions,
    operations.AlterModelManagers,
    operations.AlterModelTableComment,
    operations.RenameIndex,
)
ONE_STEP = "has atomic = False and is the one operation of its migration"
LOCKS = "nobody writes the table meanwhile"


def faults_since(release: Release) -> list[str]:
    """What each migration of our apps that a release does not have would break of it."""
    loader = MigrationLoader(None)
    state = loader.project_state(last_of_each_line(release.migrations))
    plan: list[tuple[str, str]] = loader.graph._generate_plan(loader.graph.leaf_nodes(), True)
    faults: list[str] = []
    check = Check(release, state.clone())
    for node in plan:
        if node not in release.migrations:
            migration = loader.graph.nodes[node]
            if node[0] in APPS:
                faults += [f"{node[0]}.{node[1]}: {says}" for says in check.of(migration, state)]
            state = migration.mutate_state(state)
    return faults


class Check:
    """What a release knows of the database, beside what migrations after it would do to that."""

    def __init__(self, release: Release, known: ProjectState) -> None:
        self.release, self.known = release, known

    def of(self, migration: Migration, state: ProjectState) -> Iterator[str]:
        """Say of each operation what is wrong with it; ``state`` is the one before them."""
        state = state.clone()
        since = getattr(migration, "contract_since", None)
        if since is not None and not self._is_out(since):
            yield f"contract_since is {since}, which is no release: write down the one that serves"
        for operation in migration.operations:
            if says := self._fault(operation, migration, state):
                yield f"{operation.describe()}: {says}"
            operation.state_forwards(migration.app_label, state)

    def _is_out(self, version: str) -> bool:
        known = {each.version for each in releases()} | {self.release.version}
        return version in known and order_of(version) <= order_of(self.release.version)

    def _fault(self, operation: Any, migration: Migration, state: ProjectState) -> str:
        app = migration.app_label
        is_alone = not migration.atomic and len(migration.operations) == 1
        is_contract = getattr(migration, "contract_since", None) is not None
        if isinstance(operation, operations.SeparateDatabaseAndState):
            return self._fault_of_two(operation, migration, state)
        if isinstance(operation, HARMLESS):
            return ""
        if isinstance(operation, operations.RunPython):
            only = all(isinstance(each, operations.RunPython) for each in migration.operations)
            if migration.atomic or not only or operation.reverse_code is None:
                return (
                    "a fill has atomic = False, so that it locks no row for long, a migration of "
                    "its own and a reverse"
                )
            return ""
        if isinstance(operation, operations.RunSQL):
            return "" if is_contract else "SQL is read by people: say contract_since"
        model = (getattr(operation, "model_name", None) or operation.name).lower()
        if (app, model) not in self.known.models:
            return ""  # A table that the release does not know.
        if isinstance(operation, AddIndexWhileServing):
            return "" if is_alone else ONE_STEP
        if isinstance(operation, AddCheckWhileServing):
            if not is_alone:
                return ONE_STEP
            return "" if is_contract else "what the release writes has to keep it: contract_since"
        if isinstance(operation, LeaveColumn):
            field = state.models[app, model].fields[operation.name]
            return "" if _takes_rows_without_it(field) else _NEEDS_DEFAULT
        if isinstance(operation, DropColumn):
            if not is_contract:
                return "say since which release nothing knows it: contract_since"
            is_known = operation.name in self.known.models[app, model].fields
            return f"release {self.release.version} reads it" if is_known else ""
        if isinstance(operation, operations.AddField):
            return _fault_of_new(operation.field)
        if isinstance(operation, operations.AlterField):
            return _fault_of_altered(operation, app, model, state)
        if isinstance(operation, operations.AddIndex):
            return f"{LOCKS}: AddIndexWhileServing"
        if isinstance(operation, operations.AddConstraint):
            return f"every row is read, and {LOCKS}: AddCheckWhileServing, or an index first"
        if isinstance(operation, operations.RemoveIndex | operations.RemoveConstraint):
            return "" if is_contract else "say since which release nothing needs it: contract_since"
        if isinstance(operation, operations.RemoveField):
            return "the release reads it: LeaveColumn, and DropColumn a release later"
        return f"release {self.release.version} knows {app}_{model} as it was"

    def _fault_of_two(self, operation: Any, migration: Migration, state: ProjectState) -> str:
        for inner in operation.database_operations:
            if says := self._fault(inner, migration, state):
                return says
        for inner in operation.state_operations:
            if isinstance(inner, operations.RemoveField):
                field = state.models[migration.app_label, inner.model_name_lower].fields[inner.name]
                if not _takes_rows_without_it(field):
                    return _NEEDS_DEFAULT
        return ""


_NEEDS_DEFAULT = "this version writes rows without it: first make it nullable or add a db_default"


def _takes_rows_without_it(field: Any) -> bool:
    return bool(field.null or field.db_default is not NOT_PROVIDED or field.many_to_many)


def _fault_of_new(field: Any) -> str:
    if field.many_to_many:
        return ""
    if isinstance(field, models.GeneratedField):
        return f"every row is written anew, and {LOCKS}"
    if not _takes_rows_without_it(field):
        return "the release writes rows without it: null=True or db_default"
    is_worked_out = hasattr(field.db_default, "resolve_expression")
    if is_worked_out and not isinstance(field.db_default, models.Value):
        return "every row is written anew for a db_default that is worked out"
    if field.unique or field.db_index:
        return f"{LOCKS} while its index is made: without one, then AddIndexWhileServing"
    return ""


def _fault_of_altered(operation: Any, app: str, model: str, state: ProjectState) -> str:
    after = state.clone()
    operation.state_forwards(app, after)
    old, new = (
        each.apps.get_model(app, model)._meta.get_field(operation.name) for each in (state, after)
    )
    editor: Any = connection.schema_editor()
    if not editor._field_should_be_altered(old, new):
        return ""
    as_before = new.clone()
    if old.db_default is NOT_PROVIDED and new.db_default is not NOT_PROVIDED:
        as_before.db_default = NOT_PROVIDED
    is_text = isinstance(old, models.CharField) and type(old) is type(new)
    if is_text and old.max_length and new.max_length and new.max_length > old.max_length:
        as_before.max_length = old.max_length
    as_before.set_attributes_from_name(operation.name)
    as_before.model = old.model
    if not editor._field_should_be_altered(old, as_before):
        return ""
    return "the release knows the column as it was: a new one beside it, a fill, and LeaveColumn"

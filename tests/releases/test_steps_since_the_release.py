"""Migrations since the last release leave it serving; what would not is refused by name."""

import tomllib

import pytest
from django.db import migrations, models
from django.db.migrations.loader import MigrationLoader
from django.db.models.functions import Now

from operations.queries.database_rows import last_of_each_line
from records.models.while_serving import (
    AddCheckWhileServing,
    AddIndexWhileServing,
    DropColumn,
    LeaveColumn,
)
from tests.releases.changed_rules import CHANGED
from tests.releases.release import order_of, releases, rules_now
from tests.releases.steps import Check, faults_since

NEWEST = releases()[-1]


@pytest.fixture(autouse=True)
def _migrations_are_those_of_the_site(settings):
    settings.MIGRATION_MODULES = {}


def test_the_last_release_can_go_on_serving_while_its_database_is_migrated():
    assert faults_since(NEWEST) == []


def test_rules_of_the_database_that_changed_since_are_named_with_why_the_release_may_write():
    before, now = NEWEST.rules, rules_now()
    changed = {name for name in before.keys() | now.keys() if before.get(name) != now.get(name)}
    assert changed == CHANGED.keys()
    assert all(CHANGED.values())


def test_this_version_is_the_last_release_or_comes_after_it():
    with open("pyproject.toml", "rb") as file:
        version = tomllib.load(file)["project"]["version"]
    assert order_of(version) >= order_of(NEWEST.version)
    assert MigrationLoader(None).disk_migrations.keys() >= NEWEST.migrations


@pytest.fixture(scope="module")
def released():
    """What the last release has made of a database."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("django.conf.settings.MIGRATION_MODULES", {})
        return MigrationLoader(None).project_state(last_of_each_line(NEWEST.migrations))


def noop(apps, schema_editor):
    pass


INDEX = models.Index(fields=["full_name"], name="by_name")
KEEPS = models.CheckConstraint(condition=~models.Q(full_name=""), name="named")
NEW_TABLE = migrations.CreateModel("Badge", [("id", models.BigAutoField(primary_key=True))])
TEXT = models.CharField(max_length=9, db_default="")

REFUSED = {
    "column dropped": ([migrations.RemoveField("person", "full_name")], {}, "LeaveColumn"),
    "table dropped": ([migrations.DeleteModel("Person")], {}, "knows people_person"),
    "column renamed": ([migrations.RenameField("person", "full_name", "name")], {}, "as it was"),
    "table renamed": ([migrations.RenameModel("Person", "Human")], {}, "as it was"),
    "table moved": ([migrations.AlterModelTable("person", "humans")], {}, "as it was"),
    "new column that has to be filled": (
        [migrations.AddField("person", "badge", models.CharField(max_length=9, default=""))],
        {},
        "db_default",
    ),
    "new column worked out for every row": (
        [migrations.AddField("person", "seen", models.DateTimeField(db_default=Now()))],
        {},
        "written anew",
    ),
    "new column with an index": (
        [migrations.AddField("person", "badge", models.IntegerField(null=True, db_index=True))],
        {},
        "AddIndexWhileServing",
    ),
    "new reference with an index": (
        [
            migrations.AddField(
                "person", "twin", models.ForeignKey("people.person", models.PROTECT, null=True)
            )
        ],
        {},
        "AddIndexWhileServing",
    ),
    "type altered": (
        [migrations.AlterField("person", "full_name", models.IntegerField())],
        {},
        "as it was",
    ),
    "column shortened": (
        [migrations.AlterField("person", "full_name", models.CharField(max_length=2))],
        {},
        "as it was",
    ),
    "index": ([migrations.AddIndex("person", INDEX)], {}, "AddIndexWhileServing"),
    "index with a lock": ([AddIndexWhileServing("person", INDEX)], {}, "atomic = False"),
    "check": ([migrations.AddConstraint("person", KEEPS)], {}, "AddCheckWhileServing"),
    "check that the release may break": (
        [AddCheckWhileServing("person", KEEPS)],
        {"atomic": False},
        "contract_since",
    ),
    "check since what is no release": (
        [AddCheckWhileServing("person", KEEPS)],
        {"atomic": False, "contract_since": "9.9"},
        "is no release",
    ),
    "fill in one transaction": ([migrations.RunPython(noop, noop)], {}, "atomic = False"),
    "fill without a reverse": ([migrations.RunPython(noop)], {"atomic": False}, "a reverse"),
    "SQL": ([migrations.RunSQL("SELECT 1")], {}, "contract_since"),
    "SQL within": (
        [migrations.SeparateDatabaseAndState([migrations.RunSQL("SELECT 1")])],
        {},
        "contract_since",
    ),
    "column left that rows need": ([LeaveColumn("person", "full_name")], {}, "without it"),
    "column dropped that the release reads": (
        [DropColumn("person", "full_name", TEXT)],
        {"contract_since": NEWEST.version},
        "reads it",
    ),
    "column dropped, nobody says since when": (
        [DropColumn("person", "badge", TEXT)],
        {},
        "contract_since",
    ),
}


def faults_of(released, operations, more):
    migration = type("Migration", (migrations.Migration,), {"operations": operations, **more})
    return list(Check(NEWEST, released).of(migration("9001_later", "people"), released))


@pytest.mark.parametrize("name", REFUSED)
def test_a_step_that_would_break_the_release_is_refused(released, name):
    operations, more, says = REFUSED[name]
    faults = faults_of(released, operations, more)
    assert len(faults) == 1
    assert says in faults[0]


ALLOWED = {
    "new table, whatever is in it": (
        [NEW_TABLE, migrations.AddIndex("badge", models.Index(fields=["id"], name="by_id"))],
        {},
    ),
    "new column that may be empty": (
        [migrations.AddField("person", "badge", models.TextField(null=True))],
        {},
    ),
    "new column with a default in the database": (
        [migrations.AddField("person", "badge", TEXT)],
        {},
    ),
    "column that may be longer": (
        [migrations.AlterField("person", "full_name", models.CharField(max_length=999))],
        {},
    ),
    "index that nobody waits for": ([AddIndexWhileServing("person", INDEX)], {"atomic": False}),
    "check that the release keeps": (
        [AddCheckWhileServing("person", KEEPS)],
        {"atomic": False, "contract_since": NEWEST.version},
    ),
    "fill that locks nothing for long": ([migrations.RunPython(noop, noop)], {"atomic": False}),
    "column that nothing knows": (
        [DropColumn("person", "badge", TEXT)],
        {"contract_since": NEWEST.version},
    ),
    "words": ([migrations.AlterModelOptions("person", {"verbose_name": "human"})], {}),
}


@pytest.mark.parametrize("name", ALLOWED)
def test_a_step_that_the_release_goes_on_beside_is_taken(released, name):
    assert faults_of(released, *ALLOWED[name]) == []

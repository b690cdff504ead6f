"""What the migrations make of an empty database is what the models say.

The tests themselves, and the first start of a site, make their tables from the models, which
takes a tenth of the time.
"""

import os

import pytest
from django.apps import apps
from django.conf import settings
from django.contrib.contenttypes.models import ContentType
from django.db import connection, connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.utils import ConnectionHandler
from psycopg import sql

from records.models import append_only
from tests import catalogue, ready_python

pytestmark = [pytest.mark.django_db, pytest.mark.each_database, pytest.mark.slow]


@pytest.fixture(scope="module")
def migrated(tmp_path_factory, django_db_setup, django_db_blocker):
    """A connection to a database that `migrate` has filled from nothing, once for both tests.

    None of them changes its tables.
    """
    with django_db_blocker.unblock():
        yield from filled_by("migrate", tmp_path_factory.mktemp("site"))


@pytest.fixture
def prepared(tmp_path, db):
    """A connection to a database that the start of a site has filled from nothing."""
    yield from filled_by("prepare", tmp_path)


def filled_by(command, folder):
    if connection.vendor == "sqlite":
        url, database = f"sqlite:///{folder}/site.sqlite3", {"NAME": folder / "site.sqlite3"}
        yield from _filled_by(command, url, database, folder)
        return
    name = f"{connection.settings_dict['NAME']}_{command}"
    given = os.environ["DATABASE_URL"]
    identifier = sql.Identifier(name)
    with connections["default"]._nodb_cursor() as cursor:
        cursor.execute(sql.SQL("DROP DATABASE IF EXISTS {}").format(identifier))
        cursor.execute(sql.SQL("CREATE DATABASE {}").format(identifier))
    try:
        url = f"{given.rsplit('/', 1)[0]}/{name}"
        yield from _filled_by(command, url, {"NAME": name}, folder)
    finally:
        with connections["default"]._nodb_cursor() as cursor:
            cursor.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(identifier))


def _filled_by(command, url, database, folder):
    environment = {
        "PATH": os.environ["PATH"],
        "DATA_DIR": str(folder),
        "SECRET_KEY": "k" * 60,
        "DATABASE_URL": url,
        "DJANGO_SETTINGS_MODULE": "tests.services.plain_static",
    }
    ended = manage(command, environment)
    assert ended.returncode == 0, ended.stderr
    handler = ConnectionHandler({"default": settings.DATABASES["default"] | database})
    other = handler["default"]
    other.environment = environment
    # Read once: on SQLite it is a parser that reads what each table was made by.
    other.schema = schema(other)
    yield other
    other.close()


def prepare(environment):
    """What the start of a site does to its database."""
    return manage("prepare", environment)


def manage(command, environment):
    # What `make check` says of the site is not said here each time.
    return ready_python.run(
        *("manage.py", *command.split(), "--skip-checks"), environment=environment
    )


def schema(connection: BaseDatabaseWrapper) -> dict:
    """Columns, keys, constraints and indexes of each table, whatever order they were made in."""
    look, found = connection.introspection, {}
    named = {
        each.name
        for model in apps.get_models()
        for each in (*model._meta.constraints, *model._meta.indexes)
    }
    # Those of libraries are their own business, and made by other rules for their keys.
    ours = {
        model._meta.db_table
        for label in catalogue.APPS
        if apps.is_installed(label)
        for model in apps.get_app_config(label).get_models(include_auto_created=True)
    }
    with connection.cursor() as cursor:
        for table in sorted(ours.intersection(look.table_names(cursor))):
            columns = {
                column.name: (
                    *(column.type_code, column.null_ok),
                    *(column.internal_size, column.display_size),
                )
                for column in look.get_table_description(cursor, table)
            }
            constraints = {
                (
                    name if name in named else "",
                    tuple(constraint["columns"] or ()),
                    constraint["primary_key"],
                    constraint["unique"],
                    constraint["foreign_key"],
                    constraint["check"],
                    constraint["index"],
                    tuple(constraint.get("orders") or ()),
                )
                for name, constraint in look.get_constraints(cursor, table).items()
            }
            found[table] = (columns, constraints)
    return found


@pytest.fixture(scope="module")
def described(django_db_setup, django_db_blocker):
    """What the tests' own database is, whose tables are made from the models."""
    with django_db_blocker.unblock():
        return schema(connection)


def test_migrations_make_what_the_models_describe(migrated, described):
    assert_is_as_described(migrated, described)
    assert prepare(migrated.environment).returncode == 0


def test_first_start_makes_the_same_without_them(prepared, described):
    assert_is_as_described(prepared, described)
    assert manage("migrate --check", prepared.environment).returncode == 0
    with prepared.cursor() as cursor:
        cursor.execute("SELECT COUNT(*) FROM django_content_type")
        assert cursor.fetchone()[0] == ContentType.objects.count()


def assert_is_as_described(made_here, described):
    made = made_here.schema
    assert len(made) > 70
    assert made.keys() == described.keys()
    for table in made:
        assert made[table] == described[table], table
    assert append_only.missing(made_here) == []


@pytest.fixture
def steps_of_another_version(migrated):
    """Steps that were applied, and that nobody here knows; gone again afterwards."""
    steps = [("training", "0008_tablet_use"), ("no_longer_used", "0001_initial")]
    with migrated.cursor() as cursor:
        for step in steps:
            cursor.execute(
                "INSERT INTO django_migrations (app, name, applied) VALUES (%s, %s, %s)",
                [*step, "2026-01-05 08:00:00+00:00"],
            )
    yield
    with migrated.cursor() as cursor:
        for step in steps:
            cursor.execute("DELETE FROM django_migrations WHERE app = %s AND name = %s", step)


@pytest.mark.usefixtures("steps_of_another_version")
def test_steps_that_this_version_does_not_have_are_named_and_nothing_is_touched(migrated):
    ended = prepare(migrated.environment)

    assert ended.returncode != 0
    assert "training.0008_tablet_use" in ended.stderr
    assert schema(migrated) == migrated.schema

"""A folder whose database another version made: the start says so and touches nothing."""

import os
import sqlite3

from operations.queries.database_rows import known_migrations
from tests import ready_python


def prepare(folder, steps):
    """Have a site prepared whose database has been through these migrations, and no more."""
    path = folder / "jointworthy.sqlite3"
    with sqlite3.connect(path) as older:
        older.execute(
            "CREATE TABLE django_migrations "
            "(id INTEGER PRIMARY KEY, app TEXT, name TEXT, applied TEXT)"
        )
        for number, (app, step) in enumerate(steps):
            older.execute(
                "INSERT INTO django_migrations VALUES (?, ?, ?, '2026-01-05 08:00:00')",
                (number, app, step),
            )
    older.close()

    ended = ready_python.run(
        *("manage.py", "prepare"),
        environment={"PATH": os.environ["PATH"], "DATA_DIR": str(folder), "SECRET_KEY": "k" * 60},
    )

    assert ended.returncode != 0
    assert ended.stdout == ""
    with sqlite3.connect(path) as older:
        tables = [name for (name,) in older.execute("SELECT name FROM sqlite_master")]
    older.close()
    assert tables == ["django_migrations"]
    (sentence,) = ended.stderr.strip().splitlines()
    return sentence


def test_starting_on_an_older_database_stops_with_one_sentence_and_leaves_it_alone(tmp_path):
    sentence = prepare(tmp_path, [("training", "0001_initial"), ("training", "0008_tablet_use")])

    assert "made by another version" in sentence
    assert "move it aside" in sentence


def test_starting_on_a_newer_database_stops_and_names_the_way_back(tmp_path, settings):
    settings.MIGRATION_MODULES = {}  # As the site itself has it.
    sentence = prepare(tmp_path, sorted(known_migrations() | {("training", "0999_of_next_year")}))

    assert "is newer than this program (training.0999_of_next_year" in sentence
    assert "start the version that prepared it last" in sentence

"""A folder whose database another version made: the start says so and touches nothing."""

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder

from operations.exceptions import DatabaseOfAnotherVersion
from operations.queries.applied_migrations import (
    refuse_database_of_another_version,
    unknown_migrations,
)

TOP = Path(__file__).parents[2]


def test_the_database_that_this_version_made_is_taken(db):
    assert unknown_migrations(connection) == []
    refuse_database_of_another_version(connection)


def test_a_step_that_this_version_does_not_have_is_named(db):
    MigrationRecorder(connection).record_applied("training", "0008_tablet_use")
    MigrationRecorder(connection).record_applied("a_library_no_longer_used", "0001_initial")

    assert unknown_migrations(connection) == ["training.0008_tablet_use"]
    with pytest.raises(DatabaseOfAnotherVersion, match=r"training\.0008_tablet_use"):
        refuse_database_of_another_version(connection)


def test_starting_on_an_older_database_stops_with_one_sentence_and_leaves_it_alone(tmp_path):
    path = tmp_path / "jointworthy.sqlite3"
    with sqlite3.connect(path) as older:
        older.execute(
            "CREATE TABLE django_migrations "
            "(id INTEGER PRIMARY KEY, app TEXT, name TEXT, applied TEXT)"
        )
        for number, step in enumerate(["0001_initial", "0008_tablet_use"]):
            older.execute(
                "INSERT INTO django_migrations VALUES (?, 'training', ?, '2026-01-05 08:00:00')",
                (number, step),
            )
    older.close()

    ended = subprocess.run(
        [sys.executable, "manage.py", "prepare"],
        cwd=TOP,
        env={"PATH": os.environ["PATH"], "DATA_DIR": str(tmp_path), "SECRET_KEY": "k" * 60},
        capture_output=True,
        text=True,
        check=False,
    )

    assert ended.returncode != 0
    assert ended.stdout == ""
    (sentence,) = ended.stderr.strip().splitlines()
    assert "made by another version" in sentence
    assert "move it aside" in sentence
    with sqlite3.connect(path) as older:
        tables = [name for (name,) in older.execute("SELECT name FROM sqlite_master")]
    older.close()
    assert tables == ["django_migrations"]

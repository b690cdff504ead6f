"""A folder whose database another version made: the start says so and touches nothing."""

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

TOP = Path(__file__).parents[2]


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

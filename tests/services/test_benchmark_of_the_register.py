"""The benchmark of the register runs on both databases, and leaves none of its own behind."""

import subprocess
import sys
from pathlib import Path

import pytest
from django.db import connection

pytestmark = pytest.mark.django_db

FOLDER = Path(__file__).parents[2]


def test_runs_on_this_database_and_drops_its_own():
    benchmark = subprocess.Popen(
        [
            *(sys.executable, "-m", "benchmarks.register"),
            *("--people", "4", "--certificates", "3", "--runs", "1"),
        ],
        cwd=FOLDER,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )

    output, wrong = benchmark.communicate()

    assert benchmark.returncode == 0, wrong
    assert output.startswith(f"On {connection.vendor}\n4 people with 12 certificates")
    assert "suspend somebody" in output
    assert left_by(benchmark.pid) == []


def left_by(process):
    if connection.vendor != "postgresql":  # Its files are in a folder of its own.
        return []
    with connection.cursor() as cursor:
        names = f"jointworthy_bench_{process}_%"
        cursor.execute("SELECT datname FROM pg_database WHERE datname LIKE %s", [names])
        return [name for (name,) in cursor.fetchall()]

"""A back-up of a database with many rows, beside the database's own program or interface for it.

    .venv/bin/python -m benchmarks.backing_up [--rows 1000000] [--rounds 3]

On the server that DATABASE_URL names the peer is ``pg_dump -Fc``; on SQLite it is the online
back-up (``sqlite3.Connection.backup``), packed by gzip at the level that the product packs with.
Both write the same database to a file on the same disk, in turns, each in a process of its own.
Seconds of the clock are told, since a server's part of the work is in no other; seconds of the
processor are the process's own and leave that part out. Memory is what the process holds at most,
for the product beyond what it held with the site's code loaded and the database open.

What the product does besides and no peer: it makes of each value what the other kind of database
takes, names the files of the site, and hashes all of it.
"""

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
django.setup()

from django.conf import settings  # noqa: E402
from django.db import connection  # noqa: E402
from django.test.utils import setup_databases, teardown_databases  # noqa: E402
from django.utils import timezone  # noqa: E402

from benchmarks.verifying import in_a_child  # noqa: E402
from operations.models import BackUp  # noqa: E402
from operations.queries import database_rows  # noqa: E402
from operations.services.back_ups import back_up  # noqa: E402
from tests.factories import make_person, make_scope  # noqa: E402

PIECE = 1 << 20

SERIES = {
    "postgresql": "generate_series(1, {rows}) AS series(n)",
    "sqlite": "(WITH RECURSIVE series(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM series "
    "WHERE n < {rows}) SELECT n FROM series)",
}
DAY = {
    "postgresql": "DATE '2020-01-01' + (n %% 2000)",
    "sqlite": "date('2020-01-01', '+' || (n %% 2000) || ' days')",
}
PACKS = """
import gzip, sqlite3, sys
with sqlite3.connect(sys.argv[1]) as source, sqlite3.connect(sys.argv[2]) as copy:
    source.backup(copy)
copy.close()
with open(sys.argv[2], "rb") as plain, gzip.open(sys.argv[3], "wb", compresslevel=3) as packed:
    while piece := plain.read(1 << 20):
        packed.write(piece)
"""


def build(rows: int) -> None:
    """Work done within a scope, by SQL: how it came there is not measured."""
    person, scope = make_person(), make_scope()
    vendor = connection.vendor
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO training_practicerecord"  # noqa: S608 - of this file's own parts
            " (person_id, scope_code, performed_on, reference, recorded_at)"
            f" SELECT %s, %s, {DAY[vendor]}, 'SN-' || n, %s"
            f" FROM {SERIES[vendor].format(rows=rows)}",
            [person.pk, scope.code, timezone.now()],
        )
        if vendor == "postgresql":
            cursor.execute("ANALYZE")


def held_mib(who: int = resource.RUSAGE_SELF) -> float:
    return resource.getrusage(who).ru_maxrss / 1024


def product(path: Path, figures: Path) -> None:
    BackUp.objects.count()
    before, begun, clock = held_mib(), time.process_time(), time.monotonic()
    back_up(path, clock=timezone.now)
    took = time.monotonic() - clock, time.process_time() - begun, held_mib() - before
    figures.write_text(" ".join(map(str, took)))


def peer(path: Path, figures: Path) -> None:
    command = (
        ["pg_dump", "-Fc", "--file", str(path), "--dbname", server_url()]
        if connection.vendor == "postgresql"
        else [
            sys.executable,
            *("-c", PACKS, str(connection.settings_dict["NAME"])),
            *(f"{path}.copy", str(path)),
        ]
    )
    clock = time.monotonic()
    subprocess.run(command, check=True)
    took_s = time.monotonic() - clock
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    took = took_s, used.ru_utime + used.ru_stime, held_mib(resource.RUSAGE_CHILDREN)
    figures.write_text(" ".join(map(str, took)))


def server_url() -> str:
    given = connection.settings_dict
    user = f"{given['USER']}:{given['PASSWORD']}@" if given["PASSWORD"] else f"{given['USER']}@"
    return f"postgresql://{user}{given['HOST']}:{given['PORT']}/{given['NAME']}"


def measured(act: Callable[[Path, Path], None], folder: Path) -> tuple[list[float], int]:
    path, figures = folder / "made", folder / "figures"
    in_a_child(partial(act, path, figures))
    size = path.stat().st_size
    for left in folder.iterdir():
        if left != figures:
            left.unlink()
    return [float(each) for each in figures.read_text().split()], size


def measure(rows: int, rounds: int) -> None:
    in_a_child(partial(build, rows))
    name = "pg_dump -Fc" if connection.vendor == "postgresql" else "online back-up, packed"
    print(f"{rows:,} rows on {connection.vendor}, beside {name}")
    print("           seconds  of the processor   MiB held    MiB written", flush=True)
    ratios = []
    with tempfile.TemporaryDirectory(dir=settings.DATA_DIR) as folder:
        for _round in range(rounds):
            both = [measured(act, Path(folder)) for act in (peer, product)]
            for title, ((seconds, of_processor_s, mib), size) in zip(
                ("peer", "product"), both, strict=True
            ):
                print(
                    f"{title:8}  {seconds:8.1f}  {of_processor_s:16.1f}   {mib:8.1f}"
                    f"       {size / PIECE:8.1f}",
                    flush=True,
                )
            (theirs, _size), (ours, _own_size) = both
            ratios.append(ours[0] / theirs[0])
    print(f"Product to peer, by the clock: {', '.join(f'{ratio:.2f}' for ratio in ratios)}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--rounds", type=int, default=3)
    arguments = parser.parse_args()
    made = setup_databases(verbosity=0, interactive=False)
    settings.MIGRATION_MODULES = {}
    everything = sorted(database_rows.known_migrations())
    # The tables were made from the models, without the migrations, which nothing notes.
    database_rows.applied_migrations = lambda connection: everything
    try:
        measure(arguments.rows, arguments.rounds)
    finally:
        teardown_databases(made, verbosity=0)


if __name__ == "__main__":
    main()

"""Taking over a register: time and memory of a large one, and what a small one has others wait.

    .venv/bin/python -m benchmarks.importing [--people 100000]

The large one is imported by `manage.py import_register` into an empty SQLite database, as where
nothing is served. Then gunicorn serves the site, somebody hands boards in and somebody asks for
Health, each again and again, and registers of as many rows as may be imported beside them are: of
people alone, and of people with certificates, vision tests and practice. What is printed as the
longest wait is that of one request; beside it stands the longest without an import.
"""

import argparse
import http.client
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from contextlib import closing
from pathlib import Path
from typing import Any

import polars as pl

from benchmarks import register_data
from benchmarks.serving import served

PORT = 8751
RUNS = 3
BOARDS = 4_000
CSRF = "c" * 32
ROWS_A_PERSON = 6  # one of people.csv, and what `write_bundle` gives each


def write_bundle(folder: Path, people: int, begins: str, *, facts: bool = True) -> Path:
    """Write a register that fits any other: no renewals and events, numbers that begin alike."""
    register_data.write(
        folder,
        people=people,
        scopes=12,
        certificates=people * 3 // 2 * facts,
        practice=people * 2 * facts,
        vision_tests=people * 3 // 2 * facts,
        log=1,
    )
    bundle = folder / "bundle"
    (bundle / "certificate_events.csv").unlink()
    for name, columns in {
        "people": ["employee_number"],
        "certificates": ["certificate_number", "employee_number"],
        "vision_tests": ["test_id", "employee_number"],
        "practice": ["employee_number"],
    }.items():
        rows = pl.read_csv(bundle / f"{name}.csv", infer_schema=False)
        rows = rows.with_columns(
            pl.concat_str(pl.lit(begins), column).alias(column) for column in columns
        )
        if name == "certificates":
            rows = rows.with_columns(pl.lit(None, pl.String).alias("renews"))
        rows.write_csv(bundle / f"{name}.csv")
    return bundle


def import_register(bundle: Path) -> tuple[float, float]:
    """Seconds that the command took, and the most MB of any child so far."""
    begun = time.perf_counter()
    command = [sys.executable, "manage.py", "import_register", str(bundle), "--site", "HR"]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    most_kb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    return time.perf_counter() - begun, most_kb / 1024


def fill() -> tuple[str, list[str]]:
    """Make a site, and boards to hand in; return a session and the boards' paths."""
    from django.conf import settings
    from django.test import Client
    from django.urls import reverse
    from django.utils import timezone

    from assessments.models import Board
    from people.models import Person, Role, Site, SiteRole, User
    from training.models import Exercise

    site = Site.objects.get(prefix="HR")
    person = Person.objects.create(employee_number="1", full_name="Instructor", site=site)
    user = User.objects.create(employee_number="1", person=person)
    SiteRole.objects.create(user=user, site=site, role=Role.INSTRUCTOR)
    exercise = Exercise.objects.create(
        code="X", title="X", stages=["soldered"], published_at=timezone.now()
    )
    boards = Board.objects.bulk_create(
        Board(
            number=f"HR-B-{number:05d}",
            person=person,
            exercise=exercise,
            site=site,
            handed_out_on=timezone.localdate(),
        )
        for number in range(BOARDS)
    )
    client = Client(headers={"host": "127.0.0.1"})
    client.force_login(user)
    session = client.cookies[settings.SESSION_COOKIE_NAME].value
    return session, [reverse("assessments:board_hand_in", args=[board.number]) for board in boards]


class Others:
    """Somebody who writes and somebody who reads, each again as soon as they are answered."""

    def __init__(self, session: str, paths: list[str]) -> None:
        self.headers = {
            "Cookie": f"sessionid={session}; csrftoken={CSRF}",
            "X-CSRFToken": CSRF,
        }
        self.paths = paths

    def longest_while(self, act: Any) -> tuple[float, float]:
        """The longest write and the longest read, in seconds, while something is done."""
        over = threading.Event()
        writes, reads = [0.0], [0.0]

        def write() -> None:
            while not over.is_set():
                writes.append(self._ask("POST", self.paths.pop(), {302}))
                time.sleep(0.01)

        def read() -> None:
            while not over.is_set():
                reads.append(self._ask("GET", "/health/check/", {200, 503}))
                time.sleep(0.01)

        threads = [threading.Thread(target=each) for each in (write, read)]
        for thread in threads:
            thread.start()
        try:
            act()
        finally:
            over.set()
            for thread in threads:
                thread.join()
        return max(writes), max(reads)

    def _ask(self, method: str, path: str, expected: set[int]) -> float:
        begun = time.perf_counter()
        with closing(http.client.HTTPConnection("127.0.0.1", PORT, timeout=60)) as link:
            link.request(method, path, "", self.headers)
            answer = link.getresponse()
            answer.read()
        if answer.status not in expected:
            raise SystemExit(f"{method} {path} was answered by {answer.status}.")
        return time.perf_counter() - begun


def measure(folder: Path, people: int) -> None:
    import django

    django.setup()
    from django.core.management import call_command

    from audit.services.importing import MOST_BESIDE_OTHERS
    from people.models import Site

    call_command("prepare")
    Site.objects.create(name="Here", prefix="HR", time_zone="Europe/London")
    took, most_mb = import_register(write_bundle(folder / "large", people, ""))
    print(f"{people} people, {people * ROWS_A_PERSON} rows: {took:.0f} s, {most_mb:.0f} MB")
    session, paths = fill()
    print("imported meanwhile           longest write, s  longest read, s")
    with served("config.wsgi:application", folder, PORT):
        others = Others(session, paths)
        for run in range(RUNS):
            small = {
                f"{MOST_BESIDE_OTHERS} people": write_bundle(
                    folder / f"a{run}", MOST_BESIDE_OTHERS - 4, f"A{run}", facts=False
                ),
                f"{MOST_BESIDE_OTHERS} rows of all kinds": write_bundle(
                    folder / f"b{run}", (MOST_BESIDE_OTHERS - 4) // ROWS_A_PERSON, f"B{run}"
                ),
            }
            waits = {"nothing": others.longest_while(lambda: time.sleep(5))}
            for name, bundle in small.items():
                waits[name] = others.longest_while(lambda bundle=bundle: import_register(bundle))
            for name, (write, read) in waits.items():
                print(f"{name:27}  {write:16.2f}  {read:15.2f}", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--people", type=int, default=100_000)
    arguments = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="jointworthy-importing-"))
    os.environ |= {
        "DJANGO_SETTINGS_MODULE": "config.settings",
        "DATA_DIR": str(folder),
        "SECRET_KEY": "of a server that lives as long as the benchmark, and no longer than it",
        "PUBLIC_URL": f"http://127.0.0.1:{PORT}",
    }
    for name in ("DATABASE_URL", "CACHE_URL"):
        os.environ.pop(name, None)
    measure(folder, arguments.people)
    shutil.rmtree(folder)


if __name__ == "__main__":
    main()

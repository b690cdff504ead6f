"""A large register beside a small one: reading a page of it, and writing one fact into it.

    .venv/bin/python -m benchmarks.register [--people 100 10000] [--certificates 10]
        [--practice 10] [--runs 15]

The same page of the same size is asked for at both sizes, turn about, and so is the same
fact written, with its spans and its entry in the trail. Prints medians and the ratio of the
large register to the small one; queries and peak memory beside them. Each size has a database
of its own, a SQLite file or one on the server that DATABASE_URL names, dropped at the end.
"""

import argparse
import os
import statistics
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

from benchmarks import registers

# After the above, which sets Django up.
from django.db import connection  # isort: skip
from django.test import Client  # isort: skip
from django.test.utils import CaptureQueriesContext  # isort: skip

from certification.services.acts import Act

from certification.models import Certificate  # isort: skip
from certification.services import events  # isort: skip
from people.models import Person, User  # isort: skip
from training.services import facts  # isort: skip

PAGES = [
    ("today, by name", "/register/"),
    ("a day two years ago", f"/register/?day={registers.TODAY - timedelta(days=730)}"),
    ("narrowed to expired", "/register/?standing=expired"),
    ("one scope", "/register/?scope=S-1"),
    ("by what ends first", "/register/?order=end"),
]


@dataclass
class Size:
    """One register, and what was measured on it, in seconds."""

    people: int
    database: str
    turn: int = 0

    def read(self, url: str) -> Callable[[], None]:
        client = Client(SERVER_NAME="localhost")
        client.force_login(User.objects.get(employee_number="Q1"))

        def read_once() -> None:
            response = client.get(url)
            if response.status_code != 200:
                raise SystemExit(f"{url} answers {response.status_code}")

        return read_once

    def vision_test(self) -> Callable[[], None]:
        actor, at = User.objects.get(employee_number="Q1"), datetime.now(UTC)

        def write_once() -> None:
            facts.record_vision_test(
                person=self._somebody(), tested_on=registers.TODAY, passed=True, actor=actor, at=at
            )

        return write_once

    def suspension(self) -> Callable[[], None]:
        actor, at = User.objects.get(employee_number="Q1"), datetime.now(UTC)

        def write_once() -> None:
            certificate = (
                Certificate.objects.filter(
                    person=self._somebody(), valid_through__gt=registers.TODAY, events=None
                )
                .select_related("person__site", "scope")
                .first()
            )
            if certificate is not None:
                events.suspend_certificates(
                    person=certificate.person,
                    scope=certificate.scope,
                    act=Act(
                        actor=actor,
                        at=at,
                        proof="password",
                        reason="Measured.",
                        effective_on=registers.TODAY,
                    ),
                )

        return write_once

    def _somebody(self) -> Person:
        """Somebody else every time, in an order that has nothing to do with the tables'."""
        self.turn += 1
        number = 100_000 + self.turn * 37 % self.people
        return Person.objects.select_related("site").get(employee_number=f"{number}")


def measured(sizes: list[Size], act: Callable[[Size], Callable[[], None]], runs: int):
    """Medians in seconds, queries and peak memory in bytes, one of each for a size."""
    times: list[list[float]] = [[] for _size in sizes]
    queries, peaks = [0] * len(sizes), [0] * len(sizes)
    rounds = 3  # Turn about, so that a busy moment of the machine falls on both.
    for turn in range(rounds):
        for place, size in enumerate(sizes):
            with registers.connected_to(size.database):
                once = act(size)
                once()
                for _run in range(max(1, runs // rounds)):
                    begun = time.perf_counter()
                    once()
                    times[place].append(time.perf_counter() - begun)
                if turn == 0:
                    with CaptureQueriesContext(connection) as captured:
                        once()
                    queries[place] = len(captured)
                    tracemalloc.start()
                    once()
                    peaks[place] = tracemalloc.get_traced_memory()[1]
                    tracemalloc.stop()
    return [statistics.median(times_of_size) for times_of_size in times], queries, peaks


def say(what: str, sizes: list[Size], found) -> None:
    medians, queries, peaks = found
    for place, size in enumerate(sizes):
        ratio = f"{medians[place] / medians[0]:6.2f}" if place else "      "
        memory = f"{peaks[place] / peaks[0]:6.2f}" if place else "      "
        print(
            f"{what:28}  {size.people:8,d}  {medians[place] * 1000:9.1f}  {ratio}"
            f"  {queries[place]:7d}  {peaks[place] / 1e6:8.1f}  {memory}",
            flush=True,
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--people", type=int, nargs="+", default=[100, 10_000])
    parser.add_argument("--certificates", type=int, default=10, help="of each of them")
    parser.add_argument("--practice", type=int, default=10, help="records of work of each of them")
    parser.add_argument("--runs", type=int, default=15)
    arguments = parser.parse_args()
    with ExitStack() as until_done:
        folder = until_done.enter_context(tempfile.TemporaryDirectory(prefix="jointworthy-bench-"))
        sizes = [
            Size(people_count, _database_name(Path(folder), people_count))
            for people_count in sorted(arguments.people)
        ]
        print(f"On {connection.vendor}", flush=True)
        for size in sizes:
            begun = time.perf_counter()
            until_done.enter_context(registers.database(size.database))
            registers.build(size.database, size.people, arguments.certificates, arguments.practice)
            print(
                f"{size.people:,d} people with "
                f"{size.people * arguments.certificates:,d} certificates "
                f"made in {time.perf_counter() - begun:.0f} s",
                flush=True,
            )
        print(f"\n{'':28}    people  median, ms   ratio  queries  peak, MB   ratio")
        for name, url in PAGES:
            reading = partial(Size.read, url=url)
            say(f"page, {name}", sizes, measured(sizes, reading, arguments.runs))
        say("write a vision test", sizes, measured(sizes, Size.vision_test, arguments.runs * 2))
        say("suspend somebody", sizes, measured(sizes, Size.suspension, arguments.runs * 2))


def _database_name(folder: Path, people: int) -> str:
    if connection.vendor == "sqlite":
        return str(folder / f"{people}.sqlite3")
    return f"jointworthy_bench_{os.getpid()}_{people}"


if __name__ == "__main__":
    main()

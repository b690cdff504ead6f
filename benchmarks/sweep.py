"""A sweep that writes the ledger, beside bare SQL that finds the same rows and one bulk_create.

    .venv/bin/python -m benchmarks.sweep [--certificates 10000 100000] [--due 5] [--runs 5]

Each size is measured in a process and a database of its own, on SQLite or on the server that
DATABASE_URL names. Of the certificates, the share given is due for its step of 30 days; twice
as many are within reach with their step of 60 days written. Messages and mails are left out.
The peer knows the steps and nothing else of the rules: neither working days, nor other kinds
of ends, nor what has taken their place; and it holds all rows in one transaction.
"""

import argparse
import os
import statistics
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, date, datetime, timedelta
from functools import partial
from multiprocessing import get_context
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
django.setup()

from django.db import connection, transaction  # noqa: E402
from django.test.utils import setup_databases, teardown_databases  # noqa: E402

from certification.models import Certificate, SchemeRevision, StandingEnd, StandingSpan  # noqa: E402
from certification.services import standing  # noqa: E402
from people.models import Person, Site  # noqa: E402
from reminders.models import Reminder, SiteSweep  # noqa: E402
from reminders.services import ledger as reminder_ledger  # noqa: E402
from tests.factories import make_revision, make_scope, make_site  # noqa: E402

DAY = date(2026, 11, 25)  # a Wednesday
NOW = datetime(2026, 11, 25, 5, 7, tzinfo=UTC)
STEPS = (90, 60, 30, 14, 7, 1)
STEP_DUE = 30
SCOPES = 5
PEOPLE_AT_A_TIME = 1000


# The register


def build(certificates: int, due_percent: float) -> None:
    """People with five certificates of two years each, and the ledger as it is by today."""
    site = make_site()
    scopes = [make_scope() for _ in range(SCOPES)]
    revisions = [
        make_revision(scope, validity_months=24, reminder_steps=list(STEPS)) for scope in scopes
    ]
    every = round(100 / due_percent)
    number = 0
    people = certificates // SCOPES
    for start in range(0, people, PEOPLE_AT_A_TIME):
        batch = Person.objects.bulk_create(
            Person(
                employee_number=f"{400000 + nth}",
                full_name=f"Person {nth}",
                email=f"p{nth}@skarnfell.example",
                site=site,
            )
            for nth in range(start, min(start + PEOPLE_AT_A_TIME, people))
        )
        made, written = [], []
        for person in batch:
            for revision, scope in zip(revisions, scopes, strict=True):
                number += 1
                left, steps = _left(number, every)
                certificate = _certificate(
                    number, person, revision, scope.pk, DAY + timedelta(days=left)
                )
                made.append(certificate)
                written += [_reminder(certificate, step) for step in steps]
        Certificate.objects.bulk_create(made, batch_size=1000)
        Reminder.objects.bulk_create(written, batch_size=1000)
        standing.rebuild_people(person.pk for person in batch)
    SiteSweep.objects.create(site=site, day=DAY - timedelta(days=1), finished_at=NOW)


def _left(number: int, every: int) -> tuple[int, tuple[int, ...]]:
    """Days that a certificate has left, and the steps of it that were written."""
    match number % every:
        case 0:
            return STEP_DUE, (90, 60)
        case 1 | 2:
            return 45, (90, 60)
    return 120 + number % 500, ()


def _certificate(
    number: int, person: Person, revision: SchemeRevision, scope_id: int, last: date
) -> Certificate:
    issued_on = last.replace(year=last.year - 2)
    return Certificate(
        number=f"CA-C-{number:06d}",
        person=person,
        scope_id=scope_id,
        scheme_revision=revision,
        issued_on=issued_on,
        valid_through=last,
        origin=Certificate.Origin.IMPORTED,
        holder_name=person.full_name,
        recorded_at=datetime.combine(issued_on, NOW.timetz()),
    )


def _reminder(certificate: Certificate, step: int) -> Reminder:
    return Reminder(
        person=certificate.person,
        recipient=certificate.person,
        source=f"certificate:{certificate.number}",
        kind="certificate",
        ends_on=certificate.valid_through,
        step=step,
        state=Reminder.State.OVERTAKEN,
        recorded_at=NOW,
    )


# What is compared


def by_product(site: Site) -> None:
    reminder_ledger.write_rows(site, DAY, NOW)


WHEN_DUE = " ".join(f"WHEN e.last_day <= %s THEN {step}" for step in sorted(STEPS))
PEER_SQL = f"""
SELECT due.person_id, due.source, due.kind, due.last_day, due.step
FROM (
    SELECT span.person_id, e.source, e.kind, e.last_day,
           CASE {WHEN_DUE} END AS step
    FROM {StandingEnd._meta.db_table} e
    JOIN {StandingSpan._meta.db_table} span ON span.id = e.span_id
    JOIN {Person._meta.db_table} person ON person.id = span.person_id
    WHERE span.standing = 'certified' AND span.first_day <= %s
      AND (span.last_day IS NULL OR span.last_day >= %s)
      AND e.last_day BETWEEN %s AND %s
      AND person.site_id = %s AND (person.left_on IS NULL OR person.left_on >= %s)
) due
WHERE NOT EXISTS (
    SELECT 1 FROM {Reminder._meta.db_table} r
    WHERE r.person_id = due.person_id AND r.source = due.source AND r.kind = due.kind
      AND r.ends_on = due.last_day AND r.step = due.step AND r.recipient_id = due.person_id
)
"""  # noqa: S608 - names of tables and numbers of this file


def by_bare_sql(site: Site) -> None:
    steps = [DAY + timedelta(days=step) for step in sorted(STEPS)]
    values: list[Any] = [*steps, DAY, DAY, DAY, DAY + timedelta(days=max(STEPS)), site.pk, DAY]
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute(PEER_SQL, values)
            rows = cursor.fetchall()
        Reminder.objects.bulk_create(
            (
                Reminder(
                    person_id=person_id,
                    recipient_id=person_id,
                    source=source,
                    kind=kind,
                    ends_on=ends_on,
                    step=step,
                    state=Reminder.State.WAITING,
                    recorded_at=NOW,
                )
                for person_id, source, kind, ends_on, step in rows
            ),
            batch_size=1000,
        )


# Measuring


class Transactions:
    """Notes how long each outermost transaction is open, and how many statements it holds."""

    def __init__(self) -> None:
        self.open_s: list[float] = []
        self._begun = 0.0
        self._set = connection.set_autocommit

    def __enter__(self) -> "Transactions":
        def noted(autocommit: bool, *args: Any, **kwargs: Any) -> None:
            if not autocommit:
                self._begun = time.perf_counter()
            self._set(autocommit, *args, **kwargs)
            if autocommit:
                self.open_s.append(time.perf_counter() - self._begun)

        connection.set_autocommit = noted  # type: ignore[method-assign]
        return self

    def __exit__(self, *error: object) -> None:
        del connection.set_autocommit


def peak_kib(act: Callable[[], None]) -> int:
    """The most memory that something holds at once beyond what was there before, in KiB."""
    tracemalloc.start()
    act()
    peak = tracemalloc.get_traced_memory()[1] // 1024
    tracemalloc.stop()
    return peak


def in_a_child(act: Callable[[], Any]) -> Any:
    """Do something in a process that ends with it, so that nothing of it stays in memory."""
    connection.close()
    with ProcessPoolExecutor(1, mp_context=get_context("fork")) as child:
        return child.submit(_once, act).result()


def _once(act: Callable[[], Any]) -> Any:
    try:
        return act()
    finally:
        connection.close()


def new_rows() -> set[tuple[Any, ...]]:
    rows = Reminder.objects.filter(state=Reminder.State.WAITING)
    return set(rows.values_list("person", "source", "kind", "ends_on", "step", "recipient"))


def again() -> None:
    Reminder.objects.filter(state=Reminder.State.WAITING).delete()


def measure(certificates: int, due_percent: float, runs: int) -> None:
    in_a_child(partial(build, certificates, due_percent))
    site = Site.objects.get()
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("VACUUM ANALYZE")
    elif connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA optimize")
    memory, counts = {}, {}
    times: dict[str, list[float]] = {"product": [], "peer": []}
    acts = {"product": by_product, "peer": by_bare_sql}
    for name, act in acts.items():
        memory[name] = in_a_child(partial(peak_kib, partial(act, site)))
        counts[name] = new_rows()
        again()
    if counts["product"] != counts["peer"]:
        raise SystemExit("The product and the peer do not find the same rows.")
    longest, in_transactions = 0.0, 0
    for _run in range(runs):
        for name, act in acts.items():
            with Transactions() as seen:
                begun = time.perf_counter()
                act(site)
                times[name].append(time.perf_counter() - begun)
            if name == "product":
                longest, in_transactions = max(longest, max(seen.open_s)), len(seen.open_s)
            again()
    product, peer = (statistics.median(times[name]) for name in acts)
    print(
        f"{certificates:12,}  {len(counts['product']):6,}  {product:10.2f}  {peer:7.2f}  "
        f"{product / peer:5.2f}  {memory['product']:12,}  {memory['peer']:9,}  "
        f"{in_transactions:12}  {longest * 1000:11.0f}",
        flush=True,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--certificates", type=int, nargs="+", default=[10_000, 100_000])
    parser.add_argument("--due", type=float, default=5.0, help="percent of them")
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.here:
        made = setup_databases(verbosity=0, interactive=False)
        try:
            measure(arguments.certificates[0], arguments.due, arguments.runs)
        finally:
            teardown_databases(made, verbosity=0)
        return
    print(
        f"On {connection.vendor}, {arguments.due:g} % due, people at a time: "
        f"{reminder_ledger.PEOPLE_AT_A_TIME}\n"
        "certificates     due  product, s  peer, s  ratio  product, KiB  peer, KiB  "
        "transactions  longest, ms",
        flush=True,
    )
    for certificates in arguments.certificates:
        subprocess.run(
            [
                *(sys.executable, "-m", "benchmarks.sweep", "--here"),
                *("--certificates", str(certificates)),
                *("--due", str(arguments.due), "--runs", str(arguments.runs)),
            ],
            check=True,
        )


if __name__ == "__main__":
    main()

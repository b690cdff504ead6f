"""The search, one keystroke at a time, beside bare SQL that looks for the same text in each table.

    .venv/bin/python -m benchmarks.searching [--people 1000 10000] [--runs 5]

Each size is measured in a process and a database of its own, on SQLite or on the server that
DATABASE_URL names. For each person there are ten certificates, five boards and twenty records
of work; a quarter of the names have letters beyond those of ASCII. The peer asks each table for
six rows that hold the text, whatever its capitals: it knows neither who may read what, nor
ranks, nor accents, nor words in any order, and stops at the sixth row that it meets. ``whole``
has it read on and sort, which a search that puts the best first cannot leave out.

Then, the same question put to the findings of a log of a million rows, beside reading them whole.
"""

import argparse
import io
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from functools import partial
from itertools import islice

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
django.setup()

import polars as pl  # noqa: E402
from django.core.files.base import ContentFile  # noqa: E402
from django.db import connection  # noqa: E402
from django.test.utils import setup_databases, teardown_databases  # noqa: E402

from assessments.models import Board  # noqa: E402
from audit.models import WorkLogCheck  # noqa: E402
from audit.queries.logged_rows import Wanted, rows_naming  # noqa: E402
from certification.models import Certificate  # noqa: E402
from people.models import Person, Stamp, User  # noqa: E402
from people.presenters import search  # noqa: E402
from tests.factories import (  # noqa: E402
    make_criteria_set,
    make_exercise,
    make_revision,
    make_scope,
    make_session,
    make_site,
    make_user,
)
from training.models import PracticeRecord  # noqa: E402

DAY = date(2026, 11, 25)
NOW = datetime(2026, 11, 25, 5, 7, tzinfo=UTC)
TYPED = ("signe ald", "muller", "CA-C-00", "wo-0012", "k12", "400431", "course")
GIVEN = ("Signe", "Łucja", "Marek", "Ilka", "Søren", "Bruno", "Ines", "Tove")
FAMILY = ("Aldous", "Müller", "Kowal", "Pell", "Norrgard", "Carrick", "Dvořák", "Hale", "Brandt")
AT_A_TIME = 2_000
CERTIFICATES, BOARDS, RECORDS = 10, 5, 20
LOG_ROWS = 1_000_000
COLUMNS = (
    ("people_person", "full_name"),
    ("people_person", "employee_number"),
    ("people_stamp", "mark"),
    ("assessments_board", "number"),
    ("assessments_board", "unit"),
    ("assessments_board", "work_order"),
    ("certification_certificate", "number"),
    ("certification_certificate", "outside_number"),
    ("training_practicerecord", "reference"),
    ("training_classsession", "number"),
    ("training_course", "title"),
    ("training_exercise", "code"),
    ("training_exercise", "title"),
    ("assessments_criterion", "code"),
)


def build(people: int) -> User:
    """A site with so many people and what they have made; its quality manager."""
    site = make_site()
    scope = make_scope()
    revision = make_revision(scope)
    exercises = [make_exercise() for _ in range(12)]
    for _ in range(60):
        make_session()
    make_criteria_set()
    for start in range(0, people, AT_A_TIME):
        numbers = range(start, min(start + AT_A_TIME, people))
        made = Person.objects.bulk_create(
            Person(
                employee_number=f"{400000 + n}",
                full_name=f"{GIVEN[n % 8]} {FAMILY[n % 9]} {n}",
                site=site,
                left_on=DAY - timedelta(days=9) if n % 11 == 0 else None,
            )
            for n in numbers
        )
        each = list(zip(numbers, made, strict=True))
        Stamp.objects.bulk_create(
            Stamp(mark=f"K{n}", person=person, issued_on=DAY - timedelta(days=90))
            for n, person in each
        )
        _in_lots(
            Certificate,
            (
                Certificate(
                    number=f"CA-C-{n * CERTIFICATES + nth:06d}",
                    person=person,
                    scope=scope,
                    scheme_revision=revision,
                    issued_on=DAY - timedelta(days=30 * nth),
                    valid_through=DAY,
                    origin=Certificate.Origin.IMPORTED,
                    holder_name=person.full_name,
                    recorded_at=NOW,
                )
                for n, person in each
                for nth in range(CERTIFICATES)
            ),
        )
        _in_lots(
            Board,
            (
                Board(
                    number=f"CA-B-{n * BOARDS + nth:06d}",
                    person=person,
                    site=site,
                    exercise=exercises[n % 12],
                    unit=f"SN-{n * BOARDS + nth}",
                    work_order=f"WO-{n:05d}",
                    handed_out_on=DAY,
                )
                for n, person in each
                for nth in range(BOARDS)
            ),
        )
        _in_lots(
            PracticeRecord,
            (
                PracticeRecord(
                    person=person,
                    scope_code=scope.code,
                    performed_on=DAY - timedelta(days=7 * nth),
                    reference=f"WO-{n:05d}/{nth}",
                    recorded_at=NOW,
                )
                for n, person in each
                for nth in range(RECORDS)
            ),
        )
    return make_user("quality", site=site)


def _in_lots(model: type, rows: Iterator) -> None:
    while lot := list(islice(rows, AT_A_TIME)):
        model.objects.bulk_create(lot)  # type: ignore[attr-defined]


def keystrokes() -> list[str]:
    """What stands in the field after each key."""
    return [typed[:end] for typed in TYPED for end in range(1, len(typed) + 1)]


def by_bare_sql(text: str, *, whole: bool) -> None:
    end = "ORDER BY 1 LIMIT 6" if whole else "LIMIT 6"
    with connection.cursor() as cursor:
        for table, column in COLUMNS:
            # The names are those above and no input.
            cursor.execute(
                f"SELECT {column}, id FROM {table} WHERE UPPER({column}) LIKE UPPER(%s) {end}",  # noqa: S608
                [f"%{text}%"],
            )
            cursor.fetchall()


def timed_ms(act: Callable[[], object]) -> float:
    begun = time.perf_counter()
    act()
    return (time.perf_counter() - begun) * 1000


def measure(people: int, runs: int) -> None:
    user_pk = build(people).pk
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    acts: dict[str, Callable[[User, str], object]] = {
        "product": lambda user, text: search.find(user, text, search.MOST_AS_TYPED),
        "peer": lambda user, text: by_bare_sql(text, whole=False),
        "whole": lambda user, text: by_bare_sql(text, whole=True),
    }
    times: dict[str, dict[str, list[float]]] = {name: {} for name in acts}
    for run in range(runs + 1):
        for text in keystrokes():
            for name, act in acts.items():
                user = User.objects.get(pk=user_pk)  # Its roles are read with each request.
                taken = timed_ms(partial(act, user, text))
                if run:  # The first warms what is read.
                    times[name].setdefault(text, []).append(taken)
    middle = {
        name: sorted(statistics.median(taken) for taken in by_text.values())
        for name, by_text in times.items()
    }
    product, peer, whole = (statistics.median(middle[name]) for name in acts)
    slowest = max(times["product"], key=lambda text: statistics.median(times["product"][text]))
    print(
        f"{people:7,}  {product:11.1f}  {peer:8.1f}  {whole:9.1f}  {product / peer:5.1f}  "
        f"{product / whole:11.2f}  {middle['product'][-1]:11.1f}  {slowest!r}",
        flush=True,
    )


def measure_log(runs: int) -> None:
    """A unit in the findings of a large log, beside reading them whole."""
    frame = pl.DataFrame(
        {
            "line": pl.int_range(2, LOG_ROWS + 2, eager=True, dtype=pl.Int64),
            "0": [f"{20000 + n % 10_000}" for n in range(LOG_ROWS)],
            "1": [f"SN-{n:07d}" for n in range(LOG_ROWS)],
            "day": [DAY] * LOG_ROWS,
            "scope_code": ["TERM"] * LOG_ROWS,
        }
    )
    content = io.BytesIO()
    frame.write_parquet(content)
    check = WorkLogCheck(
        asked_by=make_user("quality"),
        file_name="large.csv",
        size_bytes=1,
        sha256="0" * 64,
        zone="UTC",
        recorded_at=NOW,
        finished_at=NOW,
        rows=LOG_ROWS,
        headings=["employee_number", "unit"],
        columns=["0", "1"],
        findings_sha256="0" * 64,
    )
    check.findings.save("large", ContentFile(content.getvalue()), save=False)
    check.save()

    def whole() -> None:
        with check.findings.open("rb") as file:
            pl.read_parquet(io.BytesIO(file.read())).filter(pl.col("1") == "SN-0500000")

    def product() -> None:
        answer = rows_naming(WorkLogCheck.objects.all(), Wanted({"SN-0500000"}))
        if len(answer.rows) != 1:
            raise SystemExit("The log was not looked through as it should be.")

    try:
        taken = {
            act: statistics.median([timed_ms(act) for _run in range(runs + 1)][1:])
            for act in (product, whole)
        }
    finally:
        check.findings.storage.delete(str(check.findings.name))
    print(
        f"A log of {LOG_ROWS:,} rows: {taken[product]:.0f} ms, read whole {taken[whole]:.0f} ms, "
        f"ratio {taken[product] / taken[whole]:.2f}",
        flush=True,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--people", type=int, nargs="+", default=[1_000, 10_000])
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.here:
        made = setup_databases(verbosity=0, interactive=False)
        try:
            people = arguments.people[0]
            if people:
                measure(people, arguments.runs)
            else:
                measure_log(arguments.runs)
        finally:
            teardown_databases(made, verbosity=0)
        return
    print(
        f"On {connection.vendor}, medians over {len(keystrokes())} keystrokes, in ms\n"
        " people  product, ms  peer, ms  whole, ms  ratio  ratio whole  slowest, ms  typed",
        flush=True,
    )
    for people in (*arguments.people, 0):
        subprocess.run(
            [
                *(sys.executable, "-m", "benchmarks.searching", "--here"),
                *("--people", str(people), "--runs", str(arguments.runs)),
            ],
            check=True,
        )


if __name__ == "__main__":
    main()

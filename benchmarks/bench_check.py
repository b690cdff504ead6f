"""Bench-check requests a second, beside a view with the same token check that reads one row.

    .venv/bin/python -m benchmarks.bench_check [--people 2000] [--requests 600] [--runs 5]

One gunicorn serves both, with the site's settings, middleware and threads, from a SQLite
database filled for the purpose; the peer's address is added to the site's own by
`benchmarks.bench_check_urls`. A client on the same machine keeps a few connections open and
asks the one and the other in turn. Prints medians of several runs, and the ratio.
"""

import argparse
import http.client
import os
import shutil
import statistics
import tempfile
import threading
import time
from datetime import timedelta
from pathlib import Path
from urllib.parse import urlencode

from benchmarks.serving import READY_WITHIN_S, served

PORT = 8747
CONNECTIONS = 4


def fill(people: int) -> tuple[str, list[str]]:
    """Fill an empty database; return a token of the site and everybody's number."""
    import django

    django.setup()
    from django.core.management import call_command
    from django.db import connection
    from django.utils import timezone

    from certification.models import Certificate, Scope
    from certification.services import schemes, standing
    from interfaces.services import api_tokens
    from operations.services.new_database import make_tables_if_empty
    from people.models import Person, Site
    from people.services.sign_ins import NewSite, make_administrator
    from training.models import VisionTest

    make_tables_if_empty(connection)
    call_command("migrate", verbosity=0)
    now = timezone.now()
    administrator = make_administrator(
        employee_number="1",
        full_name="Administrator",
        password="of a database that is thrown away",  # noqa: S106
        at=now,
        new_site=NewSite("Castelmar", "CA", "Europe/Madrid"),
    )
    site = Site.objects.get()
    scope: Scope = schemes.create_scope(
        code="TERM-OP",
        title="Terminals, operator",
        level="operator",
        joint_types=["turret"],
        actor="benchmark",
        at=now,
    )
    revision = schemes.create_scheme_revision(
        scheme_code="HS-1",
        title="Hand soldering",
        figures=schemes.Figures(24, "same_day", 90, 12, 0),
        scopes=[scope],
        requirements=[],
        actor="benchmark",
        at=now,
    )
    numbers = [f"{10000 + offset}" for offset in range(people)]
    made = Person.objects.bulk_create(
        Person(employee_number=number, full_name=f"Person {number}", site=site)
        for number in numbers
    )
    day = site.today() - timedelta(days=100)
    VisionTest.objects.bulk_create(
        VisionTest(test_id=f"V-{person.pk}", person=person, tested_on=day, passed=True)
        for person in made
    )
    Certificate.objects.bulk_create(
        Certificate(
            number=f"CA-C-{person.pk}",
            person=person,
            scope=scope,
            scheme_revision=revision,
            issued_on=day,
            valid_through=day + timedelta(days=730),
            origin=Certificate.Origin.IMPORTED,
            holder_name=person.full_name,
            recorded_at=now,
        )
        for person in made
    )
    standing.rebuild_people(person.pk for person in made)
    _made, token = api_tokens.make_token(site=site, name="Benchmark", actor=administrator, at=now)
    return token, numbers


def requests_a_second(path: str, token: str, numbers: list[str], requests: int) -> float:
    """Ask about one person after another over a few open connections, and count the time."""
    share = requests // CONNECTIONS

    def ask(place: int) -> None:
        link = http.client.HTTPConnection("127.0.0.1", PORT, timeout=READY_WITHIN_S)
        for turn in range(share):
            number = numbers[(place * share + turn) % len(numbers)]
            query = urlencode({"employee_number": number, "scope": "TERM-OP"})
            link.request("GET", f"{path}?{query}", headers={"Authorization": f"Bearer {token}"})
            response = link.getresponse()
            body = response.read()
            if response.status != 200 or number.encode() not in body:
                raise SystemExit(f"{path} answered {response.status}: {body[:200]!r}")
        link.close()

    threads = [threading.Thread(target=ask, args=(place,)) for place in range(CONNECTIONS)]
    begun = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return share * CONNECTIONS / (time.perf_counter() - begun)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--people", type=int, default=2000)
    parser.add_argument("--requests", type=int, default=600)
    parser.add_argument("--runs", type=int, default=5)
    arguments = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="jointworthy-bench-check-"))
    os.environ |= {
        "DJANGO_SETTINGS_MODULE": "benchmarks.bench_check_settings",
        "DATA_DIR": str(folder),
        "SECRET_KEY": "of a server that lives as long as the benchmark, and no longer than it",
        "PUBLIC_URL": f"http://127.0.0.1:{PORT}",
        "API_REQUESTS_A_MINUTE": "10000000",
    }
    for name in ("DATABASE_URL", "CACHE_URL"):
        os.environ.pop(name, None)
    paths = {"bench check": "/api/v1/standing", "one row": "/api/one-row"}
    times: dict[str, list[float]] = {name: [] for name in paths}
    token, numbers = fill(arguments.people)
    with served("benchmarks.bench_check_urls:application", folder, PORT):
        for path in paths.values():
            requests_a_second(path, token, numbers, arguments.requests // 4)
        for _run in range(arguments.runs):
            for name, path in paths.items():
                times[name].append(requests_a_second(path, token, numbers, arguments.requests))
    shutil.rmtree(folder)
    product, peer = (statistics.median(times[name]) for name in paths)
    print(
        f"{arguments.people} people, {arguments.requests} requests, "
        f"medians of {arguments.runs} runs"
    )
    print("bench check, requests/s  one row, requests/s  ratio")
    print(f"{product:23.0f}  {peer:19.0f}  {product / peer:5.2f}")


if __name__ == "__main__":
    main()

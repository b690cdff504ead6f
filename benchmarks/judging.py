"""One judgement's time, beside a view with the same middleware that writes one row.

    .venv/bin/python -m benchmarks.judging [--judgements 200] [--runs 5]

One gunicorn serves both, with the site's settings, middleware and threads; the peer's address is
added to the site's own by `benchmarks.judging_urls`. One client on the same machine, signed in as
the grader, keeps a connection open and asks the one and the other in turn, so that whatever else
the machine does falls on both. Every judgement is of a place that was not judged before, as the
grading screen's script sends it. On SQLite, and on the server that DATABASE_URL names if it does.
Prints medians of several runs, and the ratio.
"""

import argparse
import http.client
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from urllib.parse import urlencode, urlsplit, urlunsplit
from uuid import uuid4

from benchmarks.serving import READY_WITHIN_S, served

PORT = 8748
CSRF = "c" * 32  # A cookie and a field that say the same, as the page has them.
A_BOARD = 40  # joints


def fill(judgements: int) -> tuple[str, list[tuple[str, dict[str, str]]], dict[str, str]]:
    """Begin as many boards as are to be judged.

    Returns
    -------
    session : str
        The key of the grader's session.
    asked : list of (address, fields)
        One judgement each, of a place that is not judged.
    peer : dict
        The fields that the peer is sent.
    """
    from django.test import Client
    from django.urls import reverse

    from assessments.services import grading as services
    from tests import factories
    from training.models import JointType

    factories.make_criteria_set()
    exercise = factories.make_exercise((JointType.TURRET,) * A_BOARD)
    site = factories.make_site()
    grader = factories.make_user("instructor", site=site)
    person = factories.make_person(site)
    requests: list[tuple[str, dict[str, str]]] = []
    while len(requests) < judgements:
        board = factories.make_board(person, exercise)
        grading = services.start_grading(board=board, grader=grader, at=factories.NOW)
        address = reverse("assessments:board_judge", args=[board.number])
        codes = grading.criteria_set.criteria.filter(
            stage="soldered", of="joint", how="eye"
        ).values_list("code", flat=True)
        for code in list(codes):
            for joint in board.joints.select_related("position"):
                fields = {"joint": str(joint), "criterion": code, "outcome": "accept"}
                requests.append((address, {"stage": "soldered", **fields}))
    client = Client()
    client.force_login(grader)
    peer = {"grading": str(grading.pk), "stage": "soldered"}
    return client.cookies["sessionid"].value, requests, peer


@contextmanager
def database() -> Iterator[None]:
    """An empty database: a file of SQLite's, or one more on PostgreSQL's server."""
    import django

    django.setup()
    from django.core.management import call_command
    from django.db import connection

    from operations.services.new_database import make_tables_if_empty

    given = os.environ.get("DATABASE_URL")
    if connection.vendor == "sqlite":
        make_tables_if_empty(connection)
        call_command("migrate", verbosity=0)
        yield
        return
    name = connection.settings_dict["NAME"]
    connection.settings_dict["TEST"]["MIGRATE"] = False
    made = connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
    parts = urlsplit(given or "")
    os.environ["DATABASE_URL"] = urlunsplit(parts._replace(path=f"/{made}"))
    try:
        yield
    finally:
        connection.close()
        connection.creation.destroy_test_db(name, verbosity=0)


class Grader:
    """A browser's one connection, signed in."""

    def __init__(self, session: str) -> None:
        self.link = http.client.HTTPConnection("127.0.0.1", PORT, timeout=READY_WITHIN_S)
        self.headers = {
            "Cookie": f"sessionid={session}; csrftoken={CSRF}",
            "Content-Type": "application/x-www-form-urlencoded",
            "Accept": "application/json",
        }

    def ms(self, address: str, fields: dict[str, str]) -> float:
        """Send one act, and say how long its answer took."""
        body = urlencode({**fields, "key": str(uuid4()), "csrfmiddlewaretoken": CSRF})
        begun = time.perf_counter()
        self.link.request("POST", address, body, self.headers)
        response = self.link.getresponse()
        answer = response.read()
        took = 1000 * (time.perf_counter() - begun)
        if answer != b'{"saved": true}':
            raise SystemExit(f"{address} answered {response.status}: {answer[:300]!r}")
        return took


def measure(judgements: int, runs: int) -> None:
    folder = Path(tempfile.mkdtemp(prefix="jointworthy-judging-"))
    os.environ |= {
        "DJANGO_SETTINGS_MODULE": "benchmarks.judging_settings",
        "DATA_DIR": str(folder),
        "SECRET_KEY": "of a server that lives as long as the benchmark, and no longer than it",
        "PUBLIC_URL": f"http://127.0.0.1:{PORT}",
    }
    (folder / "static").mkdir()
    os.environ.pop("CACHE_URL", None)
    medians: dict[str, list[float]] = {"judgement": [], "one row": []}
    warm = 20
    with database():
        from django.db import connection

        session, requests, peer = fill(warm + judgements * runs)
        vendor = connection.vendor
        connection.close()
        with served("benchmarks.judging_urls:application", folder, PORT):
            grader, acts = Grader(session), iter(requests)
            for address, fields in islice(acts, warm):
                grader.ms(address, fields)
                grader.ms("/one-row", peer)
            for _run in range(runs):
                took: dict[str, list[float]] = {name: [] for name in medians}
                for address, fields in islice(acts, judgements):
                    took["judgement"].append(grader.ms(address, fields))
                    took["one row"].append(grader.ms("/one-row", peer))
                for name, times in took.items():
                    medians[name].append(statistics.median(times))
            grader.link.close()
    shutil.rmtree(folder)
    product, row = (statistics.median(of_way) for of_way in medians.values())
    print(f"{vendor:10}  {product:13.2f}  {row:11.2f}  {product / row:5.2f}", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--judgements", type=int, default=200)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.here:
        measure(arguments.judgements, arguments.runs)
        return
    print(f"{arguments.judgements} judgements, medians of {arguments.runs} runs")
    print("            judgement, ms  one row, ms  ratio", flush=True)
    how = ["--judgements", str(arguments.judgements), "--runs", str(arguments.runs), "--here"]
    for url in dict.fromkeys(("", os.environ.get("DATABASE_URL", ""))):
        environment = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
        if url:
            environment["DATABASE_URL"] = url
        command = [sys.executable, "-m", "benchmarks.judging", *how]
        subprocess.run(command, env=environment, check=True)


if __name__ == "__main__":
    main()

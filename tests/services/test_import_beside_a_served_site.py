"""A register imported beside a site that serves: small ones pass, large ones wait for its end."""

import csv
import fcntl
import http.client
import subprocess
import sys
import threading
import time
from contextlib import closing
from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from audit.services.importing import MOST_BESIDE_OTHERS
from operations.models import Heartbeat
from people.models import Person
from records.models import TrailEntry
from records.queries.verification import verify_records
from records.services.site_to_oneself import FILE_NAME
from tests import ready_python
from tests.factories import make_board, make_exercise, make_site, make_user, write_down
from tests.services.processes import (
    CELERY,
    NOTHING_NEW_FOR_S,
    Process,
    free_port,
    held_still,
    kill,
    wait_until,
)

pytestmark = [
    pytest.mark.services,
    pytest.mark.django_db(transaction=True),
    pytest.mark.parametrize("link", ["folder"], indirect=True),
]

MANAGE = (sys.executable, str(settings.BASE_DIR / "manage.py"))
# What `make check` says of the site is not said here each time: it takes a second.
IMPORT = (*MANAGE, "import_register", "--skip-checks")
CSRF = "c" * 32


@pytest.fixture(autouse=True)
def site():
    return make_site("North", "NO")


def bundle_of(folder: Path, people: int) -> Path:
    folder.mkdir()
    with (folder / "people.csv").open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(["employee_number", "full_name", "email", "site"])
        rows.writerows([f"E{n:06d}", f"Person {n}", "", "North"] for n in range(people))
    return folder


def import_register(processes, folder: Path, *more: str) -> subprocess.CompletedProcess[str]:
    return ready_python.run(*IMPORT[1:], str(folder), *more, environment=processes.environment)


def start_web(processes) -> tuple[Process, int]:
    port = free_port()
    processes.environment["BIND"] = f"127.0.0.1:{port}"
    web = processes.start(sys.executable, "-m", "gunicorn", "-c", "python:config.gunicorn")
    return web, port


def ask(port: int, method: str, path: str, headers: dict[str, str]) -> tuple[int, float]:
    """The status that was answered, and the seconds until it was."""
    begun = time.monotonic()
    with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=60)) as link:
        link.request(method, path, "", headers)
        response = link.getresponse()
        response.read()
    return response.status, time.monotonic() - begun


def answers(port: int) -> bool:
    try:
        ask(port, "GET", "/health/check/", {})
    except OSError:
        return False
    return True


def is_taken() -> bool:
    """Whether somebody has the site to themselves."""
    with (settings.DATA_DIR / FILE_NAME).open("a") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except OSError:
            return True
    return False


def begin_import(processes, folder: Path) -> Process:
    """An import that has the site to itself, and has said what for."""
    file = settings.DATA_DIR / FILE_NAME
    file.write_bytes(b"")
    importing = processes.start(*IMPORT, str(folder))
    wait_until(
        lambda: file.stat().st_size > 0 or importing.poll() is not None,
        watch=importing.poll,
        every_s=0.005,
    )
    assert is_taken()
    assert importing.poll() is None
    return importing


@pytest.mark.one_database  # The lock is on a file.
def test_large_register_is_refused_while_the_site_is_served_or_background_work_goes_on(
    processes, tmp_path
):
    # An import that is killed gives the site back.
    kill(begin_import(processes, bundle_of(tmp_path / "larger", 4_000)))
    assert not Person.objects.exists()

    folder = bundle_of(tmp_path / "bundle", MOST_BESIDE_OTHERS + 1)
    web, port = start_web(processes)
    wait_until(lambda: answers(port), watch=web.poll)
    refused = import_register(processes, folder)
    assert refused.returncode == 1
    assert f"The register has {MOST_BESIDE_OTHERS + 1} rows" in refused.stderr
    assert "Stop it: Ctrl-C" in refused.stderr
    checked = import_register(processes, folder, "--check")
    assert "Checked: everything fits." in checked.stdout
    kill(web)

    for kind, start in (
        (Heartbeat.Kind.WORKER, processes.worker),
        (Heartbeat.Kind.CLOCK, lambda: processes.clock("tests.services.often")),
    ):
        Heartbeat.objects.all().delete()
        started = start()
        wait_until(lambda kind=kind: Heartbeat.objects.filter(kind=kind).exists())
        refused = import_register(processes, folder)
        assert refused.returncode == 1, kind
        assert f"The register has {MOST_BESIDE_OTHERS + 1} rows" in refused.stderr, kind
        kill(started)

    assert not Person.objects.exists()
    assert not TrailEntry.objects.filter(act="register imported").exists()
    assert "Taken in." in import_register(processes, folder).stdout
    assert Person.objects.count() == MOST_BESIDE_OTHERS + 1


STARTED = {
    "web": (sys.executable, "-m", "gunicorn", "-c", "python:config.gunicorn"),
    "another server": (sys.executable, "-m", "gunicorn", "config.wsgi:application"),
    "worker": (*CELERY, "config", "worker", "--concurrency", "1"),
    "clock": (*CELERY, "config", "beat", "--pidfile="),
    "everything": (*MANAGE, "serve"),
    "prepare": (*MANAGE, "prepare"),
}


@pytest.mark.one_database  # The lock is on a file.
def test_nobody_begins_to_serve_while_a_register_is_imported(processes, tmp_path):
    folder = bundle_of(tmp_path / "bundle", 4_000)
    importing = begin_import(processes, folder)
    with held_still(importing):
        processes.environment["BIND"] = f"127.0.0.1:{free_port()}"
        for name, command in STARTED.items():
            # None of them may find its port taken first.
            at = str(free_port())
            more = {"everything": ("--port", at), "another server": ("--bind", f"127.0.0.1:{at}")}
            refused = ready_python.run(
                *(*command[1:], *more.get(name, ())),
                environment=processes.environment,
                timeout=NOTHING_NEW_FOR_S,
            )
            said = refused.stdout + refused.stderr
            assert refused.returncode != 0, (name, said)
            assert "The site is not served while a register is imported" in said, (name, said)
            assert ("Traceback" in said) == (name == "another server"), (name, said)
        assert import_register(processes, folder).returncode == 1
        assert not Person.objects.exists()
    assert importing.wait() == 0
    assert Person.objects.count() == 4_000
    web, port = start_web(processes)
    wait_until(lambda: answers(port), watch=web.poll)
    write_down()
    assert verify_records().fits


def test_small_register_keeps_nobody_waiting(processes, tmp_path, capsys):
    """Somebody hands boards in, somebody reads, and a register of the largest size is imported."""
    folder = bundle_of(tmp_path / "bundle", MOST_BESIDE_OTHERS)
    web, port = start_web(processes)
    wait_until(lambda: answers(port), watch=web.poll)
    instructor = make_user("instructor")
    exercise = make_exercise()
    boards = [make_board(exercise=exercise).number for _ in range(400)]
    client = Client()
    client.force_login(instructor)
    session = client.cookies[settings.SESSION_COOKIE_NAME].value
    headers = {
        "Cookie": f"{settings.SESSION_COOKIE_NAME}={session}; {settings.CSRF_COOKIE_NAME}={CSRF}",
        "X-CSRFToken": CSRF,
    }
    over = threading.Event()
    written: list[tuple[int, float]] = []
    read: list[tuple[int, float]] = []

    def hand_in() -> None:
        while not over.is_set() and boards:
            path = reverse("assessments:board_hand_in", args=[boards.pop()])
            written.append(ask(port, "POST", path, headers))
            time.sleep(0.02)

    def look() -> None:
        while not over.is_set():
            read.append(ask(port, "GET", "/health/check/", {}))
            time.sleep(0.02)

    threads = [threading.Thread(target=hand_in), threading.Thread(target=look)]
    for thread in threads:
        thread.start()
    wait_until(lambda: min(len(written), len(read)) > 5, watch=lambda: (len(written), len(read)))
    before = len(written), len(read)
    imported = import_register(processes, folder)
    over.set()
    for thread in threads:
        thread.join()
    with capsys.disabled():
        print(
            f"\nlongest write {max(took for _, took in written):.2f} s of {len(written)}, "
            f"longest read {max(took for _, took in read):.2f} s of {len(read)}"
        )
    assert "Taken in." in imported.stdout, imported.stderr
    assert {status for status, _took in written} == {302}
    assert {status for status, _took in read} <= {200, 503}  # 503 is what it says without a worker
    # Nobody is turned away. How long one waits is for `benchmarks/importing.py` to say.
    assert len(written) > before[0]
    assert len(read) > before[1]

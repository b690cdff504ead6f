"""Photographs that unpack to much, sent at once to a real server: memory stays in its bound."""

import http.client
import json
import os
import sys
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse
from PIL import Image

from assessments.models import Photo
from people.models import User
from tests.assessments.pictures import encoded
from tests.assessments.test_decoding_memory import deep_png
from tests.conftest import leave_out
from tests.factories import make_board, make_exercise, make_user
from tests.services.processes import free_port, wait_until

pytestmark = [
    pytest.mark.services,
    pytest.mark.django_db(transaction=True),
    # Memory goes into pixels, whatever the database. No worker has a part in it, so one broker is
    # as good as the other.
    pytest.mark.one_database,
    pytest.mark.parametrize("link", ["folder"], indirect=True),
]

GIB = 1024**3
STATED_BYTES = int(1.5 * GIB)
"""As docs/running-a-site.md states it of a web process with what it starts."""
AT_ONCE = 6
MOST_TRIES = 40
PAGE = os.sysconf("SC_PAGE_SIZE")
CSRF = "c" * 32

SENT = {
    # 79 million pixels of 16 bits a colour, see-through, in 616 kB.
    "deep.png": lambda: deep_png(8_900, 8_900),
    # What decoding takes most of: as much as there may be.
    "wide.webp": lambda: encoded(Image.new("RGB", (6_500, 6_400), "teal"), "WEBP", method=0),
}


class Watch:
    """The most memory that a process held at once with all that it started, and how many."""

    def __init__(self, session: int) -> None:
        self.session = session
        self.most_bytes = 0
        self.most_decoders = 0
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._look, daemon=True)

    def _look(self) -> None:
        while not self._over.wait(0.02):
            held, decoders = 0, 0
            for process in Path("/proc").glob("[0-9]*"):
                try:
                    after_name = (process / "stat").read_text().rpartition(")")[2].split()
                    if int(after_name[3]) != self.session:
                        continue
                    held += int((process / "statm").read_text().split()[1]) * PAGE
                    decoders += b"decoder.py" in (process / "cmdline").read_bytes()
                except (OSError, IndexError):
                    continue  # It has ended meanwhile.
            self.most_bytes = max(self.most_bytes, held)
            self.most_decoders = max(self.most_decoders, decoders)

    @contextmanager
    def watching(self) -> Iterator[None]:
        self._thread.start()
        yield
        self._over.set()
        self._thread.join()


def answers(port: int) -> bool:
    try:
        with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=120)) as link:
            link.request("GET", "/health/check/")
            link.getresponse().read()
    except OSError:
        return False
    return True


@pytest.fixture
def web(processes):
    if not sys.platform.startswith("linux"):
        leave_out("only Linux tells what memory other processes hold")
    port = free_port()
    processes.environment["BIND"] = f"127.0.0.1:{port}"
    process = processes.start(sys.executable, "-m", "gunicorn", "-c", "python:config.gunicorn")
    wait_until(lambda: answers(port), watch=lambda: process.poll())
    return process, port


def session_of(user: User) -> str:
    client = Client()
    client.force_login(user)
    return client.cookies[settings.SESSION_COOKIE_NAME].value


def send(port: int, session: str, number: str, name: str, data: bytes) -> tuple[int, dict, float]:
    """Send one photograph as the page's script does, again where the site says so.

    Gives the last answer and the longest that one of them took, in seconds.
    """
    border = "----photograph"
    body = (
        (
            f'--{border}\r\nContent-Disposition: form-data; name="joint"\r\n\r\nboard\r\n'
            f'--{border}\r\nContent-Disposition: form-data; name="photos"; filename="{name}"\r\n'
            "Content-Type: application/octet-stream\r\n\r\n"
        ).encode()
        + data
        + f"\r\n--{border}--\r\n".encode()
    )
    headers = {
        "Content-Type": f"multipart/form-data; boundary={border}",
        "Accept": "application/json",
        "Cookie": f"{settings.SESSION_COOKIE_NAME}={session}; {settings.CSRF_COOKIE_NAME}={CSRF}",
        "X-CSRFToken": CSRF,
    }
    to, longest = reverse("assessments:board_photos_add", args=[number]), 0.0
    for _ in range(MOST_TRIES):
        begun = time.monotonic()
        with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=120)) as link:
            link.request("POST", to, body, headers)
            response = link.getresponse()
            answer = json.loads(response.read())
        longest = max(longest, time.monotonic() - begun)
        if response.status != http.client.SERVICE_UNAVAILABLE:
            break
        assert "other large photographs" in answer["says"]
        time.sleep(float(response.headers["Retry-After"]))
    return response.status, answer, longest


@pytest.mark.parametrize("name", SENT)
def test_six_at_once_by_one_trainee_stay_within_what_is_stated(web, name, capsys):
    process, port = web
    data = SENT[name]()
    trainee = make_user()
    exercise = make_exercise()
    boards = [make_board(exercise=exercise, person=trainee.person) for _ in range(AT_ONCE)]
    session = session_of(trainee)
    watch = Watch(process.pid)
    with watch.watching(), ThreadPoolExecutor(AT_ONCE + 1) as threads:
        sent = [threads.submit(send, port, session, board.number, name, data) for board in boards]
        time.sleep(0.5)
        begun = time.monotonic()
        assert answers(port)
        others_waited = time.monotonic() - begun
        still_under_way = [each for each in sent if not each.done()]
        came = [each.result() for each in sent]
    with capsys.disabled():
        print(
            f"\n{name}, {len(data) // 1000} kB: {watch.most_bytes / 1024**2:.0f} MiB at most, "
            f"longest answer {max(each[2] for each in came):.1f} s, others {others_waited:.1f} s"
        )
    assert [status for status, _answer, _took in came] == [200] * AT_ONCE, came
    assert Photo.objects.count() == AT_ONCE
    assert watch.most_decoders == 1
    assert watch.most_bytes < STATED_BYTES
    assert still_under_way  # Whoever asks for a page waits for none of them.


def test_a_picture_beyond_the_bound_is_refused_by_the_real_server(web):
    _process, port = web
    trainee = make_user()
    board = make_board(person=trainee.person)
    data = encoded(Image.new("RGB", (7_000, 6_400), "teal"), "WEBP", method=0)
    status, answer, _took = send(port, session_of(trainee), board.number, "wide.webp", data)
    assert status == 422
    assert "of memory to unpack" in answer["photos"][0]["says"]
    assert not Photo.objects.exists()

"""Two machines that serve one site with no disk in common, and what stands in front of them."""

import http.client
import sys
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from itertools import count, cycle
from pathlib import Path
from typing import Any

from django.conf import settings
from django.test import override_settings

from config.object_storage import storage_of
from tests.services.processes import Process, Processes, database_url, free_port, wait_until

OWN_HEADERS = {"connection", "keep-alive", "transfer-encoding", "content-length"}


class Machine:
    """One machine: a folder of its own, and nothing else that another one does not reach."""

    def __init__(
        self, folder: Path, *, files_url: str, redis_url: str, public_url: str, **more: str
    ) -> None:
        folder.mkdir()
        self.folder, self.port = folder, free_port()
        self.processes = Processes(
            {
                "DJANGO_SETTINGS_MODULE": "tests.machine_settings",
                "DATA_DIR": str(folder),
                "SECRET_KEY": settings.SECRET_KEY,
                "PUBLIC_URL": public_url,
                "BIND": f"127.0.0.1:{self.port}",
                "DATABASE_URL": database_url(),
                "CELERY_BROKER_URL": redis_url,
                "CACHE_URL": redis_url,
                "EMAIL_URL": f"smtp://127.0.0.1:{free_port()}",
                "FILES_URL": files_url,
                **more,
            },
            folder.with_suffix(".log"),
        )

    def serve(self) -> Process:
        web = self.processes.start(sys.executable, "-m", "gunicorn", "-c", "python:config.gunicorn")

        def answers() -> bool:
            try:
                return self.ask("GET", "/health/check/")[0] in (200, 503)
            except OSError:
                return False

        wait_until(answers, watch=web.poll)
        return web

    def ask(
        self, method: str, path: str, body: bytes = b"", **headers: str
    ) -> tuple[int, bytes, http.client.HTTPMessage]:
        with closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)) as link:
            link.request(method, path, body, headers)
            response = link.getresponse()
            return response.status, response.read(), response.headers


class RoundRobin:
    """A proxy that gives each request to the next machine, whoever sends it."""

    def __init__(self) -> None:
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), _Forward)
        self._server.daemon_threads = True
        self.url = f"http://127.0.0.1:{self._server.server_port}"
        self.asked: list[tuple[int, str]] = []

    def lead_to(self, ports: list[int]) -> None:
        turns, lock = cycle(ports), threading.Lock()

        def next_port(line: str) -> int:
            with lock:
                port = next(turns)
                self.asked.append((port, line))
                return port

        self._server.next_port = next_port  # type: ignore[attr-defined]

    def start(self) -> None:
        threading.Thread(target=self._server.serve_forever, daemon=True).start()

    def stop(self) -> None:
        self._server.shutdown()
        self._server.server_close()


class _Forward(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def forward(self) -> None:
        body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
        server: Any = self.server
        port = server.next_port(f"{self.command} {self.path}")
        sent = {name: text for name, text in self.headers.items() if name.lower() != "connection"}
        with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=120)) as link:
            link.request(self.command, self.path, body or None, sent)
            response = link.getresponse()
            data = response.read()
        self.send_response_only(response.status, response.reason)
        for name, text in response.getheaders():
            if name.lower() not in OWN_HEADERS:
                self.send_header(name, text)
        if response.status != 304:
            self.send_header("Content-Length", str(len(data)))
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(data)

    do_GET = do_HEAD = do_POST = do_PUT = do_PATCH = do_DELETE = do_OPTIONS = forward  # noqa: N815

    def log_message(self, *_args: Any) -> None:
        pass


class TwoMachines:
    """Stands in for pytest-django's live server: two machines behind a proxy, told by ``url``."""

    def __init__(self, folder: Path, *, files_url: str, redis_url: str) -> None:
        self._proxy = RoundRobin()
        self.url = self._proxy.url
        self._folder, self._names = folder, (f"machine-{number}" for number in count(1))
        self._address = {
            "files_url": files_url,
            "redis_url": redis_url,
            # By this name browsers take passkeys without TLS; pages are the same by either.
            "public_url": self.url.replace("127.0.0.1", "localhost"),
        }
        self._machines = self._two()
        self._proxy.lead_to([machine.port for machine in self._machines])
        self._proxy.start()
        # What pytest-django has set for each test that asks for a live server.
        self._live_server_modified_settings = override_settings(
            STORAGES={**settings.STORAGES, "default": storage_of(files_url)}
        )

    def _machine(self, **more: str) -> Machine:
        return Machine(self._folder / next(self._names), **self._address, **more)

    def _two(self, **more: str) -> list[Machine]:
        two = [self._machine(**more), self._machine(**more)]
        for machine in two:
            machine.serve()
        return two

    @contextmanager
    def started_with(self, **environment: str) -> Iterator[None]:
        """Two others in their place, with these settings besides."""
        others = self._two(**environment)
        self._proxy.lead_to([machine.port for machine in others])
        try:
            yield
        finally:
            self._proxy.lead_to([machine.port for machine in self._machines])
            for machine in others:
                machine.processes.end()

    @contextmanager
    def worker(self) -> Iterator[None]:
        """A third machine, whose worker does what is waiting."""
        machine = self._machine()
        machine.processes.worker()
        try:
            yield
        finally:
            machine.processes.end()

    @property
    def asked(self) -> list[tuple[int, str]]:
        """Each request so far: the port of the machine that had it, and its first line."""
        return self._proxy.asked

    def stop(self) -> None:
        self._proxy.stop()
        for machine in self._machines:
            machine.processes.end()

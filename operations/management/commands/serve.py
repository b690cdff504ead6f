"""`manage.py serve`: the whole site from one command, which `make run` calls."""

import http.client
import os
import socket
import sys
import threading
import time
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.shortcuts import resolve_url

from operations.queries import own_machine
from operations.services.processes import run_together
from records.exceptions import SiteIsTaken
from records.services.site_to_oneself import held_while_serving

READY_WITHIN_S = 60.0


class Command(BaseCommand):
    help = "Serves the site with its background work until Ctrl-C."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--host", help="address to listen on; that of BIND by default")
        parser.add_argument("--port", type=int, help="port to listen on; that of BIND by default")
        parser.add_argument(
            "--demo", action="store_true", help="load the demo scenario into an empty database"
        )

    def handle(
        self, *args: Any, host: str | None, port: int | None, demo: bool, **options: Any
    ) -> None:
        bound_host, bound_port = address_of(settings.BIND)
        host = bound_host if host is None else host.strip("[]")
        try:
            with held_while_serving():
                self.serve(host, bound_port if port is None else port, demo)
        except SiteIsTaken as taken:
            raise CommandError(str(taken)) from taken

    def serve(self, host: str, port: int, demo: bool) -> None:
        bind = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
        try:
            if demo:
                own_machine.refuse_demo_elsewhere(bind=bind)
            refuse_taken_port(host, port)
            self.write_line("Preparing the database and the static files.")
            call_command("prepare")
            own_machine.refuse_loaded_demo_elsewhere(bind=bind)
            if demo:
                call_command("load_demo", if_empty=True, bind=bind, stdout=self.stdout)
        except own_machine.DemoRefused as error:
            raise CommandError(str(error)) from error
        except KeyboardInterrupt:
            self.write_line("Stopped before anything was served. Start again when you like.")
            return
        ended = run_together(
            commands(),
            # This command has made Django's checks, which read every address: once is enough.
            environment=os.environ | {"BIND": bind, "CELERY_SKIP_CHECKS": "yes"},
            when_started=lambda: self.greet_when_ready(host, port, bind),
            when_stopping=lambda: self.write_line("\nStopping, once the jobs in hand are done."),
        )
        if ended:
            raise CommandError(
                f"The {ended} process ended by itself, so everything was stopped. "
                "Its last words are above."
            )
        self.write_line("Stopped. What was entered is kept.")

    def greet_when_ready(self, host: str, port: int, bind: str) -> None:
        threading.Thread(target=self.greet, args=(host, port, bind), daemon=True).start()

    def greet(self, host: str, port: int, bind: str) -> None:
        """Say where it listens and who may sign in to its demo, once it answers."""
        if wait_until_it_answers(host, port):
            self.write_line(f"Listening on {bind}.")
            call_command("demo_sign_ins", bind=bind, stdout=self.stdout)
            self.write_line("Ctrl-C stops it.")

    def write_line(self, sentence: str) -> None:
        self.stdout.write(sentence)
        self.stdout.flush()


def commands() -> dict[str, list[str]]:
    """The processes that make up the site, on the Python that runs this."""
    scripts = Path(sys.executable).parent
    worker = [
        *(str(scripts / "celery"), "--quiet", "-A", "config", "worker"),
        *("--loglevel", "WARNING", "--without-gossip", "--without-mingle"),
        "--without-heartbeat",
    ]
    return {
        "web": [str(scripts / "gunicorn"), "-c", "python:config.gunicorn"],
        "worker": [*worker, "--queues", "celery"],
        "reminders": [
            *(*worker, "--queues", "reminders", "--beat"),
            *("--hostname", "reminders@%h", "--concurrency", "2"),
        ],
    }


def address_of(bind: str) -> tuple[str, int]:
    """Host and port of an address such as ``127.0.0.1:8000``, ``[::]:80`` or ``:8000``.

    Without a host it is every address of the machine, as gunicorn takes it.

    Raises
    ------
    CommandError
        If it is neither, such as a socket's path, by which `serve` cannot tell that it answers.
    """
    host, colon, port = bind.rpartition(":")
    is_port = port.isdecimal() and len(port) <= 5 and 0 < int(port) < 65536
    if not colon or not is_port or "/" in host:
        raise CommandError(
            f"BIND is {bind}: `serve` needs an address and a port, such as 127.0.0.1:8000. "
            "To listen on a socket's path, start gunicorn as docs/running-a-site.md says."
        )
    return host.strip("[]") or "0.0.0.0", int(port)  # noqa: S104 - said so by whoever set it


def refuse_taken_port(host: str, port: int) -> None:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family) as trial:
        trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((host, port))
        except OSError as error:
            raise CommandError(
                f"{host}:{port} cannot be used ({error.strerror}): stop what listens there, or "
                f"choose another port with `make run PORT={port + 1}`."
            ) from error


def wait_until_it_answers(host: str, port: int) -> bool:
    own = {"0.0.0.0": "127.0.0.1", "": "127.0.0.1", "::": "::1"}  # noqa: S104 - compared, not bound
    host = own.get(host, host)
    until = time.monotonic() + READY_WITHIN_S
    while time.monotonic() < until:
        try:
            link = http.client.HTTPConnection(host, port, timeout=READY_WITHIN_S)
            link.request("GET", resolve_url(settings.LOGIN_URL), headers={"Host": "localhost"})
            link.getresponse().read()
        except OSError:
            time.sleep(0.2)
        else:
            link.close()
            return True
    return False

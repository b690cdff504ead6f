"""A Python that has imported the libraries, of which processes of the site are forked.

Half of what a process does until it is at work is importing libraries: a test that starts several
waits for each. One process a run has imported them and nothing that knows of settings; what is
asked for comes about in a fork of it, with the environment, the folder and the arguments of its
own, as ``python -m celery …`` or ``python manage.py …`` would: it reads the settings, imports the
apps and ends by itself. `test_heartbeats.py` and `test_first_day.py` start theirs anew, as a site
does.
"""

import atexit
import gc
import importlib
import json
import os
import re
import runpy
import select
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from functools import cache
from pathlib import Path
from tempfile import TemporaryFile
from typing import IO, Any

TOP = Path(__file__).parent.parent
APPS = (
    *("config", "demo", "operations", "interfaces", "audit", "reminders", "certification"),
    *("assessments", "training", "people", "records"),
)
IMPORTS = re.compile(r"^(?:from ([\w.]+) )?import ([\w., ]+)", re.MULTILINE)
BESIDE = (
    *("celery.bin.celery", "celery.apps.worker", "celery.apps.beat", "celery.concurrency.prefork"),
    *("celery.fixups.django", "celery.loaders.app", "celery.worker.consumer", "celery.utils.log"),
    *("kombu.transport.redis", "gunicorn.app.wsgiapp", "gunicorn.workers.gthread"),
    *("django.core.management.commands.migrate", "django.core.servers.basehttp"),
    *("django.db.backends.sqlite3.base", "django.db.backends.postgresql.base", "django.test"),
    *("django.views.generic", "django.contrib.admin.utils", "django.contrib.staticfiles.storage"),
)
"""What the site is served and worked by, and names in no file of its own."""
AT_THE_START = ("prometheus_client",)
"""What reads the environment when it is imported."""
LONGEST_REQUEST = 1 << 20


class Forked:
    """A process, as `subprocess.Popen` would tell of it."""

    def __init__(
        self,
        command: tuple[str, ...],
        *,
        environment: dict[str, str],
        output: int | None = None,
        errors: int | None = None,
        given: int | None = None,
    ) -> None:
        """Start what comes after the name of Python: ``-m module …``, or ``manage.py …``.

        What it says is to be read from ``stdout`` where no file is named for it.
        """
        self.args = command
        self.returncode: int | None = None
        self.stdout: IO[str] | None = None
        request = {"command": command, "environment": environment}
        told, tell = os.pipe()
        with ExitStack() as ours:
            ours.callback(os.close, tell)
            if given is None:
                given = ours.enter_context(Path(os.devnull).open()).fileno()
            if output is None:
                said, output = os.pipe()
                ours.callback(os.close, output)
                self.stdout = os.fdopen(said)
            files = [given, output, output if errors is None else errors, tell]
            socket.send_fds(_server(), [json.dumps(request).encode()], files)
        self._told: IO[str] = os.fdopen(told)
        self.pid = int(self._told.readline())

    def poll(self) -> int | None:
        if self.returncode is None and select.select([self._told], [], [], 0)[0]:
            self.wait()
        return self.returncode

    def wait(self, timeout: float | None = None) -> int:
        if self.returncode is None:
            if not select.select([self._told], [], [], timeout)[0]:
                raise subprocess.TimeoutExpired(self.args, timeout or 0)
            self.returncode = int(self._told.readline())
            self._told.close()
        return self.returncode

    def terminate(self) -> None:
        if self.poll() is None:
            os.kill(self.pid, signal.SIGTERM)


def run(
    *command: str, environment: dict[str, str], given: str = "", timeout: float | None = None
) -> subprocess.CompletedProcess[str]:
    """What `subprocess.run` would give of ``python`` and this."""
    with TemporaryFile("w+") as said, TemporaryFile("w+") as wrong, TemporaryFile("w+") as read:
        read.write(given)
        read.seek(0)
        files = {"output": said.fileno(), "errors": wrong.fileno(), "given": read.fileno()}
        process = Forked(command, environment=environment, **files)
        try:
            status = process.wait(timeout)
        except BaseException:
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            raise
        for file in (said, wrong):
            file.seek(0)
        return subprocess.CompletedProcess(command, status, said.read(), wrong.read())


@cache
def _server() -> socket.socket:
    """The process that has imported them, which ends when this one has."""
    own, its = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    own.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, LONGEST_REQUEST)
    with its:
        process = subprocess.Popen(
            [sys.executable, __file__, str(its.fileno())],
            cwd=TOP,
            env={"PATH": os.environ["PATH"]},
            pass_fds=[its.fileno()],
            start_new_session=True,
        )

    def end() -> None:
        own.close()
        process.wait()

    atexit.register(end)
    return own


def libraries() -> Iterator[str]:
    """What the site's files import that is not the site's, and the site's rules by themselves."""
    found = dict.fromkeys(BESIDE)
    for app in APPS:
        for path in (TOP / app).rglob("*.py"):
            # Pictures are decoded by processes of their own, which start anew wherever they do.
            if not {"migrations", "imaging"}.isdisjoint(path.parts):
                continue
            for module, names in IMPORTS.findall(path.read_text()):
                words = [name.split()[0] for name in names.split(",") if name.split()]
                # Of a package's names some are modules of it.
                found |= dict.fromkeys([module] if module else words)
                found |= dict.fromkeys(f"{module}.{word}" for word in words if module)
    for name in found:
        first, _, rest = name.partition(".")
        # The domain imports neither Django nor what knows of settings: a contract holds it to that.
        is_ours = first in APPS and not rest.startswith("domain")
        if first and first not in AT_THE_START and not is_ours:
            yield name


def import_libraries() -> None:
    with Path(os.devnull).open("w") as nothing:
        said = sys.stderr
        sys.stderr = nothing  # What cannot be had without settings says so at length.
        for name in libraries():
            with suppress(Exception):
                importlib.import_module(name)
        sys.stderr = said


def fork_what_is_asked_for(link: socket.socket) -> dict[str, Any] | None:
    """Fork again and again; in a fork what it is to be, None once nobody asks any more."""
    telling: dict[int, int] = {}

    def tell(*_signal: object) -> None:
        with suppress(ChildProcessError):
            while (ended := os.waitpid(-1, os.WNOHANG))[0]:
                pid, status = ended
                with suppress(BrokenPipeError):
                    os.write(telling[pid], f"{os.waitstatus_to_exitcode(status)}\n".encode())
                os.close(telling.pop(pid))

    signal.signal(signal.SIGCHLD, tell)
    while True:
        data, files, _flags, _address = socket.recv_fds(link, LONGEST_REQUEST, 4)
        if not data:
            return None
        signal.pthread_sigmask(signal.SIG_BLOCK, [signal.SIGCHLD])
        pid = os.fork()
        if pid:
            *others, telling[pid] = files
            for each in others:
                os.close(each)
            signal.pthread_sigmask(signal.SIG_UNBLOCK, [signal.SIGCHLD])
            continue
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        signal.pthread_sigmask(signal.SIG_UNBLOCK, [signal.SIGCHLD])
        os.setsid()
        os.write(files[3], f"{os.getpid()}\n".encode())
        for number, each in enumerate(files[:3]):
            os.dup2(each, number)
        link.close()
        for each in (*files, *telling.values()):
            os.close(each)
        return dict(json.loads(data))


def become(command: list[str], environment: dict[str, str]) -> None:
    """Go on as Python would that was started so."""
    os.environ.clear()
    os.environ.update(environment)
    there = TOP if command[0] == "-m" else (TOP / command[0]).parent
    sys.path[0:1] = [str(there), *filter(None, environment.get("PYTHONPATH", "").split(":"))]
    if command[0] == "-m":
        sys.argv = command[1:]
        runpy.run_module(command[1], run_name="__main__", alter_sys=True)
    else:
        sys.argv = command
        runpy.run_path(command[0], run_name="__main__")


if __name__ == "__main__":
    sys.path[0] = str(TOP)
    import_libraries()
    gc.collect()
    gc.freeze()
    if asked := fork_what_is_asked_for(socket.socket(fileno=int(sys.argv[1]))):
        become(**asked)

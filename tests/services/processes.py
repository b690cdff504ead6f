"""Workers, clocks and servers as processes of their own, and how a test waits for them."""

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any
from urllib.parse import quote

from django.conf import settings
from django.db import connection
from redis import Redis
from redis.exceptions import RedisError

from assessments.models import Rendition
from operations.models import Heartbeat
from reminders.models import Message, Reminder, SiteSweep
from tests.conftest import leave_out
from tests.ready_python import Forked

NOTHING_NEW_FOR_S = 150.0
CELERY = (sys.executable, "-m", "celery", "--quiet", "-A")
Process = subprocess.Popen[bytes] | Forked


def traces() -> tuple[Any, ...]:
    """What workers leave behind while they get on."""
    return (
        Reminder.objects.count(),
        Message.objects.count(),
        Message.objects.filter(sent_at__isnull=False).count(),
        Rendition.objects.count(),
        sorted(SiteSweep.objects.values_list("site", "finished_at")),
        Heartbeat.objects.exclude(kind=Heartbeat.Kind.WORKER).count(),
        Heartbeat.objects.filter(kind=Heartbeat.Kind.WORKER).exists(),
    )


def wait_until(
    done: Callable[[], bool],
    *,
    watch: Callable[[], Any] = traces,
    every_s: float = 0.1,
    meanwhile: Callable[[], None] = lambda: None,
) -> None:
    """Wait for what a worker is to bring about; fail once it has got no further for long.

    How long all of it takes depends on the machine, so there is no limit to that.
    """
    before, since = watch(), time.monotonic()
    while not done():
        time.sleep(every_s)
        meanwhile()
        now = watch()
        if now != before:
            before, since = now, time.monotonic()
        stuck = time.monotonic() - since
        assert stuck < NOTHING_NEW_FOR_S, f"Nothing new for {stuck:.0f} s, and it is not done."


class Processes:
    """Starts processes of the site in one environment, and kills what is left at the end."""

    def __init__(self, environment: dict[str, str], log: Path) -> None:
        self.environment = (
            os.environ
            | {
                "DJANGO_SETTINGS_MODULE": "config.settings",
                # Django's checks read every address, a second for each process, and say each time
                # what `make check` does; `test_heartbeats.py` starts one of each with them.
                "CELERY_SKIP_CHECKS": "yes",
            }
            | environment
        )
        self.log = log
        self.as_a_site_does = False
        """Whether each is to start anew, and not with the libraries imported."""
        self._started: list[Process] = []

    def start(self, *command: str) -> Process:
        with self.log.open("ab") as stream:
            process: Process
            if self.as_a_site_does:
                process = subprocess.Popen(
                    command,
                    env=self.environment,
                    cwd=settings.BASE_DIR,
                    stdout=stream,
                    stderr=stream,
                    start_new_session=True,
                )
            else:
                python, *rest = command
                assert python == sys.executable
                process = Forked((*rest,), environment=self.environment, output=stream.fileno())
        self._started.append(process)
        return process

    def worker(self, app: str = "config", *more: str) -> Process:
        return self.start(
            *(*CELERY, app, "worker", "--loglevel", "WARNING", "--concurrency", "1"),
            *("--without-gossip", "--without-mingle", "--without-heartbeat"),
            *("--hostname", f"w{len(self._started)}@%h", *more),
        )

    def clock(self, app: str = "config") -> Process:
        number = len(self._started)
        return self.start(
            *(*CELERY, app, "beat", "--loglevel", "WARNING", "--pidfile="),
            *("--schedule", str(self.log.with_name(f"beat-schedule-{number}"))),
        )

    def end(self) -> None:
        for process in self._started:
            kill(process)
        if self.log.exists():
            print(self.log.read_text())


def kill(process: Process) -> None:
    """Kill a process and its children at once, as a power cut would."""
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()


@contextmanager
def held_still(process: Process) -> Iterator[None]:
    """Stop a process and its children where they are, and let them go on at the end.

    What is done meanwhile happens in the middle of their work, however fast they are.
    """
    os.killpg(process.pid, signal.SIGSTOP)
    try:
        yield
    finally:
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGCONT)


def database_url() -> str:
    """The test's database, as the environment would name it."""
    given = connection.settings_dict
    if connection.vendor == "sqlite":
        return f"sqlite:///{given['NAME']}"
    user, password = (quote(str(given[key] or ""), safe="") for key in ("USER", "PASSWORD"))
    return f"postgresql://{user}:{password}@{given['HOST']}:{given['PORT']}/{given['NAME']}"


def free_port() -> int:
    with closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


class OwnRedis:
    """A Redis of a test's own that keeps nothing, and comes back on the same port."""

    def __init__(self, folder: Path) -> None:
        self.program = shutil.which("redis-server")
        if self.program is None:
            leave_out("redis-server is not installed")
        self.folder = folder
        self.port = free_port()
        self.url = f"redis://127.0.0.1:{self.port}/0"
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        self._process = subprocess.Popen(
            [
                *(str(self.program), "--port", str(self.port), "--bind", "127.0.0.1"),
                *("--save", "", "--appendonly", "no", "--dir", str(self.folder)),
            ],
            stdout=subprocess.DEVNULL,
        )
        wait_until(self.answers, watch=lambda: None)

    def answers(self) -> bool:
        with Redis.from_url(self.url) as redis:
            try:
                return bool(redis.ping())
            except (RedisError, OSError):
                return False

    def empty(self) -> None:
        with Redis.from_url(self.url) as redis:
            redis.flushall()

    def stop(self) -> None:
        """End it at once; what was in it is gone."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None


class OwnPostgres:
    """A PostgreSQL of a test's own that can be restarted in the middle of something."""

    def __init__(self, folder: Path) -> None:
        programs = sorted(
            Path("/usr/lib/postgresql").glob("*/bin"), key=lambda at: int(at.parent.name)
        )
        if not programs:
            leave_out("PostgreSQL's programs are not in /usr/lib/postgresql")
        self.programs = programs[-1]
        self.folder = folder
        self.port = free_port()
        # It refuses to run as root.
        self.user = "postgres" if os.geteuid() == 0 else None
        if self.user:
            shutil.chown(folder, self.user)
        self._run("initdb", "-D", str(folder / "data"), "-U", "postgres", "--auth=trust",
                  "-E", "UTF8", "--locale=C.UTF-8", "--no-sync")  # fmt: skip

    def _run(self, program: str, *arguments: str) -> None:
        subprocess.run(
            [str(self.programs / program), *arguments],
            check=True,
            user=self.user,
            group=self.user,
            extra_groups=[] if self.user else None,
            cwd=self.folder,
            env={"PATH": os.environ["PATH"], "LC_ALL": "C.UTF-8"},
            stdout=subprocess.DEVNULL,
        )

    def start(self) -> None:
        options = (
            f"-p {self.port} -c listen_addresses=127.0.0.1 -c unix_socket_directories='' "
            "-c fsync=off"
        )
        log = str(self.folder / "log")
        self._run(
            "pg_ctl", "-D", str(self.folder / "data"), "-w", "-l", log, "-o", options, "start"
        )

    def stop(self) -> None:
        """Stop it as a crash would: every connection breaks, what was not committed is gone."""
        self._run("pg_ctl", "-D", str(self.folder / "data"), "-w", "-m", "immediate", "stop")

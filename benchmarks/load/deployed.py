"""The site as it is deployed, with PostgreSQL, Redis and Caddy of its own, as plain processes.

The processes and their arguments are those of `operations.domain.site_processes`, which compose and
the systemd units start as well; the settings are those that `deploy/install.sh` writes, and Caddy's
are in the file that it fills in. Caddy ends TLS here as it does there.
"""

import http.client
import os
import pwd
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import psutil

from operations.domain.site_processes import PREPARE, SERVED_BY

TOP = Path(__file__).resolve().parents[2]
READY_WITHIN_S = 120.0
STOPPED_WITHIN_S = 60.0
DATABASE = "jointworthy"
WEB, POSTGRES, REDIS, CADDY = "web", "postgres", "redis", "caddy"
HOST = "127.0.0.1"
OWN_CADDY = """{{
	admin off
	auto_https disable_redirects
	skip_install_trust
	storage file_system "{folder}"
}}
"""
"""What a Caddy needs beside the site's part to leave this machine as it was."""


def free_port() -> int:
    with socket.socket() as trial:
        trial.bind((HOST, 0))
        return int(trial.getsockname()[1])


def as_postgres() -> list[str]:
    """What comes before a command of PostgreSQL's, which refuses to run as root."""
    if os.geteuid() != 0:
        return []
    return ["setpriv", "--reuid=postgres", "--regid=postgres", "--init-groups"]


def program(name: str) -> str:
    """A program of PostgreSQL's: Debian has the newest where no PATH leads."""
    places = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    found = str(places[-1]) if places else shutil.which(name)
    if not found:
        raise SystemExit(f"{name} is not installed: install Debian's package postgresql.")
    return found


def wait_for(ready: Callable[[], bool], what: str, log: Path) -> None:
    until = time.monotonic() + READY_WITHIN_S
    while not ready():
        if time.monotonic() > until:
            raise SystemExit(f"{what} did not start: {log} says why.")
        time.sleep(0.2)


class Deployed:
    """Every process of a site, each of which can be killed and started again.

    Parameters
    ----------
    folder : Path
        PostgreSQL's cluster, Redis' queue, the site's own files and every log. The cluster is kept
        from one run to the next.
    more : dict, optional
        Environment beside what a deployed site is given.
    proxy : bool
        Whether Caddy stands in front. Without it people ask the web process itself, by http.
    """

    def __init__(
        self, folder: Path, more: dict[str, str] | None = None, *, proxy: bool = True
    ) -> None:
        self.folder = folder
        self.proxy = proxy
        self.logs = folder / "logs"
        self.data = folder / "data"
        self.ports = {name: free_port() for name in (WEB, POSTGRES, REDIS, CADDY)}
        self.running: dict[str, subprocess.Popen[bytes]] = {}
        self.environment = {
            name: value
            for name, value in os.environ.items()
            if name in ("PATH", "HOME", "LANG", "TZ")
        } | {
            "DJANGO_SETTINGS_MODULE": "benchmarks.load.settings",
            "PYTHONPATH": str(TOP),
            "PUBLIC_URL": self.address,
            "BIND": f"{HOST}:{self.ports[WEB]}",
            "DATA_DIR": str(self.data),
            "SECRET_KEY": "of a site that lives as long as a benchmark does, and no longer",
            "DATABASE_URL": self.database_url(DATABASE),
            "CELERY_BROKER_URL": f"redis://{HOST}:{self.ports[REDIS]}/0",
            "CACHE_URL": f"redis://{HOST}:{self.ports[REDIS]}/1",
            "WEB_WORKERS": "4",
            **(more or {}),
        }
        for each in (self.logs, self.data, folder / REDIS, folder / CADDY):
            each.mkdir(parents=True, exist_ok=True)

    @property
    def address(self) -> str:
        """What people type."""
        if self.proxy:
            return f"https://{HOST}:{self.ports[CADDY]}"
        return f"http://{HOST}:{self.ports[WEB]}"

    def database_url(self, name: str) -> str:
        return f"postgresql://postgres@{HOST}:{self.ports[POSTGRES]}/{name}"

    # One process

    def start(self, name: str) -> None:
        """Start a process by its name, and come back once it is ready."""
        start, ready = {
            POSTGRES: (self._postgres, self._postgres_answers),
            REDIS: (self._redis, self._redis_answers),
            CADDY: (self._caddy, lambda: self._listens(CADDY)),
        }.get(name, (lambda: self._of_site(name), lambda: True))
        start()
        if name == WEB:
            ready = self._web_answers
        wait_for(ready, name, self.logs / f"{name}.log")

    def kill(self, name: str) -> None:
        """Kill a process with all that it started, as a power cut would."""
        process = self.running.pop(name)
        there = [psutil.Process(process.pid)]
        with suppress(psutil.NoSuchProcess):
            there += there[0].children(recursive=True)
        for each in there:
            with suppress(psutil.NoSuchProcess):
                each.send_signal(signal.SIGKILL)
        process.wait()
        psutil.wait_procs(there[1:], timeout=STOPPED_WITHIN_S)

    def stop(self, name: str) -> None:
        """Ask a process to stop; kill it if it does not."""
        process = self.running.get(name)
        if process is None:
            return
        # PostgreSQL waits for nobody's connection by this one.
        asked = signal.SIGINT if name == POSTGRES else signal.SIGTERM
        with suppress(psutil.NoSuchProcess):
            self._main(process).send_signal(asked)
        try:
            process.wait(STOPPED_WITHIN_S)
            self.running.pop(name)
        except subprocess.TimeoutExpired:
            self.kill(name)

    @staticmethod
    def _main(process: subprocess.Popen[bytes]) -> psutil.Process:
        return psutil.Process(process.pid)

    def run(self, name: str, *command: str, environment: dict[str, str] | None = None) -> None:
        """Start a command of ours that stays, with its log under its name."""
        with (self.logs / f"{name}.log").open("ab") as log:
            self.running[name] = subprocess.Popen(
                command,
                env=self.environment if environment is None else environment,
                cwd=TOP,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )

    def manage(self, *arguments: str, database: str = DATABASE) -> None:
        """Run a command of ours to its end."""
        environment = self.environment | {"DATABASE_URL": self.database_url(database)}
        subprocess.run([sys.executable, *arguments], env=environment, cwd=TOP, check=True)

    # The site

    def _of_site(self, name: str) -> None:
        command = [*SERVED_BY[name]]
        if name == WEB:
            command += ["benchmarks.load.application:application"]
        self.run(name, str(Path(sys.executable).parent / command[0]), *command[1:])

    def _web_answers(self) -> bool:
        try:
            link = http.client.HTTPConnection(HOST, self.ports[WEB], timeout=READY_WITHIN_S)
            link.request("GET", "/bare/ready")
            answered = link.getresponse().status == 200
            link.close()
        except OSError:
            return False
        return answered

    def prepare(self) -> None:
        self.manage(*PREPARE[1:])

    # Its servers

    def _caddy(self) -> None:
        caddy = shutil.which("caddy")
        if not caddy:
            raise SystemExit(
                "caddy is not installed: install Debian's package of the name, or leave it out by "
                "--without-proxy."
            )
        text = OWN_CADDY.format(folder=self.folder / CADDY)
        text += (TOP / "deploy/jointworthy.caddy").read_text()
        for word, meant in {
            "@ADDRESS@": self.address,
            "@TLS@": "tls internal",
            "@SERVED@": self.environment["BIND"],
        }.items():
            text = text.replace(word, meant)
        written = self.folder / CADDY / "Caddyfile"
        written.write_text(text)
        self.run(CADDY, *(caddy, "run", "--adapter", "caddyfile", "--config", str(written)))

    def _listens(self, name: str) -> bool:
        try:
            socket.create_connection((HOST, self.ports[name]), timeout=5).close()
        except OSError:
            return False
        return True

    def _redis(self) -> None:
        redis = shutil.which("redis-server")
        if not redis:
            raise SystemExit("redis-server is not installed: install Debian's package of the name.")
        self.run(
            REDIS,
            *(redis, "--port", str(self.ports[REDIS]), "--bind", HOST),
            *("--dir", str(self.folder / "redis"), "--appendonly", "yes"),
        )

    def _redis_answers(self) -> bool:
        try:
            with socket.create_connection((HOST, self.ports[REDIS]), timeout=5) as link:
                link.sendall(b"PING\r\n")
                return link.recv(64).startswith(b"+PONG")
        except OSError:
            return False

    def _postgres(self) -> None:
        cluster = self.folder / POSTGRES
        if not (cluster / "PG_VERSION").exists():
            self._make_cluster(cluster)
        self.run(
            POSTGRES,
            *(*as_postgres(), program("postgres"), "-D", str(cluster)),
            *("-c", f"port={self.ports[POSTGRES]}", "-c", f"listen_addresses={HOST}"),
            *("-c", "unix_socket_directories="),
            environment=self.environment | {"HOME": str(cluster)},
        )

    def _make_cluster(self, cluster: Path) -> None:
        shutil.rmtree(cluster, ignore_errors=True)
        cluster.mkdir(parents=True, mode=0o700)
        if os.geteuid() == 0:
            who = pwd.getpwnam("postgres")
            os.chown(cluster, who.pw_uid, who.pw_gid)
            self.folder.chmod(0o755)
        subprocess.run(
            [
                *(*as_postgres(), program("initdb"), "-D", str(cluster)),
                *("--auth=trust", "-U", "postgres", "-E", "UTF8", "--locale=C.UTF-8"),
            ],
            check=True,
            stdout=subprocess.DEVNULL,
            cwd="/",
        )

    def _postgres_answers(self) -> bool:
        asked = subprocess.run(
            [program("pg_isready"), "-q", "-h", HOST, "-p", str(self.ports[POSTGRES])],
            check=False,
        )
        return asked.returncode == 0

    def sql(self, statement: str, database: str = "postgres") -> str:
        asked = subprocess.run(
            [program("psql"), "-qtAX", "-d", self.database_url(database), "-c", statement],
            check=True,
            capture_output=True,
            text=True,
        )
        return asked.stdout.strip()

    # All of them

    def stop_all(self) -> None:
        for name in [name for name in self.running if name not in (POSTGRES, REDIS)]:
            self.stop(name)
        for name in (REDIS, POSTGRES):
            self.stop(name)

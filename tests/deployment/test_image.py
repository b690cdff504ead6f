"""The image without a container engine: its steps in a clean Debian, then its processes.

They run as compose runs them: by their arguments and settings, as the image's own user, on a
file system that is read-only but for `/data` and `/tmp`, beside a real PostgreSQL and Redis.
Debian's Python stands for that of the image named in FROM.
"""

import json
import os
import re
import shlex
import shutil
import signal
import subprocess
import time
import urllib.error
import urllib.request
from pathlib import Path
from urllib.parse import urlsplit, urlunsplit

import jsonschema_rs
import psycopg
import pytest
import yaml
from django.conf import settings

from tests.conftest import leave_out
from tests.deployment.machine import INSIDE, PASSED_ON, make_root
from tests.object_server import object_server
from tests.services.processes import free_port

pytestmark = [
    pytest.mark.skipif(not os.environ.get("BARE_DEBIAN"), reason="takes minutes: make deployed"),
    pytest.mark.timeout(3600),
]

SITE = 10001  # The image's own user.
TOP = Path(settings.BASE_DIR)
WITH_PYTHON = ("python3", "python3-pip", "python3-venv")
KEPT = """from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
default_storage.save("tried", ContentFile(b"x"))"""
SCHEMA = "usr/lib/python3/dist-packages/compose/config/compose_spec.json"

# A process of a container: its root cannot be written, but for what compose mounts.
AS_COMPOSE_DOES = """set -e
mount --make-rprivate /
mount --bind "$1" "$1"
mount --bind "$2/data" "$1/data"
mount --bind "$2/back_ups" "$1/back_ups"
mount --rbind /dev "$1/dev"
mount -t proc proc "$1/proc"
mount -t tmpfs tmpfs "$1/tmp"
mount --bind "$2/secrets" "$1/run/secrets"
mount -o remount,bind,ro "$1"
root=$1; user=$3; shift 3
exec chroot --userspec="$user" "$root" "$@"
"""


def compose() -> dict:
    return yaml.safe_load((TOP / "docker-compose.yml").read_text())


def test_compose_fits_the_specifications_schema(tmp_path):
    """The schema is that of Debian's docker-compose, of the compose specification."""
    fetched = subprocess.run(
        ["apt-get", "download", "docker-compose"], cwd=tmp_path, capture_output=True, check=False
    )
    if fetched.returncode:
        leave_out("Debian's docker-compose, which has the schema, cannot be fetched")
    (package,) = tmp_path.glob("*.deb")
    subprocess.run(["dpkg", "-x", str(package), str(tmp_path)], check=True)
    schema = jsonschema_rs.validator_for(json.loads((tmp_path / SCHEMA).read_text()))
    fits = compose()
    del fits["name"]  # The specification has it since, and this schema not yet.
    assert [error.message for error in schema.iter_errors(fits)] == []
    wrong = {**fits}
    wrong["services"]["web"]["readonly"] = True
    assert not schema.is_valid(wrong)


def instructions() -> list[tuple[str, str]]:
    """What the Dockerfile says, a step each: its word and the rest."""
    lines = [line for line in (TOP / "Dockerfile").read_text().splitlines() if line[:1] != "#"]
    steps = "\n".join(lines).replace("\\\n", " ").splitlines()
    return [(step.split()[0], step.split(maxsplit=1)[1]) for step in steps if step.strip()]


class Image:
    def __init__(self, root: Path) -> None:
        self.root = root
        self.environment: dict[str, str] = {}
        self.folder = "/"
        self.user = "root"
        self.command: list[str] = []

    def build(self) -> None:
        python = self.root / "usr/local/bin/python"
        python.symlink_to("/usr/bin/python3")
        for word, rest in instructions():
            getattr(self, f"_{word.lower()}")(rest)

    def _from(self, rest: str) -> None:
        assert rest.startswith("python:3")

    def _env(self, rest: str) -> None:
        self.environment |= dict(pair.split("=", 1) for pair in shlex.split(rest))

    def _workdir(self, rest: str) -> None:
        self.folder = rest
        (self.root / rest.lstrip("/")).mkdir(parents=True, exist_ok=True)

    def _copy(self, rest: str) -> None:
        """Of the folder only what .dockerignore lets through, and of that what git has."""
        wanted, to = rest.split()
        target = self.root / self.folder.lstrip("/")
        assert to == "."
        through = {line[1:] for line in (TOP / ".dockerignore").read_text().split() if "!" in line}
        listed = subprocess.run(
            ["git", "ls-files", "-z"], cwd=TOP, capture_output=True, check=True, text=True
        ).stdout
        for name in filter(None, listed.split("\0")):
            if name.split("/")[0] in through and wanted in (".", name):
                (target / name).parent.mkdir(parents=True, exist_ok=True)
                shutil.copy(TOP / name, target / name)

    def _run(self, rest: str) -> None:
        # Debian's pip installs beside its packages only when told so; the image's has none beside.
        more = {n: v for n, v in os.environ.items() if n.startswith(PASSED_ON)}
        done = subprocess.run(
            ["chroot", str(self.root), "sh", "-c", f"cd {self.folder} && {rest}"],
            env={"PATH": INSIDE, "PIP_BREAK_SYSTEM_PACKAGES": "1", **self.environment, **more},
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, (rest, done.stderr[-3000:])

    def _user(self, rest: str) -> None:
        self.user = rest

    def _volume(self, rest: str) -> None:
        assert (self.root / rest.lstrip("/")).is_dir()

    def _expose(self, rest: str) -> None:
        assert rest == self.environment.get("BIND", "0.0.0.0:8000").rpartition(":")[2]

    def _cmd(self, rest: str) -> None:
        self.command = json.loads(rest)


@pytest.fixture(scope="module")
def image(tmp_path_factory) -> Image:
    if os.geteuid() != 0 or shutil.which("debootstrap") is None:
        leave_out("it takes root and debootstrap to unpack a Debian")
    root = tmp_path_factory.mktemp("image")
    make_root(root, WITH_PYTHON)
    built = Image(root)
    built.build()
    return built


@pytest.fixture
def database():
    """A database of PostgreSQL's for this test alone, by its address."""
    given = os.environ.get("TEST_POSTGRES_URL")
    if not given or not os.environ.get("TEST_REDIS_URL"):
        leave_out("TEST_POSTGRES_URL or TEST_REDIS_URL names none")
    name = f"image_{os.getpid()}"
    with psycopg.connect(given, autocommit=True) as link:
        link.execute(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')
        link.execute(f'CREATE DATABASE "{name}"')
        yield urlunsplit(urlsplit(given)._replace(path=f"/{name}"))
        link.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


@pytest.fixture
def bucket():
    with object_server() as server:
        yield server


def given(service: dict, set_here: dict[str, str]) -> dict[str, str]:
    """What compose gives a service where `set_here` stands in the file of settings."""
    assert service["env_file"] == ".env"
    lines = (TOP / "deploy/environment").read_text().splitlines()
    env_file = dict(line.split("=", 1) for line in lines if line and line[0] != "#") | set_here
    filled_in = re.compile(r"\$\{(\w+):[-?]([^}]*)\}")
    return env_file | {
        name: filled_in.sub(lambda found: env_file.get(found[1]) or found[2], str(value))
        for name, value in service["environment"].items()
    }


@pytest.fixture
def run(image, database, bucket, tmp_path):
    """Start a service of compose: ``run("web")``."""
    secrets, written = tmp_path / "secrets", (tmp_path / "data", tmp_path / "back_ups")
    for folder in (secrets, *written, image.root / "run/secrets"):
        folder.mkdir(exist_ok=True)
    (secrets / "secret_key").write_text("of a site that is thrown away " * 3)
    (secrets / "database_url").write_text(database)
    ids = (image.root / "etc/passwd").read_text().split(f"\n{image.user}:")[1].split(":")[1:3]
    for folder in written:
        shutil.chown(folder, *map(int, ids))
    queue = os.environ["TEST_REDIS_URL"].rstrip("/")
    set_here = {
        "PUBLIC_URL": "https://training.example.org",
        "CELERY_BROKER_URL": f"{queue}/14",
        "CACHE_URL": f"{queue}/15",
        # As of several machines; nobody is written to.
        "FILES_URL": bucket.url,
        "EMAIL_URL": "smtp://127.0.0.1:9",
    }
    started: list[subprocess.Popen[str]] = []

    def start(
        name: str, port: int = 8000, command: list[str] | None = None
    ) -> subprocess.Popen[str]:
        service = compose()["services"][name]
        if command is None:
            command = shlex.split(service["command"]) if "command" in service else image.command
        settled = image.environment | given(service, set_here)
        if name == "web":  # The port is what compose maps; this machine's own may be taken.
            settled |= {"BIND": f"127.0.0.1:{port}", "WEB_WORKERS": "2"}
        process = subprocess.Popen(
            [
                *("unshare", "--mount", "--pid", "--fork", "--kill-child"),
                *("sh", "-c", AS_COMPOSE_DOES, "sh"),
                *(str(image.root), str(tmp_path), ":".join(ids)),
                *("env", "-i", f"PATH={INSIDE}", *(f"{n}={v}" for n, v in settled.items())),
                *("sh", "-c", f'cd {image.folder} && exec "$@"', "sh", *command),
            ],
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
            start_new_session=True,
        )  # fmt: skip
        started.append(process)
        return process

    yield start
    for process in started:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        if process.stdout is not None:
            process.stdout.close()


def health(port: int) -> dict:
    asked = urllib.request.Request(
        f"http://127.0.0.1:{port}/health/check/",
        headers={"Host": "training.example.org", "X-Forwarded-Proto": "https"},
    )
    try:
        with urllib.request.urlopen(asked, timeout=30) as answer:
            return json.load(answer)
    except urllib.error.HTTPError as answer:
        return json.load(answer)
    except OSError:
        return {}


def test_its_processes_serve_as_its_user_on_a_root_that_cannot_be_written(run, image, bucket):
    prepared = run("prepare")
    assert prepared.wait(timeout=600) == 0, prepared.stdout and prepared.stdout.read()
    port = free_port()
    processes = {name: run(name, port) for name in ("web", "worker", "reminders", "beat")}
    said: dict = {}
    for _ in range(300):
        said = health(port)
        ended = {
            name: one.stdout.read() for name, one in processes.items() if one.poll() is not None
        }
        assert ended == {}
        if said.get("ok"):
            break
        time.sleep(1)
    assert said.get("ok"), said
    assert said["paper"], "The faces that the image installs are not found."
    for process in processes.values():
        (child,) = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()
        assert Path(f"/proc/{child}").stat().st_uid == SITE
    # Kept by the image's own processes in the bucket that the file of settings names.
    kept = run("web", command=["python", "manage.py", "shell", "-c", KEPT])
    assert kept.wait(timeout=120) == 0, kept.stdout and kept.stdout.read()
    assert "tried" in bucket.names()
    # What docs/upgrading.md says to do, beside those that serve.
    for service, command in {
        "web": ["python", "manage.py", "back_up", "/back_ups/before-upgrade.backup"],
        "prepare": None,
        "worker": ["python", "manage.py", "verify_trail"],
    }.items():
        ended = run(service, command=command)
        assert ended.wait(timeout=300) == 0, ended.stdout and ended.stdout.read()
    assert health(port)["ok"]
    for folder in ("data", "back_ups"):
        assert run("web", command=["touch", f"/{folder}/x"]).wait(timeout=60) == 0
    assert run("web", command=["touch", "/site/x"]).wait(timeout=60) == 1

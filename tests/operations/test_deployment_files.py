"""What is deployed: the same processes by compose and by systemd, and all of the code."""

import configparser
import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest
import yaml
from django.conf import settings

from config.env import READ
from operations.domain.site_processes import PREPARE, SERVED_BY
from tests.conftest import leave_out

TOP = Path(settings.BASE_DIR)
UNITS = sorted((TOP / "deploy/systemd").glob("*.service"))
CODE = "/opt/jointworthy/current"
VENV = f"{CODE}/.venv/bin/"


def compose() -> dict:
    return yaml.safe_load((TOP / "docker-compose.yml").read_text())


def unit(path: Path) -> configparser.ConfigParser:
    read = configparser.ConfigParser(interpolation=None, strict=True)
    read.optionxform = str  # type: ignore[assignment, method-assign]
    read.read_string(path.read_text())
    return read


def command_of(path: Path) -> tuple[str, ...]:
    """Arguments as systemd gives them: a percent sign is written twice."""
    started = unit(path)["Service"]["ExecStart"].replace("%%", "%")
    assert started.startswith(VENV)
    return tuple(shlex.split(started.removeprefix(VENV)))


def test_compose_starts_the_sites_processes():
    services = compose()["services"]
    image = [line for line in (TOP / "Dockerfile").read_text().splitlines() if line[:3] == "CMD"]
    default = tuple(yaml.safe_load(image[-1].removeprefix("CMD ")))
    started = {
        name: tuple(shlex.split(service["command"])) if "command" in service else default
        for name, service in services.items()
        if name not in ("postgres", "redis")
    }
    assert started == {"prepare": PREPARE, **SERVED_BY}


def test_images_from_elsewhere_are_named_by_digest():
    """A tag can be given to another image tomorrow; a digest cannot."""
    services = compose()["services"]
    base = re.search(r"^FROM (\S+)$", (TOP / "Dockerfile").read_text(), re.MULTILINE)
    assert base
    named = {base[1], *(services[name]["image"] for name in ("postgres", "redis"))}
    for image in named:
        assert re.fullmatch(r"[a-z]+:\d+\.\d+[\w.-]*@sha256:[0-9a-f]{64}", image), image
    built = {service["image"] for service in services.values()} - named
    assert built == {"jointworthy"}


def test_no_container_may_do_more_than_it_needs():
    for name, service in compose()["services"].items():
        assert service["read_only"] is True, name
        assert service["cap_drop"] == ["ALL"], name
        assert "cap_add" not in service, name
        assert service["security_opt"] == ["no-new-privileges:true"], name
        assert name == "web" or "ports" not in service, name


def test_systemd_starts_the_sites_processes():
    started = {path.stem.removeprefix("jointworthy-"): command_of(path) for path in UNITS}
    assert started == {"prepare": PREPARE, **SERVED_BY}
    wanted = unit(TOP / "deploy/systemd/jointworthy.target")["Unit"]["Wants"].split()
    assert wanted == [f"jointworthy-{name}.service" for name in SERVED_BY]


@pytest.mark.parametrize("path", UNITS, ids=lambda path: path.stem)
def test_a_unit_may_do_no_more_than_it_needs(path):
    service = unit(path)["Service"]
    assert service["User"] == service["Group"] == "jointworthy"
    assert service["WorkingDirectory"] == CODE
    assert service["UnsetEnvironment"] == "PWD", "gunicorn would go by the link's name"
    assert service["ProtectSystem"] == "strict"
    written = service["ReadWritePaths"].split()
    back_ups = ["-/var/backups/jointworthy"] if "worker" in path.stem else []
    assert written == ["/var/lib/jointworthy", *back_ups]
    assert service["NoNewPrivileges"] == "yes"
    assert service["CapabilityBoundingSet"] == ""


def test_whatever_is_set_reaches_every_process_of_both():
    """One file of settings as it is: no list of those that are passed on, which could lack one."""
    for name, service in compose()["services"].items():
        if name not in ("postgres", "redis"):
            assert service["env_file"] == ".env", name
    for path in UNITS:
        assert unit(path)["Service"]["EnvironmentFile"] == "/etc/jointworthy/environment"


def test_both_begin_from_the_same_settings():
    lines = (TOP / "deploy/environment").read_text().splitlines()
    begun = {line.split("=")[0] for line in lines if line and line[0] != "#"}
    known = set(READ) | {"WEB_WORKERS"}
    assert {"PUBLIC_URL", "EMAIL_URL", "FILES_URL"} <= begun <= known
    script = (TOP / "deploy/install.sh").read_text()
    written = script.split("<<ENVIRONMENT")[1].split("\nENVIRONMENT")[0].splitlines()[1:]
    placed = {line.split("=")[0] for line in written if line and line[0] != "#"}
    by_compose = set(compose()["services"]["web"]["environment"])
    assert placed == by_compose - {"PUBLIC_URL"}
    assert {name.removesuffix("_FILE") for name in placed} <= known
    assert not placed & begun
    assert "cp deploy/environment .env" in (TOP / "docker-compose.yml").read_text()
    ignored = (TOP / ".gitignore").read_text().split()
    assert {".env", "secrets/"} <= set(ignored)


def test_a_newer_versions_folder_finds_the_volumes_of_the_one_before():
    """By its folder's name, another project with empty volumes would be started."""
    assert compose()["name"] == "jointworthy"


def test_systemd_takes_every_unit(tmp_path):
    """Read by systemd itself, with a program where each names one of ours."""
    if shutil.which("systemd-analyze") is None:
        leave_out("systemd is not installed")
    for path in (TOP / "deploy/systemd").iterdir():
        text = path.read_text().replace(VENV, "/usr/bin/env ").replace(CODE, "/")
        (tmp_path / path.name).write_text(text)
    said = subprocess.run(
        ["systemd-analyze", "verify", *map(str, sorted(tmp_path.iterdir()))],
        capture_output=True, text=True, check=False,
        env={"SYSTEMD_UNIT_PATH": f"{tmp_path}:", "PATH": "/usr/bin:/bin"},
    )  # fmt: skip
    ours = [line for line in said.stderr.splitlines() if "jointworthy" in line]
    assert ours == []
    assert said.returncode == 0, said.stderr


def test_the_image_holds_every_app():
    """What is not named in .dockerignore is neither in the image nor installed on Debian."""
    named = set((TOP / ".dockerignore").read_text().split())
    apps = {name.split(".")[0] for name in settings.INSTALLED_APPS}
    own = {name for name in apps if (TOP / name / "apps.py").exists()}
    assert own >= {"people", "records", "operations"}
    assert {f"!{name}" for name in own} <= named
    assert {f"!{path.parent.name}" for path in TOP.glob("*/__init__.py")} - named <= {
        "!tests",
        "!benchmarks",
    }


def test_the_script_is_read_by_bash():
    for name in ("install.sh", "jointworthy-manage"):
        subprocess.run(["bash", "-n", str(TOP / "deploy" / name)], check=True)


def test_the_script_writes_no_file_from_a_pipe():
    """What comes before it may break off, and the file would be taken for whole."""
    script = (TOP / "deploy/install.sh").read_text().replace("\\\n", " ")
    assert len(re.findall(r"\bput [\w\"$/]", script)) > 8
    assert not re.search(r"[^|]\|\s*put ", script)

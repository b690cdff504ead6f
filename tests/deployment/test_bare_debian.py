"""`deploy/install.sh` on a bare Debian: its own systemd, PostgreSQL, Redis and Caddy in front."""

import json
import os
import shutil
import subprocess
import time

import pytest
from django.conf import settings

from operations.domain.site_processes import SERVED_BY
from tests.conftest import leave_out
from tests.deployment.machine import Machine, make_root

pytestmark = [
    pytest.mark.skipif(
        not os.environ.get("BARE_DEBIAN"),
        reason="takes minutes: make deployed",
    ),
    pytest.mark.timeout(3600),
]

HOST = "training.example.org"
SITE = f"https://{HOST}"


@pytest.fixture(scope="module")
def machine(tmp_path_factory):
    if os.geteuid() != 0 or shutil.which("debootstrap") is None:
        leave_out("it takes root and debootstrap to unpack a Debian")
    root = tmp_path_factory.mktemp("debian")
    given = os.environ["BARE_DEBIAN"]
    if os.path.isdir(given):  # One that was unpacked before, and is used up by this.
        root = type(root)(given)
    else:
        make_root(root)
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=settings.BASE_DIR, capture_output=True, check=True
    ).stdout
    for name in filter(None, listed.decode().split("\0")):
        copy = root / "root/source" / name
        copy.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(settings.BASE_DIR / name, copy)
    machine = Machine(root)
    machine.start()
    yield machine
    machine.stop()


def install(machine):
    return machine.run("bash", "/root/source/deploy/install.sh", SITE, "internal")


def ask(machine, path, *more, scheme="https"):
    """Status, where it leads and body of what a browser in front of Caddy is answered."""
    port = {"https": 443, "http": 80}[scheme]
    said = machine.says(
        *("curl", "-sk", "--resolve", f"{HOST}:{port}:127.0.0.1"),
        *("-w", "\n%{http_code} %{redirect_url}", *more, f"{scheme}://{HOST}{path}"),
    )
    body, _newline, last = said.rpartition("\n")
    status, _space, leads_to = last.partition(" ")
    return int(status), leads_to, body


def is_well(machine):
    status, _leads_to, body = ask(machine, "/health/check/")
    return status == 200 and all(json.loads(body).values())


def wait_until_well(machine):
    for _ in range(300):
        if is_well(machine):
            return
        time.sleep(1)
    raise AssertionError(ask(machine, "/health/check/"))


def running(machine):
    return {
        name: machine.says("systemctl", "show", "-P", "MainPID", f"jointworthy-{name}.service")
        for name in SERVED_BY
    }


def test_a_bare_machine_is_installed_served_and_upgraded(machine):
    done = install(machine)
    assert done.returncode == 0, done.stderr[-3000:]
    wait_until_well(machine)
    failed = machine.says("systemctl", "--failed", "--plain", "--no-legend")
    assert [line for line in failed.splitlines() if "getty" not in line] == []

    # TLS ends in front, and the site believes what it is told of that by Caddy alone.
    assert ask(machine, "/", scheme="http")[:2] == (308, f"{SITE}/")
    status, leads_to, _body = ask(machine, "/", "-H", "X-Forwarded-Proto: http")
    assert (status, leads_to) == (302, f"{SITE}/account/login/?next=/")
    assert "__Host-csrftoken" in ask(machine, "/account/login/", "-D", "-")[2]

    # A body beyond the bound goes no further than Caddy.
    machine.run("truncate", "-s", "600M", "/var/tmp/large")
    assert ask(machine, "/account/login/", "--data-binary", "@/var/tmp/large")[0] in (413, 502)

    made = machine.run(
        *("jointworthy-manage", "make_administrator", "10001", "--name", "Ada Holm"),
        *("--email", "ada@aldergate.example", "--organisation", "Aldergate Instruments"),
        *("--site-name", "Aldergate", "--prefix", "AL", "--time-zone", "Europe/London"),
        "--password-stdin",
        given="four quiet words here\n",
    )
    assert "10001" in made.stdout, made.stderr
    assert "Everything fits." in machine.says("jointworthy-manage", "verify_trail")

    # The worker may write back-ups where the settings say, and so may whoever looks after it.
    asked = "from operations.tasks import back_up; back_up.delay()"
    machine.run("jointworthy-manage", "shell", "-c", asked)
    kept = "/var/backups/jointworthy"
    made = ""
    for _ in range(120):
        if made := machine.says("find", kept, "-name", "*.backup"):
            break
        time.sleep(1)
    checked = machine.run(
        "jointworthy-manage", "restore", made, "--files", f"{kept}/files", "--check"
    )
    assert checked.returncode == 0, checked.stderr

    # Secrets are for root and the site alone, and the code is not the site's to write.
    secret = "/etc/jointworthy/secret_key"
    assert machine.run("runuser", "-u", "nobody", "--", "cat", secret).returncode != 0
    assert machine.run("runuser", "-u", "jointworthy", "--", "cat", secret).returncode == 0
    code = "/opt/jointworthy/manage.py"
    assert machine.run("runuser", "-u", "jointworthy", "--", "touch", code).returncode != 0

    # Whatever is killed comes back.
    before = running(machine)
    for number in before.values():
        machine.run("kill", "-9", number)
    wait_until_well(machine)
    after = running(machine)
    assert all(after[name] not in ("0", before[name]) for name in SERVED_BY)

    # Again is an upgrade: what was set by hand, the secrets and the people stay.
    key = machine.says("cat", secret)
    machine.run("sed", "-i", "s/^WEB_WORKERS=.*/WEB_WORKERS=2/", "/etc/jointworthy/environment")
    assert install(machine).returncode == 0
    wait_until_well(machine)
    assert machine.says("cat", secret) == key
    assert "WEB_WORKERS=2" in machine.says("cat", "/etc/jointworthy/environment").split()
    again = machine.run(
        *("jointworthy-manage", "make_administrator", "10002", "--name", "Bo Lind"),
        "--password-stdin",
        given="four other quiet words\n",
    )
    assert "administrator already" in again.stdout + again.stderr


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ([], "Say the address that people type"),
        (["http://training.example.org"], "is not an https address"),
        (["https://training.example.org:8443"], "is not an https address"),
        (["https://training.example.org", "own"], "After the address comes nothing"),
        (["https://training.example.org", "/none.pem", "/none.key"], "cannot be read"),
    ],
)
def test_what_does_not_fit_is_refused_before_anything_is_installed(machine, given, said):
    refused = machine.run("bash", "/root/source/deploy/install.sh", *given)
    assert refused.returncode == 1
    assert said in refused.stderr

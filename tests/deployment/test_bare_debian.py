"""`deploy/install.sh` on a bare Debian: its own systemd, PostgreSQL, Redis and Caddy in front."""

import json
import os
import re
import shutil
import subprocess
import time

import pytest
from django.conf import settings

from operations.domain.site_processes import SERVED_BY
from tests.conftest import leave_out
from tests.deployment.machine import PASSED_ON, Machine, make_root
from tests.object_server import object_server

pytestmark = [
    pytest.mark.skipif(
        not os.environ.get("BARE_DEBIAN"),
        reason="takes minutes: make deployed",
    ),
    pytest.mark.timeout(3600),
]

HOST = "training.example.org"
SITE = f"https://{HOST}"
CODE = "/opt/jointworthy"
SETTINGS = "/etc/jointworthy/environment"
PAGE = "/account/login/"
CERTIFICATE = f"""openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes \\
    -subj /CN={HOST} -keyout /root/own.key -out /root/own.pem"""
ASKING = f"""while sleep 0.2; do
    curl -sk -m 120 -o /dev/null -w '%{{http_code}}\\n' --resolve {HOST}:443:127.0.0.1 {SITE}{PAGE}
done > /root/answers"""


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
    # A disk of its own, which can be filled.
    machine.run("mkdir", "-p", CODE)
    machine.run("mount", "-t", "tmpfs", "tmpfs", CODE)
    yield machine
    machine.stop()


def install(machine, version="source"):
    return machine.run("bash", f"/root/{version}/deploy/install.sh", SITE, "internal")


def led(machine, link):
    return machine.says("readlink", f"{CODE}/{link}").removeprefix("releases/")


def releases(machine):
    return machine.says("ls", f"{CODE}/releases").split()


def size_of_disk(machine, kilobytes):
    machine.run("mount", "-o", f"remount,size={kilobytes}k", CODE)


def style_sheet(machine):
    """The address by which the page asks for a style sheet; that of the page's version."""
    return re.findall(r'href="(/static/css/tokens\.\w+\.css)"', ask(machine, PAGE)[2])[0]


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


def test_a_bare_machine_is_installed_and_served(machine):
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
    code = f"{CODE}/current/manage.py"
    assert machine.run("runuser", "-u", "jointworthy", "--", "touch", code).returncode != 0

    # Whatever is killed comes back.
    before = running(machine)
    for number in before.values():
        machine.run("kill", "-9", number)
    wait_until_well(machine)
    after = running(machine)
    assert all(after[name] not in ("0", before[name]) for name in SERVED_BY)

    # Again, what was set by hand, the secrets and the people stay, and nothing is made anew.
    key = machine.says("cat", secret)
    machine.run("sed", "-i", "s/^WEB_WORKERS=.*/WEB_WORKERS=2/", SETTINGS)
    there = releases(machine)
    assert install(machine).returncode == 0
    wait_until_well(machine)
    assert machine.says("cat", secret) == key
    assert "WEB_WORKERS=2" in machine.says("cat", SETTINGS).split()
    assert releases(machine) == there == [led(machine, "current")]
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


def make_newer_version(machine):
    """Its migration makes the database one that the version before refuses to prepare."""
    newer = machine.root / "root/newer"
    shutil.copytree(machine.root / "root/source", newer)
    project = newer / "pyproject.toml"
    project.write_text(re.sub(r'(?m)^version = ".*"$', 'version = "9.9"', project.read_text()))
    with (newer / "static/css/tokens.css").open("a") as sheet:
        sheet.write("\n/* newer */\n")
    (newer / "records/migrations/0099_newer.py").write_text(
        "from django.db import migrations\n\n\n"
        "class Migration(migrations.Migration):\n"
        '    dependencies = [("records", "0001_release_1")]\n'
        "    operations = []\n"
    )


def test_a_newer_version_takes_over_once_it_is_ready_and_can_be_gone_back_from(machine):
    before, sheet = led(machine, "current"), style_sheet(machine)
    make_newer_version(machine)

    # The disk is full in the middle: nothing of it stays, and what served serves on.
    used = machine.says("df", "--output=used", "-k", CODE).split()[-1]
    size_of_disk(machine, int(used) + 60_000)
    refused = install(machine, "newer")
    assert refused.returncode != 0
    assert "what served before serves on" in refused.stderr
    assert releases(machine) == [before]
    size_of_disk(machine, 8_000_000)
    wait_until_well(machine)

    # Killed in the middle; one at a time until then.
    passed_on = [f"--setenv={name}" for name in os.environ if name.startswith(PASSED_ON)]
    script = ("bash", "/root/newer/deploy/install.sh", SITE, "internal")
    machine.run("systemd-run", "--unit=installing", *passed_on, *script)
    for _ in range(600):
        if machine.says("bash", "-c", f"ls -d {CODE}/releases/9.9-*/.venv/bin/pip"):
            break
        time.sleep(0.1)
    assert "at work already" in install(machine, "newer").stderr
    machine.run("systemctl", "kill", "-s", "KILL", "installing")
    assert led(machine, "current") == before
    assert len(releases(machine)) == 2
    wait_until_well(machine)

    # A key that Caddy cannot read, though root can.
    machine.run("bash", "-c", CERTIFICATE)
    refused = machine.run(*script[:-1], "/root/own.pem", "/root/own.key")
    assert refused.returncode == 1
    assert "permission denied" in refused.stderr
    assert led(machine, "current") == before

    # A database that it cannot prepare, here for a setting that does not fit.
    machine.run("sed", "-i", "$ a LOG_LEVEL=LOUD", SETTINGS)
    refused = install(machine, "newer")
    assert refused.returncode == 1
    assert "write one of DEBUG" in refused.stdout + refused.stderr
    assert led(machine, "current") == before
    machine.run("sed", "-i", "/^LOG_LEVEL=/d", SETTINGS)

    # Then it takes over, and nobody who asks meanwhile is answered by an error.
    machine.run("systemd-run", "--unit=asking", "bash", "-c", ASKING)
    done = install(machine, "newer")
    machine.run("systemctl", "stop", "asking")
    assert done.returncode == 0, done.stdout[-1000:] + done.stderr[-3000:]
    answers = machine.says("cat", "/root/answers").split()
    assert set(answers) == {"200"}
    assert len(answers) > 10
    newer = led(machine, "current")
    assert newer.startswith("9.9-")
    assert led(machine, "before") == before
    assert sorted(releases(machine)) == sorted([before, newer])
    wait_until_well(machine)
    assert style_sheet(machine) != sheet
    assert ask(machine, sheet)[0] == 200, "A page that is open asks for it."
    assert "Everything fits." in machine.says("jointworthy-manage", "verify_trail")

    # Back, which outlives a start of the machine; the version before would refuse to prepare.
    for _ in range(2):
        gone = machine.run("bash", f"{CODE}/current/deploy/install.sh", "back")
        assert gone.returncode == 0, gone.stderr
        assert led(machine, "current") == before
    assert machine.run("systemctl", "restart", "jointworthy.target").returncode == 0
    wait_until_well(machine)
    assert style_sheet(machine) == sheet
    assert ask(machine, sheet)[0] == 200
    assert "is newer" in machine.run("jointworthy-manage", "prepare").stderr

    # And forward, which makes nothing anew.
    assert install(machine, "newer").returncode == 0
    assert (led(machine, "current"), led(machine, "before")) == (newer, before)
    wait_until_well(machine)
    assert machine.run("jointworthy-manage", "prepare").returncode == 0


def test_a_back_up_is_restored_into_a_machine_that_was_installed_anew(machine):
    """By the commands of docs/restore-drill.md; what would be new on another machine is emptied."""
    kept = "/var/backups/jointworthy/whole.backup"
    assert machine.run("jointworthy-manage", "back_up", kept).returncode == 0
    machine.run("systemctl", "stop", "jointworthy.target")
    as_postgres = ("runuser", "-u", "postgres", "--")
    assert machine.run(*as_postgres, "dropdb", "jointworthy").returncode == 0
    machine.run("find", "/var/lib/jointworthy", "-mindepth", "1", "-delete")
    assert install(machine, "newer").returncode == 0

    assert machine.run("systemctl", "stop", "jointworthy.target").returncode == 0
    restored = machine.run("jointworthy-manage", "restore", kept)
    assert "Everything fits." in restored.stdout, restored.stderr
    assert machine.run("systemctl", "start", "jointworthy.target").returncode == 0
    wait_until_well(machine)
    asked = "from people.models import User; print(User.objects.get().employee_number)"
    assert machine.says("jointworthy-manage", "shell", "-c", asked).endswith("10001")


def test_one_of_several_machines_uses_what_its_settings_name(machine):
    """Its database is elsewhere by name, its files are in a bucket, and another has the clock."""
    url = "/etc/jointworthy/database_url"
    machine.run("sed", "-i", "s/127.0.0.1/localhost/", url)
    elsewhere = machine.says("cat", url)
    with object_server() as bucket:
        machine.run("sed", "-i", f"s|^FILES_URL=.*|FILES_URL={bucket.url}|", SETTINGS)
        machine.run("sed", "-i", "s|^EMAIL_URL=.*|EMAIL_URL=smtp://127.0.0.1:9|", SETTINGS)
        assert machine.run("systemctl", "mask", "--now", "jointworthy-beat").returncode == 0
        done = install(machine, "newer")
        assert done.returncode == 0, done.stdout[-1000:] + done.stderr[-3000:]
        assert machine.says("cat", url) == elsewhere
        assert ask(machine, PAGE)[0] == 200
        assert running(machine)["beat"] == "0"
        asked = "from django.conf import settings; print(settings.SEVERAL_MACHINES)"
        assert machine.says("jointworthy-manage", "shell", "-c", asked).endswith("True")
    refused = install(machine, "newer")
    assert refused.returncode == 1, "The bucket does not answer any more."
    assert "what served before serves on" in refused.stderr

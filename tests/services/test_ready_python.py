"""A process that is forked with the libraries imported finds what one that starts anew does."""

import json
import os
import signal
import subprocess
import sys

import pytest

from tests import ready_python
from tests.services.processes import kill, wait_until

# Neither asks for a database.
pytestmark = pytest.mark.one_database

TELLS = """
import json, os, sys
print(json.dumps([__name__, dict(os.environ), os.getcwd(), sys.argv, sys.path, sys.stdin.read()]))
print(json.dumps([os.getpid() == os.getpgid(0), sorted(sys.modules)]), file=sys.stderr)
sys.exit(7)
"""


@pytest.fixture
def script(tmp_path):
    path = tmp_path / "tells.py"
    path.write_text(TELLS)
    return str(path)


def test_is_as_one_that_starts_anew_but_that_libraries_are_there(script, tmp_path):
    environment = {"PATH": os.environ["PATH"], "PYTHONPATH": str(tmp_path / "more"), "A": "ö"}
    forked = ready_python.run(script, "--one", "two", environment=environment, given="a\nb")
    anew = subprocess.run(
        [sys.executable, script, "--one", "two"],
        env=environment,
        cwd=ready_python.TOP,
        input="a\nb",
        capture_output=True,
        text=True,
        check=False,
    )
    found, expected = json.loads(forked.stdout), json.loads(anew.stdout)
    expected[1].pop("LC_CTYPE", None)  # Python sets it where there is no locale.
    assert found == expected
    assert forked.returncode == anew.returncode == 7
    leads_its_group, modules = json.loads(forked.stderr)
    assert leads_its_group
    assert {"celery.bin.celery", "polars", "django.db.models"} <= set(modules)


def test_has_nothing_of_the_site_but_its_rules(script):
    _, modules = json.loads(ready_python.run(script, environment={}).stderr)
    of_the_site = {name for name in modules if name.partition(".")[0] in ready_python.APPS}
    assert "certification.domain.standing" in of_the_site
    packages = {name for name in of_the_site if "." not in name}
    assert {name for name in of_the_site - packages if ".domain" not in name} == set()


def test_says_how_it_ended(tmp_path):
    waits = tmp_path / "waits.py"
    waits.write_text("import time\nprint('here', flush=True)\ntime.sleep(600)\n")
    process = ready_python.Forked((str(waits),), environment={})
    assert process.poll() is None
    with pytest.raises(subprocess.TimeoutExpired):
        process.wait(0.01)
    process.terminate()
    wait_until(lambda: process.poll() is not None, watch=lambda: None)
    assert process.returncode == process.wait() == -signal.SIGTERM
    with process.stdout as said:
        assert said.read() in ("here\n", "")
    another = ready_python.Forked((str(waits),), environment={})
    with another.stdout as said:
        assert said.readline() == "here\n"
    kill(another)
    assert another.returncode == -signal.SIGKILL

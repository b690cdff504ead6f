"""What is started together ends together: when one ends, and when somebody says so."""

import os
import signal
import socket
import subprocess
import sys
import time

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command

TOGETHER = """
import os, sys
from operations.services import processes
processes.ENDS_WITHIN_S = 2.0
folder = sys.argv[1]
commands = {name: [sys.executable, "-c", code, folder] for name, code in zip("ab", sys.argv[2:])}
ended = processes.run_together(
    commands,
    environment=os.environ,
    when_started=lambda: print("started", flush=True),
    when_stopping=lambda: print("told", flush=True),
)
print("ended:", ended, flush=True)
"""
WRITES_ITS_ID = "import os, pathlib, sys, time; f = pathlib.Path(sys.argv[1]) / str(os.getpid())\n"
STAYS = WRITES_ITS_ID + "f.touch(); time.sleep(300)"
HAS_A_CHILD = WRITES_ITS_ID + "os.fork(); f.with_name(str(os.getpid())).touch(); time.sleep(300)"
WILL_NOT_END = (
    "import signal; signal.signal(signal.SIGTERM, signal.SIG_IGN); "
    + WRITES_ITS_ID
    + "f.touch(); time.sleep(300)"
)
ENDS_IN_PEACE = (
    "import signal; signal.signal(signal.SIGTERM, lambda *_: print('in peace') or sys.exit()); "
    + WRITES_ITS_ID
    + "f.touch(); time.sleep(300)"
)
ENDS = WRITES_ITS_ID + "f.touch(); time.sleep(0.5)"


@pytest.fixture
def start(tmp_path):
    runners = []

    def start(*codes, wait_for):
        runner = subprocess.Popen(
            [sys.executable, "-c", TOGETHER, str(tmp_path), *codes],
            cwd=settings.BASE_DIR,
            stdout=subprocess.PIPE,
            text=True,
        )
        runners.append(runner)
        until = time.monotonic() + 120
        while len(list(tmp_path.iterdir())) < wait_for:
            assert time.monotonic() < until
            time.sleep(0.05)
        return runner

    yield start
    for runner in runners:
        runner.kill()
        runner.wait()


def still_there(tmp_path):
    """Ids of the processes that were started and run on."""
    running = []
    for pid_file in tmp_path.iterdir():
        try:
            os.kill(int(pid_file.name), 0)
        except ProcessLookupError:
            continue
        running.append(pid_file.name)
    return running


@pytest.mark.parametrize("signal_number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_ends_all_of_them(start, tmp_path, signal_number):
    runner = start(STAYS, STAYS, wait_for=2)
    runner.send_signal(signal_number)
    assert runner.communicate(timeout=120)[0].split() == ["started", "told", "ended:", "None"]
    assert still_there(tmp_path) == []


def test_when_one_ends_the_others_are_ended_and_it_is_named(start, tmp_path):
    runner = start(STAYS, ENDS, wait_for=2)
    assert runner.communicate(timeout=120)[0].split() == ["started", "ended:", "b"]
    assert still_there(tmp_path) == []


def test_one_that_will_not_end_is_killed_with_its_children(start, tmp_path):
    runner = start(WILL_NOT_END, HAS_A_CHILD, wait_for=3)
    runner.send_signal(signal.SIGINT)
    runner.communicate(timeout=120)
    until = time.monotonic() + 120
    while still_there(tmp_path) and time.monotonic() < until:
        time.sleep(0.05)  # A killed grandchild is gone once the system has reaped it.
    assert still_there(tmp_path) == []


def test_when_who_runs_them_is_killed_they_end_in_good_order_and_else_are_killed(start, tmp_path):
    runner = start(ENDS_IN_PEACE, WILL_NOT_END, wait_for=2)
    with runner.stdout as said:
        assert said.readline() == "started\n"
        runner.kill()
        # To the end of what they all write to, which comes once none of them is there.
        assert said.read() == "in peace\n"
    until = time.monotonic() + 120
    while still_there(tmp_path) and time.monotonic() < until:
        time.sleep(0.05)
    assert still_there(tmp_path) == []


def test_a_taken_port_is_refused_with_another_to_try():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(CommandError, match=f"make run PORT={port + 1}"):
            call_command("serve", port=port)

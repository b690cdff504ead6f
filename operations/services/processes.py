"""Runs the site's processes side by side, and ends all of them when one ends or is told to."""

import os
import signal
import subprocess
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress

ENDS_WITHIN_S = 15.0
SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


def run_together(
    commands: Mapping[str, Sequence[str]],
    *,
    environment: Mapping[str, str],
    when_started: Callable[[], None],
    when_stopping: Callable[[], None],
) -> str | None:
    """Run commands until one of them ends or a signal comes; give the name of the one that ended.

    Each command leads a process group of its own, so that Ctrl-C reaches this process alone
    and each of them is ended once, in good order; what does not end in time is killed with
    all that it started.
    """

    signals: list[int] = []
    before = {
        number: signal.signal(number, lambda number, frame: signals.append(number))
        for number in SIGNALS
    }
    children: dict[str, subprocess.Popen[bytes]] = {}
    ended = None
    try:
        for name, command in commands.items():
            children[name] = subprocess.Popen(command, env=environment, start_new_session=True)
        when_started()
        while not signals and ended is None:
            time.sleep(0.2)
            ended = next(
                (name for name, child in children.items() if child.poll() is not None), None
            )
        if signals:
            when_stopping()
    finally:
        _end(list(children.values()))
        for number, handler in before.items():
            signal.signal(number, handler)
    return None if signals else ended


def _end(children: Sequence[subprocess.Popen[bytes]]) -> None:
    for child in children:
        if child.poll() is None:
            child.terminate()
    until = time.monotonic() + ENDS_WITHIN_S
    for child in children:
        with suppress(subprocess.TimeoutExpired):
            child.wait(max(0.1, until - time.monotonic()))
        # Where it ended with all that it started, there is no such group any more.
        with suppress(ProcessLookupError):
            os.killpg(child.pid, signal.SIGKILL)
        child.wait()

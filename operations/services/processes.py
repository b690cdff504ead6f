"""Runs the site's processes side by side, and ends all of them when one ends or is told to.

Whoever is killed ends nobody. So a guard stands beside: this file by itself, as a process that
waits for the one that runs them to be gone and then does the same. It imports nothing of the site.
"""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from typing import Any

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
    all that it started. Should this process itself be killed, the guard does that.
    """

    signals: list[int] = []
    before = {
        number: signal.signal(number, lambda number, frame: signals.append(number))
        for number in SIGNALS
    }
    children: dict[str, subprocess.Popen[bytes]] = {}
    ended = None
    guard = _Guard()
    try:
        for name, command in commands.items():
            child = subprocess.Popen(command, env=environment, start_new_session=True)
            children[name] = child
            guard.name(child.pid)
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
        guard.dismiss()
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


class _Guard:
    """The process beside, which reads from a pipe that the system closes when this one is gone."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-I", __file__, str(ENDS_WITHIN_S)],
            stdin=subprocess.PIPE,
            bufsize=0,
            start_new_session=True,
        )
        self._pipe: Any = self._process.stdin

    def name(self, group: int) -> None:
        self._pipe.write(b"%d\n" % group)

    def dismiss(self) -> None:
        with self._process:
            self._process.kill()


def _end_once_orphaned(pipe: Iterable[bytes], within_s: float) -> None:
    """Read to the pipe's end which groups there are, and end them as `_end` does."""
    groups = [int(line) for line in pipe]
    for leader in groups:
        with suppress(ProcessLookupError):
            os.kill(leader, signal.SIGTERM)
    until = time.monotonic() + within_s
    while any(map(_is_there, groups)) and time.monotonic() < until:
        time.sleep(0.1)
    for group in groups:
        with suppress(ProcessLookupError):
            os.killpg(group, signal.SIGKILL)


def _is_there(group: int) -> bool:
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


if __name__ == "__main__":
    _end_once_orphaned(sys.stdin.buffer, float(sys.argv[1]))

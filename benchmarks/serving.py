"""A server of the site with a peer beside it, for benchmarks that ask over HTTP."""

import http.client
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

READY_WITHIN_S = 60


@contextmanager
def served(application: str, folder: Path, port: int) -> Iterator[None]:
    """Serve as `manage.py serve` does, one process with its threads; its log is in the folder.

    Parameters
    ----------
    application : str
        A WSGI application as gunicorn names it, ``module:name``.
    """
    with (folder / "gunicorn.log").open("wb") as log:
        server = subprocess.Popen(
            [
                *(str(Path(sys.executable).parent / "gunicorn"), "-c", "python:config.gunicorn"),
                application,
            ],
            env=os.environ | {"BIND": f"127.0.0.1:{port}"},
            stdout=log,
            stderr=log,
        )
        try:
            _wait_until_it_answers(server, folder, port)
            yield
        finally:
            server.terminate()
            server.wait()


def _wait_until_it_answers(server: subprocess.Popen[bytes], folder: Path, port: int) -> None:
    until = time.monotonic() + READY_WITHIN_S
    while time.monotonic() < until and server.poll() is None:
        try:
            link = http.client.HTTPConnection("127.0.0.1", port, timeout=READY_WITHIN_S)
            link.request("GET", "/account/login/")
            link.getresponse().read()
        except OSError:
            time.sleep(0.2)
        else:
            link.close()
            return
    raise SystemExit(f"The server did not start: {folder / 'gunicorn.log'} says why.")

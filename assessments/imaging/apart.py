"""Decoding one photograph at a time: here, or where its size and its decoder harm nobody.

Never wait here with a transaction open: on SQLite whoever decodes could be waiting for it.
"""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import BoundedSemaphore
from typing import IO

from PIL import Image

from assessments.exceptions import DecodersBusy

from .decoder import MOST_SECONDS, Decoded

DECODER = Path(__file__).with_name("decoder.py")
LARGE_FROM_BYTES = 64 * 1024 * 1024
"""What takes more is decoded by a process of its own. No baseline JPEG does: its decoder
scales it down to less than 4,096 pixels a side."""
SMALL_TO_BYTES = 8 * 1024 * 1024
"""What takes no more is held beside whatever else there is."""
PLACES = 4
"""At a process of its own: one that decodes, the others wait. With eight threads that leaves half
of them to everybody else."""
WAITS_S = 60

_here = BoundedSemaphore(1)
_apart = BoundedSemaphore(1)
_places = BoundedSemaphore(PLACES)


class DecoderRefused(Exception):
    """The process ended without a picture; ``code`` and ``words`` are those of `decoder`."""

    def __init__(self, code: int, words: bytes) -> None:
        super().__init__(code, words)
        self.code, self.words = code, words


@contextmanager
def one_at_a_time(needed_bytes: int) -> Iterator[None]:
    """Hold so much here while no other thread holds anything but what is small."""
    if needed_bytes <= SMALL_TO_BYTES:
        yield
        return
    with _here:
        yield


@contextmanager
def _turn() -> Iterator[None]:
    if not _places.acquire(blocking=False):
        raise DecodersBusy
    try:
        if not _apart.acquire(timeout=WAITS_S):
            raise DecodersBusy
        try:
            yield
        finally:
            _apart.release()
    finally:
        _places.release()


def decode_apart(file: IO[bytes], *, most_pixels: int, most_bytes: int, longest: int) -> Decoded:
    """Have a picture decoded by a process of its own, one at a time.

    Raises
    ------
    DecodersBusy
        If as many wait already as may.
    DecoderRefused
        If it ended without a picture.
    """
    with _turn():
        file.seek(0)
        limits = (str(most_pixels), str(most_bytes), str(longest))
        done = subprocess.run(
            [sys.executable, "-I", str(DECODER), *limits],
            input=file.read(),
            capture_output=True,
            timeout=2 * MOST_SECONDS,
            check=False,
            env=os.environ | {"MALLOC_ARENA_MAX": "1"},
        )
    if done.returncode:
        raise DecoderRefused(done.returncode, done.stderr)
    head, _, pixels = done.stdout.partition(b"\n")
    facts = json.loads(head)
    width, height = facts["size"]
    if max(width, height) > longest:
        raise ValueError("The decoder gave a larger picture than was asked for.")
    picture = Image.frombytes("RGB", (width, height), pixels)
    return Decoded(picture, int(facts["width"]), int(facts["height"]), bool(facts["ends_grey"]))

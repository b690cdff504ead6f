"""An evidence pack of many photographs, beside a plain zip of the same files.

    .venv/bin/python -m benchmarks.packing [--photos 1000 10000 50000]

Each size is measured in a process and a database of its own, on SQLite or on the server that
DATABASE_URL names: one person, boards of 20 photographs of 20 kB each, every one written down in
the trail. The peer adds the same files to one stored zip by `zipfile.ZipFile.write` and keeps
nothing else: no hashes, no tables, no trail, no resuming. Seconds are of the processor, so that
what else a machine does is left out. Memory is what a process that has the site's code and database
open holds at most beyond what it held when it began.

The pack's memory must not grow with the photographs: at the largest size no more than
`MOST_GROWN_MIB` above the smallest.
"""

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
django.setup()

from django.conf import settings  # noqa: E402
from django.db import connection  # noqa: E402
from django.test.utils import setup_databases, teardown_databases  # noqa: E402

from assessments.models import Photo  # noqa: E402
from audit.models import EvidencePack  # noqa: E402
from audit.presenters.pack_contents import PackContents  # noqa: E402
from audit.services import evidence_packs  # noqa: E402
from benchmarks.verifying import _photos, in_a_child  # noqa: E402
from tests.factories import (  # noqa: E402
    make_board,
    make_certificate,
    make_exercise,
    make_person,
    make_user,
    write_down,
)

AT = datetime(2026, 7, 1, 9, tzinfo=UTC)
PHOTOS_A_BOARD = 20
MOST_GROWN_MIB = 32


def build(photos: int, folder: Path) -> None:
    person = make_person()
    make_certificate(person, issued_on=date(2026, 6, 1))
    exercise = make_exercise()
    boards = [
        make_board(person, exercise, recorded_at=AT - timedelta(days=1))
        for _number in range(photos // PHOTOS_A_BOARD)
    ]
    write_down()
    for at, board in enumerate(boards):
        _photos(board, range(at * PHOTOS_A_BOARD, (at + 1) * PHOTOS_A_BOARD), folder)
    evidence_packs.request_pack(
        actor=make_user("quality", site=person.site), site=person.site, person=person, at=AT
    )


def held_mib() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def grown(act: Callable[[], Any]) -> Callable[[], None]:
    return partial(_grown, act)


def _grown(act: Callable[[], Any]) -> None:
    EvidencePack.objects.count()
    before, begun = held_mib(), time.process_time()
    act()
    took_s = time.process_time() - begun
    Path(os.environ["GROWN"]).write_text(f"{took_s} {held_mib() - before}")


def by_product() -> None:
    pack = EvidencePack.objects.get()
    made = evidence_packs.build_pack(
        pack_id=pack.pk,
        clock=lambda: AT + timedelta(seconds=time.perf_counter() / 1e6),
        contents_of=PackContents,
        round_lasts=None,
    )
    assert made  # noqa: S101 - what is measured must have happened


def by_plain_zip() -> None:
    names = Photo.objects.order_by("pk").values_list("original", flat=True)
    with tempfile.TemporaryFile(dir=settings.DATA_DIR) as file, zipfile.ZipFile(file, "w") as plain:
        for name in names.iterator(chunk_size=2000):
            plain.write(Path(os.environ["PHOTOS"]) / name, name)


def measure(photos: int) -> tuple[float, float]:
    with tempfile.TemporaryDirectory() as name, tempfile.TemporaryDirectory() as told:
        os.environ |= {"GROWN": f"{told}/grown", "PHOTOS": name}
        settings.STORAGES = {
            **settings.STORAGES,
            "default": {
                "BACKEND": "django.core.files.storage.FileSystemStorage",
                "OPTIONS": {"location": name, "base_url": None},
            },
        }
        in_a_child(partial(build, photos, Path(name)))
        figures: list[float] = []
        for act in (by_plain_zip, by_product):
            in_a_child(grown(act))
            figures += map(float, (Path(told) / "grown").read_text().split())
    peer_s, peer_mib, product_s, product_mib = figures
    print(
        f"{photos:8,}  {product_s:10.1f}  {peer_s:7.1f}  {product_s / peer_s:5.1f}  "
        f"{product_mib:12.1f}  {peer_mib:9.1f}  {product_mib / max(peer_mib, 0.1):6.2f}",
        flush=True,
    )
    return product_mib, peer_mib


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--photos", type=int, nargs="+", default=[1000, 10_000, 50_000])
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.here:
        made = setup_databases(verbosity=0, interactive=False)
        try:
            measure(arguments.photos[0])
        finally:
            teardown_databases(made, verbosity=0)
        return
    print(
        f"On {connection.vendor}\n"
        "  photos  product, s  peer, s  ratio  product, MiB  peer, MiB   ratio",
        flush=True,
    )
    held = []
    for photos in arguments.photos:
        done = subprocess.run(
            [sys.executable, "-m", "benchmarks.packing", "--here", "--photos", str(photos)],
            check=True,
            stdout=subprocess.PIPE,
            text=True,
        )
        print(done.stdout, end="", flush=True)
        held.append(float(done.stdout.split()[4]))
    holds = held[-1] - held[0] <= MOST_GROWN_MIB
    print(
        f"From the first to the last size the pack's memory grew by {held[-1] - held[0]:.1f} MiB, "
        f"of {MOST_GROWN_MIB} allowed: {'holds' if holds else 'DOES NOT HOLD'}"
    )
    sys.exit(not holds)


if __name__ == "__main__":
    main()

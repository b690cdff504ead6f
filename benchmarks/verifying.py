"""Verifying the records, beside plain reading and hashing of the same rows and files.

    .venv/bin/python -m benchmarks.verifying [--entries 10000 50000] [--full]

Each size is measured in a process and a database of its own, on SQLite or on the server that
DATABASE_URL names. Of the entries three in ten are about photographs, each with a file of
20 kB, one in a hundred is a signature under practice withdrawn, and the others are about
practice. The peer reads every entry with its payload, every row and every file once and hashes
payloads and files: it works no chain out, rebuilds nothing and compares nothing.

The limit for 1,000,000 entries with 300,000 photographs is 20 minutes and 300 MiB of memory
held by the process; each size is held to the same share of the time and to all of the memory.
``--full`` measures that size.
"""

import argparse
import hashlib
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, date, datetime
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
django.setup()

from django.conf import settings  # noqa: E402
from django.core.files.storage import default_storage  # noqa: E402
from django.db import connection, transaction  # noqa: E402
from django.test.utils import setup_databases, teardown_databases  # noqa: E402

from assessments.models import Photo  # noqa: E402
from assessments.queries import written_down as boards_written  # noqa: E402
from people.models import User  # noqa: E402
from records.queries.verification import verify_records  # noqa: E402
from records.services import trail  # noqa: E402
from tests.factories import make_board, make_person, make_site, make_user, write_down  # noqa: E402
from training.models import PracticeRecord  # noqa: E402
from training.queries import written_down as facts_written  # noqa: E402
from training.services import facts  # noqa: E402

AT = datetime(2026, 6, 30, 9, tzinfo=UTC)
FULL = 1_000_000
PHOTOS_OF_TEN = 3
SIGNED_OF = 100
FILE_BYTES = 20_000
FILES_A_FOLDER = 1000
BATCH = 2000
LIMIT_S = 20 * 60
LIMIT_MIB = 300


# The records


def build(entries: int, folder: Path) -> None:
    site = make_site()
    person, quality = make_person(site), make_user("quality", site=site)
    board = make_board(person)
    write_down()
    photos = entries * PHOTOS_OF_TEN // 10
    for start in range(0, photos, BATCH):
        _photos(board, range(start, min(start + BATCH, photos)), folder)
    signed = entries // SIGNED_OF
    practice = entries - photos - signed * 3
    for start in range(0, practice, BATCH):
        _practice(person, range(start, min(start + BATCH, practice)))
    for _number in range(signed):  # Three entries each.
        _withdrawn_practice(person, quality)


def _photos(board, numbers: range, folder: Path) -> None:
    photos = []
    for number in numbers:
        content = number.to_bytes(8, "big") * (FILE_BYTES // 8)
        name = f"{number // FILES_A_FOLDER}/{number}.bin"
        path = folder / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(content)
        photos.append(
            Photo(
                board=board,
                order=number,
                original=name,
                original_name=f"{number}.jpg",
                media_type="image/jpeg",
                size_bytes=len(content),
                sha256=hashlib.sha256(content).hexdigest(),
                upright_width=800,
                upright_height=600,
                recorded_at=AT,
            )
        )
    with transaction.atomic():
        made = Photo.objects.bulk_create(photos)
        items = [(photo, boards_written.photo_content(photo)) for photo in made]
        trail.record_many(actor="bench", act=boards_written.ADDED, items=items, at=AT)


def _practice(person, numbers: range) -> None:
    with transaction.atomic():
        made = PracticeRecord.objects.bulk_create(
            PracticeRecord(
                person=person,
                scope_code="S-1",
                performed_on=date(2026, 1, 1),
                reference=f"U-{number}",
                recorded_at=AT,
            )
            for number in numbers
        )
        items = [(practice, facts_written.practice_content(practice)) for practice in made]
        trail.record_many(actor="bench", act=facts_written.PRACTICE_ACTS[0], items=items, at=AT)


def _withdrawn_practice(person, quality: User) -> None:
    practice = facts.record_practice(
        person=person, scope_code="S-1", performed_on=date(2026, 1, 1), actor=quality, at=AT
    )
    facts.withdraw_practice(
        practice=practice, reason="Twice.", actor=quality, at=AT, proof="password"
    )


# What is compared


def by_product() -> None:
    report = verify_records()
    if not report.fits:
        raise SystemExit(str(report.faults[0]))


TABLES = (
    "training_practicerecord",
    "training_practicewithdrawal",
    "assessments_photo",
    "records_signature",
)


def by_plain_reading() -> None:
    with transaction.atomic(), connection.chunked_cursor() as cursor:
        cursor.execute(
            "SELECT e.*, p.salt, p.body FROM records_trailentry e "
            "JOIN records_trailpayload p ON p.entry_id = e.number ORDER BY e.number"
        )
        while rows := cursor.fetchmany(1000):
            for *_entry, salt, body in rows:
                hashlib.sha256(bytes.fromhex(salt) + body.encode()).hexdigest()
    for table in TABLES:
        with transaction.atomic(), connection.chunked_cursor() as cursor:
            cursor.execute(f"SELECT * FROM {table}")  # noqa: S608 - names of this file
            while cursor.fetchmany(1000):
                pass
    for path in Path(default_storage.path("")).rglob("*.bin"):
        with path.open("rb") as stream:
            hashlib.file_digest(stream, "sha256").hexdigest()


# Measuring


def timed(act: Callable[[], None]) -> tuple[float, float]:
    """Seconds that something takes, and the most memory that its process ever held, in MiB."""
    try:
        begun = time.perf_counter()
        act()
        took = time.perf_counter() - begun
        return took, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    finally:
        connection.close()


def in_a_child(act: Callable[[], None]) -> tuple[float, float]:
    connection.close()
    with ProcessPoolExecutor(1, mp_context=get_context("fork")) as child:
        return child.submit(timed, act).result()


def measure(entries: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        settings.STORAGES = {
            **settings.STORAGES,
            "default": {
                "BACKEND": "django.core.files.storage.FileSystemStorage",
                "OPTIONS": {"location": name, "base_url": None},
            },
        }
        in_a_child(partial(build, entries, Path(name)))
        with connection.cursor() as cursor:
            cursor.execute("VACUUM ANALYZE" if connection.vendor == "postgresql" else "ANALYZE")
        peer_s, _peer_mib = in_a_child(by_plain_reading)
        product_s, product_mib = in_a_child(by_product)
    limit_s = LIMIT_S * entries / FULL
    holds = product_s <= limit_s and product_mib <= LIMIT_MIB
    print(
        f"{entries:9,}  {entries * PHOTOS_OF_TEN // 10:11,}  {product_s:10.1f}  {peer_s:7.1f}  "
        f"{product_s / peer_s:5.1f}  {product_s / entries * 1e6:12.0f}  {product_mib:12.0f}  "
        f"{limit_s:8.0f}  {'yes' if holds else 'NO'}",
        flush=True,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--entries", type=int, nargs="+", default=[10_000, 50_000])
    parser.add_argument("--full", action="store_true", help="the size of the limit")
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.here:
        made = setup_databases(verbosity=0, interactive=False)
        try:
            measure(arguments.entries[0])
        finally:
            teardown_databases(made, verbosity=0)
        return
    print(
        f"On {connection.vendor}; the limit is {LIMIT_S // 60} minutes and {LIMIT_MIB} MiB for "
        f"{FULL:,} entries\n"
        "  entries  photographs  product, s  peer, s  ratio  µs an entry  product, MiB  "
        "limit, s  holds",
        flush=True,
    )
    for entries in [FULL] if arguments.full else arguments.entries:
        subprocess.run(
            [sys.executable, "-m", "benchmarks.verifying", "--here", "--entries", str(entries)],
            check=True,
        )


if __name__ == "__main__":
    main()

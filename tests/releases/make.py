"""Writes down what this version makes of a database, as a release: ``… tests.releases.make 1.0``.

Once released, a folder is never made again: what it holds is what sites out there have.
"""

import atexit
import json
import lzma
import os
import shutil
import sys
import tempfile
from pathlib import Path

import django


def main(version: str) -> None:
    folder = Path(tempfile.mkdtemp())
    atexit.register(shutil.rmtree, folder)
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
    os.environ["DATABASE_URL"] = f"sqlite:///{folder / 'site.sqlite3'}"
    django.setup()

    from django.core.management import call_command
    from django.db import connection
    from django.utils import timezone

    from operations.queries.database_rows import known_migrations
    from operations.services.back_ups import back_up
    from operations.services.new_database import make_tables
    from records.queries.verification import verify_records
    from tests.releases import every_row, release

    make_tables(connection)
    call_command("migrate", verbosity=0)
    every_row.make_rows()
    faults = verify_records().faults
    if faults:
        sys.exit("\n".join(map(str, faults)))
    back_up(folder / "site.backup", clock=timezone.now)
    migrations: dict[str, list[str]] = {}
    for app, name in sorted(known_migrations()):
        migrations.setdefault(app, []).append(name)
    said = {"migrations": migrations, "rules": dict(sorted(release.rules_now().items()))}
    path = release.archive_of(version)
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(lzma.compress((folder / "site.backup").read_bytes(), preset=9))
    (path.parent / "release.json").write_text(json.dumps(said, indent=1) + "\n")
    print(f"{path}: {path.stat().st_size:,} bytes")


if __name__ == "__main__":
    main(*sys.argv[1:])

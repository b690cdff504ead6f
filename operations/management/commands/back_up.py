"""`manage.py back_up FILE`: database and files in one archive, while people work."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError, connection
from django.utils import timezone

from operations.queries.database_rows import (
    applied_migrations,
    models_after,
    tables_of_others,
)
from operations.services.back_up_places import place_named
from operations.services.back_ups import back_up
from records.exceptions import Refusal


class Command(BaseCommand):
    help = (
        "Writes database and files into one archive, as one instant shows them, while people work; "
        "encrypted where BACK_UP_KEY is set."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "file",
            help="the archive, which must not be there yet: a path, or s3://host/bucket/NAME in "
            "the bucket of BACK_UP_URL, without its key",
        )
        parser.add_argument(
            "--files",
            type=Path,
            metavar="FOLDER",
            help="add the site's files to this folder, those alone that are not there yet, "
            "rather than put them into the archive; in a bucket always so, beside the archive",
        )

    def handle(self, *args: Any, file: str, files: Path | None, **options: Any) -> None:
        try:
            path = place_named(str(file))
            if isinstance(path, Path) and not path.parent.is_dir():
                raise CommandError(f"There is no folder {path.parent}: make it, or name another.")
            made = back_up(path, clock=timezone.now, files_folder=files)
        except Refusal as error:
            raise CommandError(str(error)) from error
        except OSError as error:
            raise CommandError(
                f"No back-up was made, and nothing of it is left: {error.strerror or error}"
                f"{f' ({error.filename})' if error.filename else ''}."
            ) from error
        except DatabaseError as error:
            raise CommandError(f"No back-up was made: the database said {error}.") from error
        are_apart = files or not isinstance(path, Path)
        self.stdout.write(
            f"{file}: {made.size_bytes:,} bytes with {made.rows:,} rows"
            f"{'' if are_apart else f' and {made.files:,} files'}, "
            f"{'encrypted' if made.is_encrypted else 'not encrypted'}."
        )
        if are_apart:
            self.stdout.write(
                f"{files or 'Beside it'}: {made.files:,} files of {made.files_bytes:,} bytes, of "
                f"which {made.added_files:,} are new."
            )
        if others := tables_of_others(connection, models_after(applied_migrations(connection))):
            self.stdout.write(
                f"Tables that are not this program's, and are not in it: {', '.join(others)}."
            )
        if made.missing_files:
            self.stdout.write(f"Files that rows name and that are gone: {made.missing_files:,}.")
        if not made.is_encrypted and (Path(settings.DATA_DIR) / "secret_key").exists():
            self.stdout.write(
                "The file secret_key is not in it, since it is not encrypted: keep a copy apart."
            )

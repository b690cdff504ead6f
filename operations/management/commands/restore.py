"""`manage.py restore FILE`: a back-up into an empty site."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError

from operations.backends.archive import NotAKey, identities_of
from operations.services.back_up_places import place_named
from operations.services.restoring import Contents, check_archive, keys_put_aside, restore
from records.exceptions import Refusal


class Command(BaseCommand):
    help = (
        "Restores a back-up into an empty site that nobody serves, on either database and from "
        "this or an earlier version, and verifies the records."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "file",
            help="the archive: a path, or s3://host/bucket/NAME in the bucket of BACK_UP_URL, "
            "without its key",
        )
        parser.add_argument(
            "--key", type=Path, metavar="FILE", help="file of the private key, if it is encrypted"
        )
        parser.add_argument(
            "--files",
            type=Path,
            metavar="FOLDER",
            help="folder of the files, if they are not in it; `files` beside it by default",
        )
        parser.add_argument(
            "--check", action="store_true", help="read all of it to its end, and restore nothing"
        )

    def handle(
        self,
        *args: Any,
        file: str,
        key: Path | None,
        files: Path | None,
        check: bool,
        **options: Any,
    ) -> None:
        identities = _identities(key) if key else []
        act = check_archive if check else restore
        try:
            contents = act(place_named(str(file)), identities=identities, files_folder=files)
        except Refusal as error:
            raise CommandError(f"Nothing was restored. {error}") from error
        except OSError as error:
            raise CommandError(
                f"Nothing was restored: {error.strerror or error}"
                f"{f' ({error.filename})' if error.filename else ''}."
            ) from error
        except DatabaseError as error:
            raise CommandError(f"Nothing was restored: the database said {error}.") from error
        self.stdout.write(
            f"{'Whole' if check else 'Restored'}: {contents.rows:,} rows and "
            f"{contents.end['files']:,} files of {contents.about['address']}, as they were on "
            f"{contents.made_at:%Y-%m-%d at %H:%M} UTC, from {contents.about['database']}."
        )
        if not check:
            self._say_what_is_left(contents)
            call_command("verify_trail", stdout=self.stdout)

    def _say_what_is_left(self, contents: Contents) -> None:
        if others := contents.about.get("tables_of_others"):
            self.stdout.write(
                "Tables that stood in the same database, were not this program's and are not in "
                f"it: {', '.join(others)}."
            )
        if contents.end["missing"]:
            names = ", ".join(contents.end["missing_names"][:5])
            self.stdout.write(
                f"Files that were gone when it was made: {contents.end['missing']:,}: {names}"
            )
        if keys := keys_put_aside(Path(settings.DATA_DIR)):
            self.stdout.write(
                f"secret_key is the back-up's; what was there before is kept as "
                f"{', '.join(keys)}. Where SECRET_KEY is set in the environment, set it to the "
                "back-up's."
            )


def _identities(path: Path) -> list[Any]:
    try:
        return identities_of(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise CommandError(
            f"{path} cannot be read ({error}): name the private key's file."
        ) from error
    except NotAKey as error:
        raise CommandError(
            f"{path} holds no private age key: name the file that `manage.py make_back_up_key` "
            "made."
        ) from error

"""`manage.py prepare`: brings the database and the static files up to what this version needs."""

import time
from contextlib import suppress
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection

from operations.exceptions import OperationsError
from operations.queries.applied_migrations import refuse_database_of_another_version
from operations.queries.restored_database import refuse_marked_database
from operations.queries.shared_files import refuse_bucket_out_of_reach
from operations.services.migrating import migrate, one_at_a_time
from operations.services.new_database import make_tables_if_empty
from operations.services.shared_marks import refuse_half_shared
from operations.services.static_files import gather_static_files
from records.exceptions import SiteIsTaken
from records.services.site_to_oneself import held_while_serving


class Command(BaseCommand):
    help = (
        "Migrates the database and gathers static files; does nothing where nothing changed. May "
        "run while the version before serves."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--wait-minutes",
            type=int,
            default=10,
            help="how long to try again for a table that somebody else is using; 10 by default",
        )

    def handle(self, *args: Any, wait_minutes: int, **options: Any) -> None:
        if wait_minutes < 0:
            raise CommandError("--wait-minutes is a number of minutes from 0 on.")
        try:
            with held_while_serving(), one_at_a_time(connection, self.say):
                # Once alone: whoever prepared before may have been a newer version.
                refuse_marked_database(connection)
                refuse_database_of_another_version(connection)
                refuse_bucket_out_of_reach()
                refuse_half_shared()
                make_tables_if_empty(connection)
                migrate(connection, say=self.say, patience=timedelta(minutes=wait_minutes))
                refuse_half_shared()  # Now that there is where to note it.
                gather_static_files()
                throw_away_what_broke_off()
        except (SiteIsTaken, OperationsError) as error:
            raise CommandError(str(error)) from error

    def say(self, sentence: str) -> None:
        self.stdout.write(sentence)
        self.stdout.flush()


def throw_away_what_broke_off() -> None:
    """Uploads that a process was receiving when it was killed; no request lasts for a day."""
    before = time.time() - 24 * 3600
    for file in Path(settings.FILE_UPLOAD_TEMP_DIR).glob("*.upload*"):
        with suppress(FileNotFoundError):  # It has come in meanwhile.
            if file.stat().st_mtime < before:
                file.unlink()

"""``manage.py verify_trail``: does everything that was written down still fit?"""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError

from records.domain.canonical import instant_text
from records.exceptions import FilesOutOfReach
from records.models import TrailHead
from records.queries.heads import NotAHead, find_head
from records.queries.verification import Report, verify_records


class Command(BaseCommand):
    help = (
        "Verifies the trail's chain of hashes, every signature and every stored file, that the "
        "rows still say what was signed and written down, and that the database still refuses "
        "to change records. Names what does not fit and ends with status 1 if anything does not."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--skip-files", action="store_true", help="Leave the stored files unread."
        )

        parser.add_argument(
            "--head",
            action="append",
            default=[],
            metavar="HASH",
            help="Say where an end of the trail stands that was printed, mailed or filed before; "
            "may be given several times.",
        )

    def handle(self, *args: Any, skip_files: bool, head: list[str], **options: Any) -> None:
        try:
            report = verify_records(with_files=not skip_files)
        except FilesOutOfReach as error:
            raise CommandError(f"Nothing is known of the records now. {error}") from error
        except DatabaseError as error:
            raise CommandError(
                f"Nothing is known of the records now: the database said {error}. See that it "
                "answers, and that DATABASE_URL and DATA_DIR are those of the site."
            ) from error
        self.stdout.write(f"Trail entries that fit: {report.entries:,}")
        self.stdout.write(f"  of them with an erased payload: {report.erased:,}")
        self.stdout.write(f"Signatures that fit: {report.signatures:,}")
        if report.not_rebuilt:
            self.stdout.write(f"  of them with a meaning that no app has: {report.not_rebuilt:,}")
        self.stdout.write(f"Entries and signatures compared with their rows: {report.compared:,}")
        if report.not_compared:
            self.stdout.write(
                f"  not compared, since their details were erased: {report.not_compared:,}; "
                "their rows are there"
            )
        if report.removed:
            self.stdout.write(
                f"  not compared, since what they were about was removed: {report.removed:,}; "
                "the trail says so"
            )
        files_read = "not read (--skip-files)" if skip_files else f"{report.files:,}"
        self.stdout.write(f"Files read: {files_read}")
        self.stdout.write(f"Filed ends of the trail that it holds: {report.heads:,}")
        lost = [text for text in head if not self._say_where(text)]
        if not report.fits:
            raise CommandError(_describe_faults(report))
        if lost:
            raise CommandError(
                f"The trail does not hold {', '.join(lost)}: it was written anew from there or "
                "before, or cut."
            )
        self.stdout.write(self.style.SUCCESS("Everything fits."))

    def _say_where(self, text: str) -> bool:
        """Say where an end of the trail stands; False where it does not."""
        try:
            known = find_head(text)
        except NotAHead as error:
            raise CommandError(str(error)) from error
        if known is None:
            return False
        last = TrailHead.objects.get().number
        self.stdout.write(
            f"{text} is entry {known.number:,} of {last:,}, recorded at "
            f"{instant_text(known.recorded_at)}"
        )
        return True


def _describe_faults(report: Report) -> str:
    first, *more = report.faults
    lines = [f"The first thing that does not fit: {first}"]
    lines += [f"Also: {fault}" for fault in more]
    return "\n".join(lines)

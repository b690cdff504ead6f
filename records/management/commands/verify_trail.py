"""``manage.py verify_trail``: does everything that was written down still fit?"""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

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

    def handle(self, *args: Any, skip_files: bool, **options: Any) -> None:
        report = verify_records(with_files=not skip_files)
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
        files_read = "not read (--skip-files)" if skip_files else f"{report.files:,}"
        self.stdout.write(f"Files read: {files_read}")
        if not report.fits:
            raise CommandError(_describe_faults(report))
        self.stdout.write(self.style.SUCCESS("Everything fits."))


def _describe_faults(report: Report) -> str:
    first, *more = report.faults
    lines = [f"The first thing that does not fit: {first}"]
    lines += [f"Also: {fault}" for fault in more]
    return "\n".join(lines)

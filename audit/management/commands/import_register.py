"""``manage.py import_register``: bring an earlier register over."""

from argparse import ArgumentTypeError
from collections import Counter
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from audit.exceptions import CannotImportNow
from audit.services import importing
from people.models import Site
from records.domain.problems import Problem
from records.exceptions import CannotRead

MOST_SHOWN_OF_A_COLUMN = 1000


def known_zone(name: str) -> ZoneInfo:
    if name not in available_timezones():
        raise ArgumentTypeError(f"{name} is not a time zone: use a name such as Europe/Madrid.")
    return ZoneInfo(name)


class Command(BaseCommand):
    help = (
        "Load a register bundle: a folder or zip of people.csv, schemes.csv, certificates.csv, "
        "certificate_events.csv, vision_tests.csv, practice.csv, stamps.csv and operations.csv "
        "(or the same as .xlsx). Everything is checked first; it is taken in whole or not at all."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("path", type=Path, help="the folder or zip file")
        parser.add_argument(
            "--check", action="store_true", help="only say what would happen; write nothing"
        )
        parser.add_argument(
            "--zone",
            type=known_zone,
            default=ZoneInfo(settings.TIME_ZONE),
            help="clock of the times that carry no offset (default: %(default)s)",
        )
        parser.add_argument(
            "--site", metavar="PREFIX", help="site of the people whose row names none"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        default_site = self._site(options["site"]) if options["site"] else None
        try:
            summary = importing.import_register(
                path=options["path"],
                zone=options["zone"],
                at=timezone.now(),
                actor="import_register",
                default_site=default_site,
                check_only=options["check"],
            )
        except importing.RegisterRefused as error:
            for remark in error.remarks:
                self.stdout.write(remark)
            self._report_problems(error.problems)
            raise CommandError(str(error)) from error
        except (CannotImportNow, CannotRead) as error:
            raise CommandError(str(error)) from error
        self._report(summary)

    def _report_problems(self, problems: list[Problem]) -> None:
        """Name every problem, and of many in one column the first and how many more there are."""
        counts: Counter[tuple[str, str]] = Counter()
        for problem in problems:
            place = problem.file, problem.column
            counts[place] += 1
            if counts[place] <= MOST_SHOWN_OF_A_COLUMN:
                self.stderr.write(str(problem))
        for (file, column), count in counts.items():
            if count > MOST_SHOWN_OF_A_COLUMN:
                where = f"{file}, {column}" if column else file
                self.stderr.write(f"{where}: {count - MOST_SHOWN_OF_A_COLUMN} more of its rows.")

    def _site(self, word: str) -> Site:
        sites = {site.prefix.casefold(): site for site in Site.objects.all()}
        site = sites.get(word.casefold())
        if site is None:
            known_sites = ", ".join(f"{site.prefix} ({site.name})" for site in sites.values())
            raise CommandError(
                f"There is no site with the prefix {word}. There is: {known_sites or 'none yet'}."
            )
        return site

    def _report(self, summary: importing.Summary) -> None:
        for remark in summary.remarks:
            self.stdout.write(remark)
        for line in summary.lines():
            self.stdout.write(line)
        if summary.scopes_created:
            verb = "Created" if summary.written else "Would create"
            self.stdout.write(
                f"{verb} these scopes, since nobody had described them: "
                f"{', '.join(summary.scopes_created)}. Give each its title, joint types and "
                "governing document."
            )
        last = "Taken in." if summary.written else "Checked: everything fits. Nothing was written."
        self.stdout.write(self.style.SUCCESS(last))

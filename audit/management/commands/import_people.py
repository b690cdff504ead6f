"""``manage.py import_people``: the file of people that a plant's own system hands over."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from audit.domain.list_columns import Field
from audit.domain.list_rows import Answers, CellFault
from audit.presenters.people_list_page import sentence_of
from audit.queries.list_bringers import all_sites, program
from audit.queries.list_leaving import MOST_LEAVING_PERCENT
from audit.services.nightly_people import (
    PEOPLE_FIELDS,
    Handover,
    Report,
    RowsRefused,
    take_nightly,
)
from people.domain.list_days import DayForm
from people.models import Site
from records.exceptions import CannotRead, Refusal
from records.tables.lists import MOST_BYTES, read_list


class Command(BaseCommand):
    help = (
        "Look at a file of people (CSV or XLSX, a heading first) and say who is new, who changed "
        "and who would leave. Nothing is written without --write."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("path", type=Path, help="the file")
        parser.add_argument("--write", action="store_true", help="do it: all or nothing")
        parser.add_argument(
            "--leave",
            action="store_true",
            help="own staff at the sites who are not in the file leave, today being their last day",
        )
        parser.add_argument(
            "--most-leaving",
            type=int,
            default=MOST_LEAVING_PERCENT,
            metavar="PERCENT",
            help="of own staff, how many may leave at once (default: %(default)s)",
        )
        parser.add_argument(
            "--good-rows",
            action="store_true",
            help="leave rows that are wrong out, and take the others",
        )
        parser.add_argument(
            "--site",
            action="append",
            metavar="PREFIX",
            help="whose people the file names; may be repeated (default: every site). One alone is "
            "also the site of rows that name none",
        )
        parser.add_argument(
            "--column",
            action="append",
            default=[],
            metavar="HEADING=FIELD",
            help=f"what a column holds: {', '.join(['employee_number', *PEOPLE_FIELDS])}",
        )
        parser.add_argument(
            "--days",
            choices=[str(form) for form in DayForm],
            help="what 3/4/2026 means, where the file writes days so",
        )
        parser.add_argument(
            "--names",
            choices=["turn", "keep"],
            help="whether names with a comma are turned round",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        sites = self._sites(options["site"])
        handover = Handover(
            columns=self._columns(options["column"]),
            answers=Answers(
                day_form=DayForm(options["days"]) if options["days"] else None,
                turn_names=options["names"] == "turn" if options["names"] else None,
                for_all={"site": sites[0].prefix} if len(sites) == 1 else {},
            ),
            write=options["write"],
            leave=options["leave"],
            most_leaving_percent=self._percent(options["most_leaving"]),
            good_rows=options["good_rows"],
        )
        keys = frozenset(site.pk for site in sites) or all_sites()
        try:
            report = take_nightly(
                read=read_list(options["path"].name, self._content(options["path"])),
                handover=handover,
                bringer=program("import_people", keys),
                at=timezone.now(),
            )
        except RowsRefused as error:
            self._report_faults(error.faults)
            raise CommandError(str(error)) from error
        except Refusal as error:
            raise CommandError(str(error)) from error
        self._report(report, handover)

    def _content(self, path: Path) -> bytes:
        try:
            with path.open("rb") as stream:
                return stream.read(MOST_BYTES + 1)
        except OSError as error:
            raise CannotRead(f"{path} cannot be read: {error.strerror}.") from error

    def _sites(self, prefixes: list[str] | None) -> list[Site]:
        by_prefix = {site.prefix: site for site in Site.objects.all()}
        for prefix in prefixes or ():
            if prefix not in by_prefix:
                known = ", ".join(sorted(by_prefix)) or "none yet"
                raise CommandError(f"There is no site with the prefix {prefix}. There is: {known}.")
        return [by_prefix[prefix] for prefix in dict.fromkeys(prefixes or ())]

    def _columns(self, given: list[str]) -> dict[str, str]:
        columns = {}
        for text in given:
            heading, _equals, name = text.rpartition("=")
            if not heading or name not in {Field.EMPLOYEE_NUMBER, *PEOPLE_FIELDS}:
                raise CommandError(f"{text} is no HEADING=FIELD: see --help for the fields.")
            columns[heading] = name
        return columns

    def _percent(self, percent: int) -> int:
        if not 0 <= percent <= 100:
            raise CommandError("--most-leaving is a share from 0 to 100.")
        return percent

    def _report_faults(self, faults: list[CellFault]) -> None:
        for fault in faults:
            self.stderr.write(f"line {fault.line}: {sentence_of(fault)}")

    def _report(self, report: Report, handover: Handover) -> None:
        self._report_faults(report.faults)
        for one in report.plan.people:
            if one.is_new:
                self.stdout.write(f"new: {one.number} {one.name}")
            elif one.changes:
                self.stdout.write(f"changed: {one.number} {one.name}: {', '.join(one.changes)}")
        for person in report.ending:
            self.stdout.write(f"last day given: {person.employee_number} {person.full_name}")
        word = "left" if report.left else "not in the file"
        for person in report.leaving:
            self.stdout.write(f"{word}: {person.employee_number} {person.full_name}")
        self.stdout.write(
            f"{report.new} new, {report.changed} changed, {report.left_alone} left alone, "
            f"{len(report.leaving)} of {report.at_work} not in the file."
        )
        if report.refusals:
            raise CommandError(" ".join(report.refusals))
        if report.faults and not handover.good_rows and not report.written:
            raise CommandError("Rows that are wrong refuse the whole file: see --good-rows.")
        done = "Done." if report.written else "Nothing was written: that takes --write."
        self.stdout.write(self.style.SUCCESS(done))

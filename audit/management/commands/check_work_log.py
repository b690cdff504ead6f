"""``manage.py check_work_log``: hold every line of a work log against the register."""

import sys
from argparse import ArgumentTypeError
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from audit.domain.work_log import WorkLog
from audit.domain.work_log_check import CheckOptions, Findings, Register, check_log
from audit.presenters import work_log_files as services
from audit.queries.work_log_register import StoredRegister
from audit.register_files.bundle_register import BundleRegister
from audit.register_files.work_log import read_log
from certification.domain.known_at import known_through, read_moment
from records.domain.problems import Problem
from records.exceptions import CannotRead

from .import_register import known_zone

MOST_PROBLEMS_SHOWN = 1000
NO_FILE = "-"


def day_or_instant(text: str) -> date | datetime:
    """Read a moment; which instant it is depends on the clock, which is another argument."""
    try:
        return read_moment(text)
    except ValueError:
        raise ArgumentTypeError(
            f"{text!r} is neither a day nor a day with a time: write it as in 2026-03-09 or "
            "2026-03-09T16:20:00."
        ) from None


class Command(BaseCommand):
    help = (
        "Say for every row of a work log (CSV or XLSX: row, employee_number or stamp, scope or "
        "operation, worked_on, and any other columns) whether the person was certified for it "
        "that day. Rows that cannot be read are reported and left out of the findings."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("log", type=Path, help="the work log")
        parser.add_argument(
            "--register",
            type=Path,
            metavar="PATH",
            help="a register bundle (folder or zip) to check against in place of the database",
        )
        known = parser.add_mutually_exclusive_group()
        known.add_argument(
            "--as-known-at",
            type=day_or_instant,
            metavar="T",
            help="use only what had been recorded by then; a bare day means its end",
        )
        known.add_argument(
            "--as-known-then",
            action="store_true",
            help="judge each row as known at the end of its own day",
        )
        parser.add_argument(
            "--counts-as-practice",
            action="store_true",
            help="add the log's own rows to the practice record before judging",
        )
        parser.add_argument(
            "--output",
            metavar="FILE",
            help="where the findings go, as CSV, or as XLSX if it is named so; - is the screen",
        )
        parser.add_argument(
            "--zone",
            type=known_zone,
            default=ZoneInfo(settings.TIME_ZONE),
            help="clock of days and of times that carry no offset (default: %(default)s)",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            findings = self._judge(options)
        except CannotRead as error:
            raise CommandError(str(error)) from error
        self._report_problems(findings.problems)
        self._write(findings, options["output"])
        self._sum_up(findings, self.stderr if options["output"] == NO_FILE else self.stdout)

    def _judge(self, options: dict[str, Any]) -> Findings:
        path: Path = options["log"]
        if not path.is_file():
            raise CommandError(f"{path} cannot be read: there is no such file.")
        zone = options["zone"]
        register: Register
        if options["register"] is None:
            register = StoredRegister()
        else:
            register = BundleRegister(options["register"], zone)
            for remark in register.remarks:
                self.stderr.write(remark)
            self._report_problems(register.problems, "rows of the register were left out")
        moment = options["as_known_at"]
        check_options = CheckOptions(
            None if moment is None else known_through(moment, zone),
            options["as_known_then"],
            options["counts_as_practice"],
            zone,
        )
        # After the register, whose reading takes most room while it lasts.
        return check_log(_log(path), register, check_options)

    def _report_problems(self, problems: list[Problem], what: str = "") -> None:
        for problem in problems[:MOST_PROBLEMS_SHOWN]:
            self.stderr.write(str(problem))
        if len(problems) > MOST_PROBLEMS_SHOWN:
            self.stderr.write(f"{len(problems) - MOST_PROBLEMS_SHOWN} more are not listed here.")
        if problems and what:
            self.stderr.write(f"{len(problems)} {what}.")

    def _write(self, findings: Findings, output: str | None) -> None:
        if output is None:
            return
        if output == NO_FILE:
            services.write_csv(findings, sys.stdout.buffer)
            return
        write = services.write_xlsx if output.lower().endswith(".xlsx") else services.write_csv
        try:
            with Path(output).open("wb") as stream:
                write(findings, stream)
        except OSError as error:
            raise CommandError(f"{output} cannot be written: {error.strerror}.") from error

    def _sum_up(self, findings: Findings, out: Any) -> None:
        people, days = findings.concerned()
        out.write(f"{findings.frame.height} rows were judged:")
        for word, count in findings.counts().items():
            out.write(f"  {word}: {count}")
        out.write(f"People with a row that was not certified: {people}, on {days} days.")
        out.write(f"Rows that could not be judged: {findings.bad_rows}")


def _log(path: Path) -> WorkLog:
    try:
        return read_log(path.name, path.read_bytes())
    except OSError as error:
        raise CommandError(f"{path} cannot be read: {error.strerror}.") from error

"""``manage.py send_reminders``: one sweep, what beat runs hourly, and the sending of it."""

from argparse import ArgumentParser, ArgumentTypeError
from datetime import date, datetime
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from people.models import Person, Site
from people.presenters.days import format_console_day, format_console_day_with_weekday
from reminders.queries.coming_days import coming_days
from reminders.queries.readers import address_of
from reminders.queries.sites import sites_to_sweep
from reminders.services import mail
from reminders.services import sweep as reminders
from reminders.services.letters import SiteDay, kind_in_words


def day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(f"{text!r} is no day: write it as 2026-11-25.") from None


class Command(BaseCommand):
    help = (
        "Writes every reminder that is due into messages and sends them. A site whose hour has "
        "not come is left alone, unless a day is given."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--on", type=day, metavar="DAY", help="Sweep as if it were this day, as 2026-11-25."
        )
        parser.add_argument(
            "--dry-run", action="store_true", help="Only say what would go out; write nothing."
        )

    def handle(self, *args: Any, on: date | None, dry_run: bool, **options: Any) -> None:
        now = timezone.now()
        if dry_run:
            self._say_what_would_go_out(now, on)
            return
        swept = reminders.sweep(now=now, on=on)
        for swept_site in swept:
            self.stdout.write(
                f"{swept_site.site}, {format_console_day_with_weekday(swept_site.day)}: "
                f"{swept_site.rows} new in the ledger, {swept_site.messages} messages written."
            )
        if not swept:
            self.stdout.write("No site's hour has come: nothing was written.")
        sending_round = mail.send_due_messages(clock=timezone.now, on=on)
        self.stdout.write(
            f"Sent: {sending_round.sent}. Not sent, to be tried again: {sending_round.not_sent}."
        )

    def _say_what_would_go_out(self, now: datetime, on: date | None) -> None:
        sites = sites_to_sweep(now, on)
        for site, today in sites:
            self.stdout.write(f"{site}, {format_console_day_with_weekday(today)}:")
            lines = list(_lines(site, now, today))
            for line in lines or ["  nothing."]:
                self.stdout.write(line)
        if not sites:
            self.stdout.write("No site's hour has come: nothing would be written.")


def _lines(site: Site, now: datetime, today: date) -> list[str]:
    site_day = SiteDay(site, today)
    lines = []
    for coming_day in coming_days(site, now, days=0, on=today):
        for planned in coming_day.planned:
            about = f"{site_day.what(planned.ending)}, {kind_in_words(planned.ending.kind)}"
            readers = ", ".join(_reached_at(reader) for reader in planned.readers)
            lines.append(
                f"  {planned.person} ({planned.person.employee_number}): {about}, "
                f"last good day {format_console_day(planned.ending.ends_on)}. To {readers}."
            )
        for row, ending in coming_day.waiting:
            lines.append(
                f"  {row.person} ({row.person.employee_number}): {site_day.what(ending)}, "
                f"{kind_in_words(row.kind)}, last good day {format_console_day(row.ends_on)}. "
                f"Waits for {_reached_at(row.recipient)}."
            )
    return lines


def _reached_at(reader: Person) -> str:
    return address_of(reader) or f"{reader} on paper"

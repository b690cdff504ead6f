"""``manage.py send_reminders``: one sweep, what beat runs hourly, and the sending of it."""

from argparse import ArgumentParser, ArgumentTypeError
from datetime import date, datetime
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from people.models import Person, Site
from reminders.services import mail
from reminders.services import sweep as reminders
from reminders.services.ledger import address_of
from reminders.services.letters import Desk, kind_in_words


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
        for one in swept:
            self.stdout.write(
                f"{one.site}, {one.day:%a %d %b %Y}: {one.rows} new in the ledger, "
                f"{one.messages} messages written."
            )
        if not swept:
            self.stdout.write("No site's hour has come: nothing was written.")
        done = mail.send_due_messages(clock=timezone.now, on=on)
        self.stdout.write(f"Sent: {done.sent}. Not sent, to be tried again: {done.not_sent}.")

    def _say_what_would_go_out(self, now: datetime, on: date | None) -> None:
        sites = reminders.sites_to_sweep(now, on)
        for site, today in sites:
            self.stdout.write(f"{site}, {today:%a %d %b %Y}:")
            lines = list(_lines(site, now, today))
            for line in lines or ["  nothing."]:
                self.stdout.write(line)
        if not sites:
            self.stdout.write("No site's hour has come: nothing would be written.")


def _lines(site: Site, now: datetime, today: date) -> list[str]:
    desk = Desk(site, today)
    lines = []
    for coming in reminders.coming(site, now, days=0, on=today):
        for one in coming.planned:
            about = f"{desk.what(one.ending)}, {kind_in_words(one.ending.kind)}"
            readers = ", ".join(_reached(reader) for reader in one.readers)
            lines.append(
                f"  {one.person} ({one.person.employee_number}): {about}, "
                f"last good day {one.ending.ends_on:%d %b %Y}. To {readers}."
            )
        for row, ending in coming.waiting:
            lines.append(
                f"  {row.person} ({row.person.employee_number}): {desk.what(ending)}, "
                f"{kind_in_words(row.kind)}, last good day {row.ends_on:%d %b %Y}. "
                f"Waits for {_reached(row.recipient)}."
            )
    return lines


def _reached(reader: Person) -> str:
    return address_of(reader) or f"{reader} on paper"

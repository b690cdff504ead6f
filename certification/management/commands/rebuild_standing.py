"""``manage.py rebuild_standing``: work every standing out again from the facts."""

from typing import Any

from django.core.management.base import BaseCommand

from certification.services import standing


class Command(BaseCommand):
    help = (
        "Work every standing out again from certificates, events, vision tests and practice. "
        "Not needed in daily use, since every fact does so for its own person; safe at any time."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        def progress(done: int, total: int) -> None:
            self.stdout.write(f"{done} of {total} people")

        total = standing.rebuild_all(progress if options["verbosity"] > 1 else None)
        self.stdout.write(self.style.SUCCESS(f"Rebuilt the standing of {total} people."))

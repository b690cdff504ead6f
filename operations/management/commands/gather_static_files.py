"""`manage.py gather_static_files`: has pages name this version's own style sheets and scripts."""

from typing import Any

from django.core.management.base import BaseCommand

from operations.services.static_files import gather_static_files


class Command(BaseCommand):
    help = (
        "Gathers the static files of this version, as `prepare` does, and leaves the database "
        "alone: for a site that goes back to the version before."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        gather_static_files()
